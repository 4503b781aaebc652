import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from debriscount.leftovers.lanes.comb import comb_of, comb_through, fit_comb, lanes_across, strips_on_comb, usual_width
from debriscount.leftovers.lanes.strips import Found, StripEnd


def strip(middle: float, width: float = 12.0, u: float = 0.4, low: bool = True, high: bool = True) -> Found:
    return Found(StripEnd(middle - width / 2, u, low), StripEnd(middle + width / 2, u, high))


@given(
    st.floats(80, 340),
    st.floats(-300, 0),
    st.lists(st.integers(1, 2), min_size=2, max_size=5),
    st.integers(0, 1000),
)
def test_pitch_is_found_though_strips_are_missing(pitch: float, first: float, steps: list[int], seed: int) -> None:
    numbers = np.concatenate([[0], np.cumsum(steps)])
    middles = first + pitch * numbers + np.random.default_rng(seed).normal(0, 0.02 * pitch, len(numbers))
    comb = fit_comb(list(middles), [1.0] * len(middles))
    if min(steps) == 2:  # every other strip is missing: a comb of twice the pitch explains as much
        assert comb is None or comb.pitch_mm == pytest.approx(2 * pitch, rel=0.1) or 2 * pitch > 350
    else:
        assert comb is not None and comb.pitch_mm == pytest.approx(pitch, rel=0.06)


def test_line_and_uncertainty_are_those_of_scipy() -> None:
    numbers, middles = np.array([0, 1, 2, 4, 5]), np.array([-203.0, -55.0, 102.0, 398.0, 553.0])
    comb, expected = comb_through(numbers, middles, np.ones(5)), linregress(numbers, middles)
    assert (comb.pitch_mm, comb.first_mm) == pytest.approx((expected.slope, expected.intercept))
    assert comb.pitch_u_mm == pytest.approx(expected.stderr)
    # Two strips leave no scatter to learn from: the borders' uncertainty counts.
    assert comb_through(np.array([0, 1]), np.array([0.0, 150.0]), np.array([3.0, 4.0])).pitch_u_mm == pytest.approx(5)


@pytest.mark.parametrize("middles", [[], [10.0], [0.0, 480.0], [0.0, 30.0], [-200.0, 0.0, 268.0, 390.0]])
def test_no_pitch_is_forced(middles: list[float]) -> None:
    assert fit_comb(middles, [1.0] * len(middles)) is None


def test_usual_width_leaves_out_wide_and_cut_strips() -> None:
    strips = [strip(0, 10), strip(150, 12), strip(330, 60), strip(500, 11), strip(650, 3, high=False)]
    width, u = usual_width(strips)
    assert width == pytest.approx(11, abs=0.1)
    # Standard error of three widths that differ by 1 mm, standard deviation.
    assert u == pytest.approx(1 / np.sqrt(3), rel=0.1)


def test_a_turn_too_wide_does_not_change_the_pitch() -> None:
    # Lanes 138 wide with strips of 12, but one of 60: by hand, what follows lies 48 farther on.
    for strips in (
        [strip(0), strip(150), strip(324, 60), strip(498), strip(648)],
        [strip(0), strip(174, 60), strip(348), strip(498), strip(648)],
    ):
        comb = comb_of(strips)
        assert comb is not None and comb.pitch_mm == pytest.approx(150)


def test_strips_cut_by_the_rim_count_where_the_comb_has_them() -> None:
    closed = [strip(-100), strip(50)]
    fitting = Found(StripEnd(194.0, 0.4, True), StripEnd(200.0, 0.0, False))
    astray = Found(StripEnd(150.0, 0.4, True), StripEnd(156.0, 0.0, False))
    assert strips_on_comb([*closed, fitting]) == [*closed, fitting]
    assert strips_on_comb([*closed, astray]) == closed


@pytest.mark.parametrize(("half", "expected"), [(100.0, 3), (60.0, 1), (250.0, 5)])
def test_lanes_are_counted_to_the_rim(half: float, expected: int) -> None:
    # Strips 12 wide at -75 and 75, lanes of 138 between: by hand.
    strips = [strip(-75), strip(75)]
    comb = comb_of(strips)
    assert comb is not None and lanes_across(comb, strips, half) == expected
