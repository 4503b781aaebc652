import numpy as np
import pytest

from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.strips import Found, StripEnd, border, strip_borders


def test_between_two_sure_grains_a_border_may_lie_anywhere() -> None:
    found = border(np.array([1.0, 4.0, 7.0]), np.array([50.0, 50.0, -50.0]), 0.0, 30.0)
    # Evenly spread from 4 to 7: mean 5.5, standard deviation 3/sqrt(12).
    assert (found.at_mm, found.u_mm) == pytest.approx((5.5, 3 / np.sqrt(12)))
    assert found.closed


def test_a_border_sought_downwards_is_the_mirror_image() -> None:
    place, ratio = np.array([1.0, 4.0, 7.0, 9.0]), np.array([2.0, 1.0, -2.0, -3.0])
    up, down = border(place, ratio, 0.0, 30.0), border(-place, ratio, 0.0, -30.0)
    assert (down.at_mm, down.u_mm, down.closed) == pytest.approx((-up.at_mm, up.u_mm, up.closed))


def test_borders_cover_the_truth_as_often_as_they_say() -> None:
    rng = np.random.default_rng(0)
    errors = []
    for _ in range(400):
        place = rng.uniform(0, 40, 60)
        edge = rng.uniform(10, 30)
        stayed = rng.random(60) < np.where(place < edge, 0.95, 0.1)
        ratio = stayed * np.log(0.95 / 0.1) + ~stayed * np.log(0.05 / 0.9)
        found = border(place, ratio, 0.0, 40.0)
        errors.append(((found.at_mm - edge) / found.u_mm, found.at_mm - edge))
    scores, off = np.array(errors).T
    # The mean over a true posterior is unbiased and its scores have variance 1.
    assert abs(off.mean()) < 3 * off.std() / np.sqrt(400)
    assert np.mean(scores**2) == pytest.approx(1, abs=0.25)


def test_a_strip_at_the_rim_of_the_debris_is_open_there() -> None:
    rng = np.random.default_rng(1)
    y = rng.uniform(-50, 50, 4000)
    grains = LaneEvidence(rng.uniform(-50, 50, 4000), y, np.where((y < -40) | (np.abs(y) < 5), 2.0, -2.0))
    rim, inner = strip_borders(grains, 0.0, [(-50.0, -39.0), (-6.0, 4.0)])
    assert (rim.low.closed, rim.high.closed, inner.closed) == (False, True, True)
    assert (*rim.span, *inner.span) == pytest.approx((-50, -40, -5, 5), abs=0.3)


def test_width_and_its_uncertainty_come_from_both_borders() -> None:
    strip = Found(StripEnd(-3.0, 0.3, True), StripEnd(9.0, 0.4, True))
    assert (strip.width_mm, strip.width_u_mm, *strip.span) == pytest.approx((12.0, 0.5, -3.0, 9.0))


def test_without_grains_there_are_no_borders() -> None:
    none = np.zeros(0)
    assert strip_borders(LaneEvidence(none, none, none), 0.0, [(0.0, 1.0)]) == []
    assert not border(none, none, 2.0, 2.0).closed
