from dataclasses import replace

import numpy as np
import pytest

from debriscount.camera.known_lens import lens_of_photo, lens_warnings, sensor_lens, sensor_pixels
from debriscount.errors import LensError
from debriscount.inputs.lens import CameraLens, LensCalibration
from debriscount.photo.read import Photo
from debriscount.photo.settings import CameraSettings

LENS = CameraLens(
    name="phone",
    size_px=(400, 300),
    focal_px=(310.0, 311.0),
    center_px=(203.0, 148.0),
    radial=(-0.1, 0.02, 0.0),
    tangential=(0.001, -0.002),
    focal_length_mm=5.4,
)
HOW = LensCalibration(
    date="2026-11-25",
    photos=3,
    rms_px=2.0,
    coverage_percent=10.0,
    reach_percent=40.0,
    verdict="not usable",
    reasons=("only 3 photos",),
    u_focal_px=(1, 1),
    u_center_px=(1, 1),
    u_radial=(1, 1, 1),
    u_tangential=(1, 1),
)


def photo(width: int, height: int, turned_deg: int = 0, focal_mm: float | None = None) -> Photo:
    pixels = np.zeros((height, width, 3), np.uint8)
    return Photo(pixels, "after.jpg", settings=CameraSettings(focal_mm=focal_mm), turned_deg=turned_deg)


def test_a_photo_of_the_lens_files_size_takes_the_lens_as_it_is() -> None:
    lens = lens_of_photo(LENS, photo(400, 300))
    assert lens == sensor_lens(LENS)
    assert (lens.center_px, lens.focal_px) == (LENS.center_px, LENS.focal_px)
    assert (lens.radial, lens.tangential) == (LENS.radial, LENS.tangential)


def test_a_larger_photo_of_the_same_frame_takes_it_larger() -> None:
    lens = lens_of_photo(LENS, photo(1200, 900))
    assert lens.focal_px == pytest.approx((930.0, 933.0))
    # By hand: 203.5 px from the left edge of the first pixel become 610.5.
    assert lens.center_px == pytest.approx((610.0, 445.0))
    assert lens.radial == LENS.radial


def test_rounding_to_whole_pixels_is_no_other_frame() -> None:
    assert lens_of_photo(LENS, photo(133, 100)).focal_px[0] == pytest.approx(310 * 133 / 400)


@pytest.mark.parametrize("turned_deg", [90, 180, 270])
def test_a_photo_turned_upright_takes_the_lens_turned(turned_deg: int) -> None:
    """What the sensor saw at a pixel is seen at the turned pixel of the upright photo."""
    upright = np.rot90(np.arange(300 * 400).reshape(300, 400), -turned_deg // 90)
    shot = photo(upright.shape[1], upright.shape[0], turned_deg)
    assert sensor_pixels(shot).shape[:2] == (300, 400)
    lens = lens_of_photo(LENS, shot)
    for row, column in ((10, 20), (299, 0), (150, 399)):
        there_row, there_column = np.argwhere(upright == 400 * row + column)[0]
        flat = sensor_lens(LENS).undistort(np.array([column, row], float)) - LENS.center_px
        seen = lens.undistort(np.array([there_column, there_row], float)) - lens.center_px
        assert np.hypot(*(seen / lens.focal_px)) == pytest.approx(np.hypot(*(flat / LENS.focal_px)), rel=1e-9)


def test_turning_back_gives_what_lay_on_the_sensor() -> None:
    sensor = np.random.default_rng(0).integers(0, 255, (300, 400, 3)).astype(np.uint8)
    for turned_deg in (0, 90, 180, 270):
        upright = Photo(np.ascontiguousarray(np.rot90(sensor, -turned_deg // 90)), "a.jpg", turned_deg=turned_deg)
        np.testing.assert_array_equal(sensor_pixels(upright), sensor)


@pytest.mark.parametrize(
    "shot",
    [photo(400, 225), photo(300, 400), photo(400, 300, 90), photo(380, 300)],
    ids=["16:9", "turned", "not", "cut"],
)
def test_another_frame_is_refused(shot: Photo) -> None:
    message = (
        r'after\.jpg: has \d+ x \d+ px on the sensor, which is not an enlarged or reduced copy of the 400 x 300 px of lens "phone"\. '
        r"Give the photo as the camera made it, not cropped or turned, or calibrate the lens at this size\."
    )
    with pytest.raises(LensError, match=message):
        lens_of_photo(LENS, shot)


def test_a_lens_that_folds_over_inside_the_photo_is_refused() -> None:
    folding = replace(LENS, radial=(-0.9, 0.0, 0.0))
    with pytest.raises(
        LensError, match=r'lens "phone": its radial terms fold over at \d\d % of the way .* Calibrate it again'
    ):
        lens_of_photo(folding, photo(400, 300))


def test_nothing_is_said_of_a_lens_that_fits() -> None:
    shots = {"before": photo(400, 300, focal_mm=5.43), "after": photo(400, 300)}
    assert lens_warnings(LENS, shots) == []
    assert lens_warnings(replace(LENS, focal_length_mm=None), {"before": photo(400, 300, focal_mm=9.0)}) == []


def test_another_focal_length_is_told() -> None:
    (warning,) = lens_warnings(LENS, {"before": photo(400, 300, focal_mm=5.4), "after": photo(400, 300, focal_mm=2.2)})
    assert warning.shot == "after"
    assert warning.sentence.startswith('was taken at a focal length of 2.2 mm, lens "phone" is one of 5.4 mm; ')


def test_a_lens_that_is_not_usable_is_told() -> None:
    (warning,) = lens_warnings(replace(LENS, calibration=HOW), {"before": photo(400, 300)})
    assert warning.sentence == 'lens "phone" is not usable, as its file says: only 3 photos'
    assert lens_warnings(replace(LENS, calibration=replace(HOW, verdict="usable")), {}) == []
