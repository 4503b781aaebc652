import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from debriscount.markers.find_markers import SeenMarker
from debriscount.shot_check.allowance import allowed_area_error
from debriscount.shot_check.focus import (
    HALF_CONTRAST,
    SPREAD_OF_SIGMA,
    edge_spread_px,
    sharpness_findings,
    spread_limit_px,
)


def disc(diameter: float, size: int = 241) -> NDArray[np.float64]:
    y, x = np.mgrid[:size, :size] - size // 2
    return np.asarray(np.clip(diameter / 2 - np.hypot(x, y) + 0.5, 0, 1))


@pytest.mark.parametrize(("diameter", "sigma"), [(100.0, 8.0), (100.0, 12.0), (60.0, 8.0)])
def test_a_blurred_disc_shrinks_as_the_formula_says(diameter: float, sigma: float) -> None:
    # Independent: scipy.ndimage blurs, and the half-way contour is counted.
    area = (gaussian_filter(disc(diameter), sigma) > 0.5).sum()
    sharp = (disc(diameter) > 0.5).sum()
    assert 1 - area / sharp == pytest.approx(4 * sigma**2 / diameter**2, rel=0.15)


def test_a_disc_as_wide_as_the_limit_keeps_half_its_contrast() -> None:
    sigma = 12.0
    blurred = gaussian_filter(disc(HALF_CONTRAST * sigma), sigma)
    assert blurred.max() == pytest.approx(0.5, abs=0.01)


def test_ten_to_ninety_percent_of_a_gaussian_edge() -> None:
    # Closed form: the normal distribution's quantiles, here from scipy.
    from scipy.stats import norm

    assert pytest.approx(norm.ppf(0.9) - norm.ppf(0.1), abs=1e-4) == SPREAD_OF_SIGMA


def test_blurred_alike_is_better_than_one_blurred() -> None:
    alike = spread_limit_px(10.0, 4.0, 1.0)
    assert alike > 4.0 > spread_limit_px(10.0, None, 1.0)


def test_at_the_limit_both_shots_shrink_apart_by_what_is_allowed() -> None:
    # By hand: of discs of 10 px each shot loses 4 s² / 100, s its blur; and these are as far apart as they may be.
    limit, other = spread_limit_px(10.0, 4.0, 1.0) / SPREAD_OF_SIGMA, 4.0 / SPREAD_OF_SIGMA
    assert 4 * (limit**2 - other**2) / 100 == pytest.approx(allowed_area_error(1.0))


def test_more_accuracy_takes_a_sharper_shot() -> None:
    limits = [spread_limit_px(12.0, 2.0, want) for want in (0.3, 1.0, 3.0)]
    assert limits == sorted(limits)
    assert limits[0] < limits[2]


def test_without_debris_sharpness_has_no_limit() -> None:
    (finding,) = sharpness_findings(9.0, 0.3, None, None, 1.0)
    assert finding.fit
    assert finding.limit is None
    assert "2.70 mm" in finding.advice


def test_an_unsharp_shot_says_what_to_do() -> None:
    (finding,) = sharpness_findings(9.0, 0.3, 2.0, None, 1.0)
    assert not finding.fit
    assert "Focus on the floor" in finding.advice


def test_the_other_shot_may_be_the_unsharp_one() -> None:
    own, other = sharpness_findings(1.7, 0.3, 2.0, 5.0, 1.0)
    assert own.fit
    assert not other.fit
    assert "retake that" in other.advice


def test_no_edge_to_be_read_is_told() -> None:
    (finding,) = sharpness_findings(None, 0.3, 2.0, None, 1.0)
    assert finding.fit
    assert finding.value is None


def test_the_middle_marker_counts() -> None:
    markers = {
        n: SeenMarker(id=n, corners_px=np.zeros((4, 2)), sigma_px=0.1, spread_px=s)
        for n, s in enumerate((2.0, None, 3.0, 9.0))
    }
    assert edge_spread_px(markers) == 3.0
    assert edge_spread_px({}) is None
