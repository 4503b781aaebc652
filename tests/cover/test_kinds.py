import cv2
import numpy as np
import pytest

from debriscount.cover.kinds import BLUR_PX, OUTLINED_PX, KindHint, peak_cover

GREY = np.array([0.5, 0.5, 0.5])


@pytest.mark.parametrize("diameter_px", [1.0, 2.0, 4.0, 8.0])
def test_peak_cover_is_that_of_a_blurred_disc(diameter_px: float) -> None:
    """Against a disc drawn 16 times finer and blurred by OpenCV (*independent*)."""
    fine = 16
    side = 12 * fine + 1
    at = np.arange(side) - side // 2
    disc = (np.hypot(at[None], at[:, None]) <= diameter_px / 2 * fine).astype(np.float32)
    blurred = cv2.GaussianBlur(disc, (0, 0), BLUR_PX * fine)
    assert peak_cover(diameter_px) == pytest.approx(float(blurred[side // 2, side // 2]), abs=0.01)


def test_a_large_grain_reaches_full_cover_and_a_speck_none() -> None:
    assert peak_cover(20.0) == pytest.approx(1)
    assert peak_cover(0.0) == 0


def test_a_kind_is_outlined_when_its_small_grains_are() -> None:
    assert KindHint(GREY, (OUTLINED_PX, 9.0)).outlined
    assert not KindHint(GREY, (OUTLINED_PX - 0.1, 90.0)).outlined


def test_the_usual_peak_is_that_of_the_geometric_middle() -> None:
    # By hand: the middle of 2 and 8 px is 4 px.
    kind = KindHint(GREY, (2.0, 8.0))
    assert kind.least_peak == peak_cover(2.0)
    assert kind.usual_peak == pytest.approx(peak_cover(4.0))
