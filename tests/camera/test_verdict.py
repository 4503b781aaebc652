"""The verdict on a lens, and what its limits are worth: calibrations of simulated corners beside the true lens."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.camera.boards import Board, SeenBoard
from debriscount.camera.calibrate import LearntLens, lens_from_corners
from debriscount.camera.known_lens import fold_percent, sensor_lens
from debriscount.camera.lens import Lens
from debriscount.camera.verdict import Facts, judge
from debriscount.errors import CalibrationError
from debriscount.inputs.lens import CameraLens

Floats = NDArray[np.float64]
SIZE_PX = (4000, 3000)
TRUTH = Lens((2020.0, 1485.0), (3000.0, 3000.0), (-0.05, 0.02, -0.01), (0.0005, -0.0003))
BOARD = Board(9, 6, 25.0)
GOOD = Facts(
    photos=12,
    rms_px=0.2,
    coverage_percent=80.0,
    reach_percent=90.0,
    tilt_deg=40.0,
    fold_percent=None,
    worst_photo="a.jpg",
)


def corners(
    photos: int = 12, tilt_deg: float = 25.0, reach: float = 1.0, noise_px: float = 0.15, seed: int = 0
) -> dict[str, SeenBoard]:
    """Corners of boards held at random all over the frame, as far as a share of the way to its corner."""
    rng = np.random.default_rng(seed)
    matrix = np.array([[3000.0, 0, 2020], [0, 3000, 1485], [0, 0, 1]])
    k1, k2, k3 = TRUTH.radial
    row, column = np.divmod(np.arange(54), 9)
    flat = np.stack([25.0 * column - 100, 25.0 * row - 62.5, np.zeros(54)], axis=-1)
    half = np.array(SIZE_PX) / 2
    seen: dict[str, SeenBoard] = {}
    while len(seen) < photos:
        way = rng.uniform(0, 2 * np.pi)
        lean = np.radians(tilt_deg) * rng.uniform(0.3, 1) * np.array([np.cos(way), np.sin(way), 0])
        turn, _ = cv2.Rodrigues(cv2.Rodrigues(lean)[0] @ cv2.Rodrigues(np.array([0, 0, rng.uniform(-0.3, 0.3)]))[0])
        far = rng.uniform(350, 600)
        shift = np.array([*(rng.uniform(-0.5, 0.5, 2) * SIZE_PX / 3000 * far), far])
        there, _ = cv2.projectPoints(flat, turn, shift, matrix, np.array([k1, k2, *TRUTH.tangential, k3]))
        pixels = np.reshape(there, (-1, 2))
        out = np.hypot(*(pixels - half).T) / np.hypot(*half)
        if (pixels > 0).all() and (pixels < np.array(SIZE_PX) - 1).all() and out.max() < reach:
            pixels = pixels + rng.normal(0, noise_px, pixels.shape)
            seen[f"photos/{len(seen)}.jpg"] = SeenBoard(flat[:, :2] + (100, 62.5), pixels)
    return seen


def learnt(**how: float) -> LearntLens:
    return lens_from_corners("simulated", SIZE_PX, BOARD, corners(**how))  # type: ignore[arg-type]


def worst_px(lens: CameraLens) -> float:
    """Most that places in the whole frame are off by when a plane is laid through them."""
    places = np.stack(np.meshgrid(np.linspace(0, 3999, 33), np.linspace(0, 2999, 25)), axis=-1).reshape(-1, 2)
    ours, true = sensor_lens(lens).undistort(places), TRUTH.undistort(places)
    inner = np.hypot(*(places - (2000, 1500)).T) < 0.8 * 2500
    plane, _ = cv2.findHomography(ours[inner], true[inner])
    return float(np.hypot(*(cv2.perspectiveTransform(ours[None], plane)[0] - true).T).max())


def test_a_known_lens_is_recovered() -> None:
    found = learnt(photos=20)
    lens, how = found.lens, found.lens.calibration
    assert how is not None
    assert how.photos == 20
    for value, truth, u in zip(
        (*lens.focal_px, *lens.center_px, *lens.radial, *lens.tangential),
        (*TRUTH.focal_px, *TRUTH.center_px, *TRUTH.radial, *TRUTH.tangential),
        (*how.u_focal_px, *how.u_center_px, *how.u_radial, *how.u_tangential),
        strict=True,
    ):
        assert abs(value - truth) < 3.5 * u
    assert how.u_focal_px[0] < 3
    assert how.rms_px == pytest.approx(0.15 * np.sqrt(2), rel=0.05)  # by hand: of both coordinates together
    assert (how.verdict, how.reasons) == ("good", ())
    assert worst_px(lens) < 1


@pytest.mark.parametrize(
    ("how", "verdict", "words", "least_px"),
    [
        ({"photos": 3}, "not usable", "only 3 photos: take 10 or more", 1.5),
        ({"photos": 6}, "usable", "only 6 photos: take 10 or more", 0.5),
        ({"reach": 0.6}, "not usable", "the rim is not covered", 5.0),
        ({"reach": 0.75}, "usable", "the rim is not covered", 1.0),
        ({"noise_px": 0.5}, "usable", "px is high, highest in", 1.0),
        ({"noise_px": 1.0}, "not usable", "px is high, highest in", 2.0),
    ],
)
def test_what_is_lacking_is_told_and_costs_accuracy(
    how: dict[str, float], verdict: str, words: str, least_px: float
) -> None:
    several = [learnt(seed=seed, **how) for seed in range(5)]
    for found in several:
        assert found.lens.calibration is not None
        assert found.lens.calibration.verdict == verdict
        assert any(words in reason for reason in found.lens.calibration.reasons)
    assert np.median([worst_px(found.lens) for found in several]) > least_px


def test_parallel_boards_leave_the_focal_length_open() -> None:
    for tilt_deg, verdict in ((2.0, "not usable"), (5.0, "usable")):
        found = learnt(tilt_deg=tilt_deg, seed=1)
        assert found.lens.calibration is not None
        assert found.lens.calibration.verdict == verdict
        assert "the boards are all parallel" in found.lens.calibration.reasons[0]
    off = [abs(learnt(tilt_deg=2.0, seed=seed).lens.focal_px[0] / 3000 - 1) for seed in range(4)]
    assert np.median(off) > 0.005


def test_one_board_many_times_is_not_usable() -> None:
    one = corners(photos=1)["photos/0.jpg"]
    found = lens_from_corners("still", SIZE_PX, BOARD, dict.fromkeys("abcdefghijkl", one))
    assert found.lens.calibration is not None
    assert found.lens.calibration.verdict == "not usable"
    assert any("the boards are all parallel within 0 degrees" in reason for reason in found.lens.calibration.reasons)


def test_corners_without_a_plane_leave_the_lens_open() -> None:
    line = SeenBoard(np.zeros((6, 2)), np.zeros((6, 2)))
    with pytest.raises(CalibrationError, match=r"in 3 photos does not tell the lens\. Tilt the board one way"):
        lens_from_corners("none", SIZE_PX, BOARD, dict.fromkeys("abc", line))


def test_all_is_well_and_nothing_is_said() -> None:
    assert judge(GOOD) == ("good", ())


@pytest.mark.parametrize(
    ("change", "verdict", "words"),
    [
        ({"photos": 9}, "usable", "only 9 photos"),
        ({"photos": 4}, "not usable", "only 4 photos"),
        ({"reach_percent": 79.0}, "usable", "corners reach 79 % of the way"),
        ({"coverage_percent": 50.0}, "usable", "corners reached 50 % of the frame: hold the board everywhere"),
        ({"coverage_percent": 20.0}, "not usable", "corners reached 20 % of the frame"),
        ({"tilt_deg": 12.0}, "usable", "the boards are all parallel within 12 degrees"),
        ({"tilt_deg": 1.0}, "not usable", "the boards are all parallel within 1 degrees"),
        ({"rms_px": 0.7}, "usable", "the residual of 0.70 px is high, highest in a.jpg"),
        ({"rms_px": 1.7}, "not usable", "the residual of 1.70 px is high"),
        ({"fold_percent": 85.0}, "not usable", "the lens folds over at 85 % of the way"),
    ],
)
def test_every_fact_has_its_limits(change: dict[str, float], verdict: str, words: str) -> None:
    found, reasons = judge(replace(GOOD, **change))  # type: ignore[arg-type]
    assert found == verdict
    assert len(reasons) == 1
    assert words in reasons[0]


def test_the_worst_fact_decides() -> None:
    verdict, reasons = judge(replace(GOOD, photos=9, rms_px=2.0))
    assert verdict == "not usable"
    assert len(reasons) == 2


def test_a_lens_that_folds_over_inside_the_photo_is_known_by_it() -> None:
    # By hand: k1 = -0.3 falls to a tenth at 1 focal length, which is seen at 0.7: 700 px of 500 √2 = 707.
    lens = CameraLens(
        name="fold",
        size_px=(1000, 1000),
        focal_px=(1000.0, 1000.0),
        center_px=(499.5, 499.5),
        radial=(-0.3, 0.0, 0.0),
        tangential=(0.0, 0.0),
    )
    assert fold_percent(lens) == pytest.approx(100 * 0.7 / np.sqrt(0.5))
    assert fold_percent(replace(lens, radial=(-0.2, 0.0, 0.0))) is None
    assert fold_percent(replace(lens, radial=(0.2, 0.0, 0.0))) is None
