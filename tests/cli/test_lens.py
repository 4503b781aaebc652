import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from debriscount.inputs.lens_file import read_lens
from debriscount.shipped import shipped_folder
from debriscount_cli.app import app

RUNNER = CliRunner()


def run(*arguments: str | Path):  # type: ignore[no-untyped-def]
    return RUNNER.invoke(app, ["lens", *(str(argument) for argument in arguments)])


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Four photos of a chessboard of 7 x 5 inner corners through a pinhole of 500 px, and one of nothing."""
    folder = tmp_path_factory.mktemp("board")
    sheet = np.pad(np.kron(255 * (np.indices((6, 8)).sum(axis=0) % 2), np.ones((40, 40))), 40, constant_values=255)
    matrix = np.array([[500.0, 0, 319.5], [0, 500, 239.5], [0, 0, 1]])
    files = []
    for number, (turn, shift) in enumerate(
        [((0.4, 0, 0), (0, 0)), ((0, 0.5, 0.1), (30, 0)), ((-0.4, 0.2, 0), (-30, 20)), ((0.2, -0.5, 0), (0, -20))]
    ):
        rotation, _ = cv2.Rodrigues(np.array(turn, float))
        middle = np.array([*shift, 260.0])
        # A dot is half a millimetre; the sheet's middle lies in the board's.
        to_mm = np.array([[0.5, 0, -100.0], [0, 0.5, -80.0], [0, 0, 1]])
        plane = matrix @ np.column_stack([rotation[:, :2], middle]) @ to_mm
        finer = np.array([[3, 0, 1.0], [0, 3, 1.0], [0, 0, 1]]) @ plane
        large = cv2.warpPerspective(sheet.astype(np.uint8), finer, (1920, 1440), borderValue=(140, 0, 0, 0))
        files.append(folder / f"board{number}.png")
        Image.fromarray(cv2.resize(large, (640, 480), interpolation=cv2.INTER_AREA)).convert("RGB").save(files[-1])
    files.append(folder / "bare.png")
    Image.fromarray(np.full((480, 640, 3), 120, np.uint8)).save(files[-1])
    return files


def test_a_lens_is_learnt_told_and_written(tmp_path: Path, photos: list[Path]) -> None:
    out = tmp_path / "lens" / "desk camera.toml"
    result = run(*photos, "--board", "7x5", "--square-mm", "20", "--out", out)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == 'lens "desk camera": not usable'
    assert "  board            chessboard of 7 x 5 inner corners, squares of 20 mm" in lines
    assert "  photos           4 of 5 used, 640 x 480 px" in lines
    assert "No board found in: bare.png" in lines
    assert "To do: only 4 photos: take 10 or more" in lines
    assert lines[-1] == "After ± stands the standard uncertainty."
    assert result.stderr == f"wrote {out}\n"
    lens = read_lens(out)
    assert lens.name == "desk camera"
    assert lens.focal_px == pytest.approx((500, 500), rel=0.01)
    assert lens.calibration is not None
    assert lens.calibration.photos == 4
    assert out.read_text().startswith(
        "# Lens of a camera, learnt by debriscount from 4 photos of a chessboard of 7 x 5"
    )


def test_json_is_all_that_stdout_gets(tmp_path: Path, photos: list[Path]) -> None:
    out = tmp_path / "desk.toml"
    result = run(*photos, "--board", "7x5", "--square-mm", "20", "--out", out, "--json", "--name", "desk")
    record = json.loads(result.stdout)
    assert record["format"] == "debriscount/lens/1"
    assert record["lens"]["name"] == "desk"
    assert record["lens"]["size_px"] == [640, 480]
    assert record["lens"]["focal_px"] == pytest.approx(read_lens(out).focal_px, rel=1e-5)
    assert record["calibration"]["without_board"] == ["bare.png"]
    assert len(record["calibration"]["photos"]) == 4
    assert record["calibration"]["verdict"] == "not usable"
    assert set(record["lens"]) >= {"center_px", "k1", "k2", "k3", "p1", "p2", "focal_length_mm"}
    assert {f"u_{term}" for term in ("focal_px", "center_px", "k1", "k2", "k3", "p1", "p2")} <= set(
        record["calibration"]
    )


def test_quiet_prints_nothing(tmp_path: Path, photos: list[Path]) -> None:
    result = run(*photos, "--board", "7x5", "--square-mm", "20", "--out", tmp_path / "a.toml", "--quiet")
    assert (result.exit_code, result.output) == (0, "")


def test_a_board_that_is_not_there_is_exit_code_3_and_writes_nothing(tmp_path: Path, photos: list[Path]) -> None:
    result = run(*photos[3:], "--board", "7x5", "--square-mm", "20", "--out", tmp_path / "a.toml")
    assert (result.exit_code, result.stdout) == (3, "")
    assert "was found in 1 of 2 photos (not in bare.png); 3 are needed at least." in result.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--board", "seven"), '--board must be columns and rows such as 9x6, got "seven".'),
        (("--board", "7x5", "--charuco", "DICT_4X4_50"), "needs its dictionary (--charuco) and its markers' side"),
        (("--board", "7x5", "--charuco", "NONE", "--marker-mm", "9"), 'no dictionary is called "NONE".'),
    ],
)
def test_wrong_options_are_exit_code_2(
    tmp_path: Path, photos: list[Path], options: tuple[str, ...], words: str
) -> None:
    result = run(*photos, *options, "--square-mm", "20", "--out", tmp_path / "a.toml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr


def test_what_is_no_lens_file_is_not_replaced(tmp_path: Path, photos: list[Path]) -> None:
    (tmp_path / "notes.toml").write_text("mine = 1\n")
    result = run(*photos, "--board", "7x5", "--square-mm", "20", "--out", tmp_path / "notes.toml")
    assert result.exit_code == 2
    assert "notes.toml: is there already and is no lens file. Choose another name." in result.stderr
    assert (tmp_path / "notes.toml").read_text() == "mine = 1\n"


def test_help_says_what_columns_and_rows_are() -> None:
    text = " ".join(run("--help").stdout.split())
    assert "Inner corners of a chessboard, or squares of a ChArUco board." in text


def test_a_charuco_board_is_learnt_from(tmp_path: Path) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((8, 6), 20.0, 14.0, dictionary)
    sheet = np.pad(np.asarray(board.generateImage((640, 480))), 80, constant_values=255)
    files = []
    for number, quad in enumerate(
        [((60, 50), (590, 20), (560, 440), (80, 460)), ((20, 80), (600, 40), (620, 470), (90, 400)), ((80, 20), (560, 60), (620, 400), (10, 450))]
    ):  # fmt: skip
        rim = np.array([[0, 0], [800, 0], [800, 640], [0, 640]], np.float32)
        plane = cv2.getPerspectiveTransform(rim, np.array(quad, np.float32))
        finer = np.array([[3, 0, 1.0], [0, 3, 1.0], [0, 0, 1]]) @ plane
        large = cv2.warpPerspective(sheet, finer, (1920, 1440), borderValue=(140, 0, 0, 0))
        files.append(tmp_path / f"sheet{number}.png")
        Image.fromarray(cv2.resize(large, (640, 480), interpolation=cv2.INTER_AREA)).convert("RGB").save(files[-1])
    options = ("--board", "8x6", "--charuco", "DICT_5X5_100", "--square-mm", "20", "--marker-mm", "14")
    result = run(*files, *options, "--out", tmp_path / "a.toml")
    assert result.exit_code == 0, result.output
    assert "3 of 3 used" in result.stdout
    assert "ChArUco board of 8 x 6 squares of 20 mm, DICT_5X5_100" in result.stdout


@pytest.mark.parametrize("command", ["measure", "count"])
def test_commands_that_take_a_lens_say_which_file_is_missing(tmp_path: Path, command: str) -> None:
    patch = shipped_folder("debriscount._reference", "reference_images") / "lentils-oak-corner" / "patch.toml"
    photos = [str(patch.parent / name) for name in ("before.jpg", "after.jpg")]
    options = ["--patch", str(patch), "--out", str(tmp_path / "out"), "--lens", str(tmp_path / "none.toml")]
    result = RUNNER.invoke(app, [command, *options, *photos])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{tmp_path / 'none.toml'}: there is no such file. Give the path of the lens file.\n"
