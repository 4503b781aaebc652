"""Learning a lens from photo files: boards drawn through a known lens."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image

from debriscount.camera.boards import Board
from debriscount.camera.calibrate import calibrate_lens
from debriscount.camera.lens import Lens
from debriscount.errors import CalibrationError, PhotoFileError

Floats = NDArray[np.float64]
SIZE_PX = (640, 480)
TRUTH = Lens((331.0, 236.0), (560.0, 560.0), (-0.12, 0.03, 0.0))
BOARD = Board(8, 6, 25.0)
#: Rotation vector and place of the board's middle, mm: near the middle and in all four corners.
POSES = [
    ((0.0, 0.4, 0.1), (0, 0, 330)), ((-0.5, 0.1, 0.0), (0, 0, 320)), ((0.4, -0.3, 0.2), (-75, -50, 350)),
    ((0.3, 0.5, -0.2), (75, -50, 350)), ((-0.3, 0.3, 0.1), (75, 50, 350)), ((-0.4, -0.4, -0.1), (-75, 50, 350)),
]  # fmt: skip


def draw(rays: Floats, turn: Sequence[float], middle: Sequence[float]) -> NDArray[np.uint8]:
    """A board seen along rays of shape (H, W, 2), several to a pixel: each looks where it meets the board."""
    rotation, _ = cv2.Rodrigues(np.array(turn))
    along = np.concatenate([rays, np.ones((*rays.shape[:2], 1))], axis=-1) @ rotation
    from_middle = along * (np.array(middle) @ rotation[:, 2] / along[..., 2])[..., None] - np.array(middle) @ rotation
    cell = np.floor(from_middle[..., :2] / BOARD.square_mm + (0.5 * (BOARD.columns + 1), 0.5 * (BOARD.rows + 1)))
    inside = (cell >= 0).all(axis=-1) & (cell < (BOARD.columns + 1, BOARD.rows + 1)).all(axis=-1)
    light = np.where(inside & (cell.sum(axis=-1) % 2 == 0), 0.05, 0.8)
    seen = cv2.GaussianBlur(cv2.resize(light, SIZE_PX, interpolation=cv2.INTER_AREA), (0, 0), 0.7)
    return np.repeat((255 * seen).astype(np.uint8)[..., None], 3, axis=2)


@pytest.fixture(scope="module")
def pictures() -> list[NDArray[np.uint8]]:
    """Photos through the lens, three times three rays a pixel."""
    columns, rows = ((np.arange(3 * side) + 0.5) / 3 - 0.5 for side in SIZE_PX)
    rays = (TRUTH.undistort(np.stack(np.meshgrid(columns, rows), axis=-1)) - TRUTH.center_px) / TRUTH.focal_px
    return [draw(rays, *pose) for pose in POSES]


def saved(
    folder: Path, pictures: Sequence[NDArray[np.uint8]], focal_mm: Sequence[float] = (), turned: int = 1
) -> list[Path]:
    """Photo files; ``turned`` is EXIF's orientation, which 6 says is to be turned by a quarter clockwise."""
    files = []
    for number, pixels in enumerate(pictures):
        exif = Image.Exif()
        exif[ExifTags.Base.Orientation] = turned
        if focal_mm:
            exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLength] = focal_mm[number]
        files.append(folder / f"board{number}.png")
        Image.fromarray(pixels).save(files[-1], exif=exif)
    return files


def test_a_lens_is_learnt_from_photos(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    shares: list[float] = []
    files = saved(tmp_path, [*pictures, np.full((480, 640, 3), 120, np.uint8)], [4.2] * 7)
    learnt = calibrate_lens(files, BOARD, "drawn", progress=lambda done, _: shares.append(done))
    lens, how = learnt.lens, learnt.lens.calibration
    assert how is not None
    assert (lens.name, lens.size_px, lens.focal_length_mm) == ("drawn", SIZE_PX, 4.2)
    assert learnt.used == tuple(file.name for file in files[:6])
    assert learnt.without_board == ("board6.png",)
    assert lens.focal_px == pytest.approx(TRUTH.focal_px, rel=2e-3)
    assert lens.center_px == pytest.approx(TRUTH.center_px, abs=1)
    assert lens.radial[0] == pytest.approx(TRUTH.k1, abs=0.01)
    assert how.rms_px < 0.15
    assert (how.photos, how.verdict) == (6, "usable")
    assert how.reasons[0] == "only 6 photos: take 10 or more"
    assert shares == sorted(shares)
    assert 0 <= shares[0] <= shares[-1] <= 1


def test_photos_turned_upright_give_the_lens_of_the_sensor(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    (tmp_path / "lying").mkdir()
    (tmp_path / "standing").mkdir()
    lying = calibrate_lens(saved(tmp_path / "lying", pictures), BOARD, "a").lens
    standing = calibrate_lens(saved(tmp_path / "standing", pictures, turned=6), BOARD, "a").lens
    assert standing.size_px == lying.size_px
    # OpenCV sums in parallel, so that the last digits vary.
    assert standing.focal_px == pytest.approx(lying.focal_px, rel=1e-5)
    assert standing.center_px == pytest.approx(lying.center_px, abs=1e-3)
    assert standing.tangential == pytest.approx(lying.tangential, abs=1e-5)


def test_photos_that_do_not_agree_in_focal_length_leave_it_open(
    tmp_path: Path, pictures: list[NDArray[np.uint8]]
) -> None:
    files = saved(tmp_path, pictures[:3], [4.2, 4.2, 6.0])
    assert calibrate_lens(files, BOARD, "zoomed").lens.focal_length_mm is None


def test_too_few_boards_are_refused_with_the_names_of_the_others(
    tmp_path: Path, pictures: list[NDArray[np.uint8]]
) -> None:
    bare = np.full((480, 640, 3), 120, np.uint8)
    files = saved(tmp_path, [pictures[0], bare, pictures[1], bare])
    message = (
        r"the chessboard of 8 x 6 inner corners, squares of 25 mm was found in 2 of 4 photos \(not in board1\.png, "
        r"board3\.png\); 3 are needed at least\. Take more photos of the whole board"
    )
    with pytest.raises(CalibrationError, match=message) as caught:
        calibrate_lens(files, BOARD, "none")
    assert caught.value.exit_code == 3


def test_photos_of_different_sizes_are_refused(tmp_path: Path, pictures: list[NDArray[np.uint8]]) -> None:
    files = saved(tmp_path, [pictures[0], pictures[1][:400], pictures[2]])
    message = r"board1\.png: has 640 x 400 px, the photos before it 640 x 480\. Give photos of one camera at one size\."
    with pytest.raises(CalibrationError, match=message):
        calibrate_lens(files, BOARD, "mixed")


def test_a_file_that_is_no_photo_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.jpg").write_text("no photo")
    with pytest.raises(PhotoFileError, match=r"notes\.jpg"):
        calibrate_lens([tmp_path / "notes.jpg"], BOARD, "none")
