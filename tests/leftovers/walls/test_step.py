import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import xlogy
from scipy.stats import norm

from debriscount.leftovers.walls.step import FALL95, Step, find_step

REACH = 200.0
Floats = NDArray[np.float64]


def strewn(
    rng: np.random.Generator, number: int, gap_mm: float, near: float = 1.0, beyond: float = 0.1
) -> tuple[Floats, Floats, Floats]:
    """Distances, places along the foot and shares stayed of grains strewn evenly, two levels."""
    distance, along = rng.uniform(0, REACH, number), rng.uniform(0, 600, number)
    stayed = (rng.random(number) < np.where(distance < gap_mm, near, beyond)).astype(float)
    return distance, along, stayed


def found(seen: tuple[Floats, Floats, Floats]) -> Step | None:
    return find_step(*seen, REACH)


@settings(max_examples=60)
@given(seed=st.integers(0, 10**6), gap=st.floats(5, 120), number=st.integers(600, 4000))
def test_a_gap_is_found_to_a_few_grains(seed: int, gap: float, number: int) -> None:
    step = found(strewn(np.random.default_rng(seed), number, gap))
    assert step is not None
    # Beyond the gap one grain in ten stays: six in a row next to it is a chance of a millionth.
    assert step.place_mm == pytest.approx(gap, abs=10 * REACH / number + 1e-9)
    assert step.interval95[0] <= step.place_mm <= step.interval95[1]


def test_the_interval_holds_the_gap_as_often_as_it_says() -> None:
    for near, beyond in [(1.0, 0.1), (0.9, 0.3)]:
        rng = np.random.default_rng(5)
        steps = [found(strewn(rng, 800, 30, near, beyond)) for _ in range(300)]
        held = [s.interval95[0] <= 30 <= s.interval95[1] for s in steps if s is not None]
        assert len(held) > 290
        # Hansen: not less than 95 % where the step is large against the scatter.
        assert np.mean(held) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / 300)


def test_the_fall_is_hansens_critical_value() -> None:
    """*Published*: B. E. Hansen, Econometrica 68 (2000) 575-603, table I: 7.35 at 95 % (from memory).

    *Derived*: where the step is small against the scatter, twice the likelihood ratio is the larger of two independent
    exponential values of mean 2, those of a Brownian motion with drift on either side of the step.
    """
    assert pytest.approx(7.35, abs=0.005) == FALL95
    assert (1 - np.exp(-FALL95 / 2)) ** 2 == pytest.approx(0.95)


def test_the_interval_has_all_places_whose_likelihood_falls_by_no_more() -> None:
    """*Independent*: the binomial likelihood of every place for one step, by scipy."""
    distance, along, stayed = strewn(np.random.default_rng(3), 800, 30, 0.8, 0.4)
    step = found((distance, along, stayed))
    order = np.argsort(distance)
    count = np.arange(1, 800)
    near, total = np.cumsum(stayed[order])[:-1], stayed.sum()
    left, beyond = total - near, 800 - count
    likely = xlogy(near, near / count) + xlogy(count - near, 1 - near / count)
    likely += xlogy(left, left / beyond) + xlogy(beyond - left, 1 - left / beyond)
    within = count[2 * (likely.max() - likely) <= FALL95]
    assert step is not None
    assert step.interval95 == pytest.approx(tuple(distance[order][[within[0] - 1, within[-1]]]))


@pytest.mark.parametrize("level", [0.05, 0.4, 0.7, 0.95])
def test_without_a_step_there_is_none(level: float) -> None:
    rng = np.random.default_rng(6)
    steps = [found(strewn(rng, 700, 0, 1.0, level)) for _ in range(150)]
    assert sum(step is not None for step in steps) <= 3


@pytest.mark.parametrize("levels", [(0.0, 0.0), (1.0, 1.0)])
def test_nothing_stayed_or_all_stayed_is_no_step(levels: tuple[float, float]) -> None:
    assert found(strewn(np.random.default_rng(1), 500, 30, *levels)) is None


def test_a_strip_that_does_not_begin_at_the_foot_is_no_gap() -> None:
    rng = np.random.default_rng(7)
    for begin in (8.0, 40.0, 100.0):
        distance, along, stayed = strewn(rng, 1500, 0)
        stayed[(distance > begin) & (distance < begin + 25)] = 1
        assert found((distance, along, stayed)) is None


def test_a_strip_farther_out_does_not_change_the_gap() -> None:
    distance, along, stayed = strewn(np.random.default_rng(8), 1500, 20)
    alone = found((distance, along, stayed))
    stayed[(distance > 90) & (distance < 110)] = 1
    both = found((distance, along, stayed))
    assert alone is not None and both is not None
    assert both.place_mm == alone.place_mm


def test_what_stays_along_a_part_of_the_foot_alone_is_no_gap() -> None:
    distance, along, stayed = strewn(np.random.default_rng(9), 1500, 0)
    stayed[(distance < 30) & (along < 350)] = 1
    assert found((distance, along, stayed)) is None


def test_a_rise_away_from_the_foot_is_no_gap() -> None:
    assert found(strewn(np.random.default_rng(10), 1500, 40, near=0.6, beyond=0.95)) is None


@settings(max_examples=40)
@given(seed=st.integers(0, 10**6), noise=st.floats(0.1, 0.5))
def test_estimates_that_stray_do_as_well(seed: int, noise: float) -> None:
    rng = np.random.default_rng(seed)
    distance, along, stayed = strewn(rng, 3000, 40)
    step = found((distance, along, stayed + rng.normal(0, noise, len(stayed))))
    assert step is not None
    # Normal errors of a variance s about levels 0.9 apart: beyond n grains the sum of their likelihood ratios, normal
    # with mean n d²/2 and variance n d² (d² = 0.81/s), is below 0 with a chance of norm.sf(sqrt(n) d / 2).
    ratio = 0.81 / (noise**2 + 0.09)
    grains = 4 * float(norm.isf(1e-6)) ** 2 / ratio
    assert step.place_mm == pytest.approx(40, abs=grains * REACH / 3000)


def test_noise_alone_is_no_gap() -> None:
    rng = np.random.default_rng(12)
    values = [rng.normal(0.6, 0.5, 800) for _ in range(100)]
    places = rng.uniform(0, REACH, (2, 800))
    assert sum(find_step(places[0], places[1], v, REACH) is not None for v in values) <= 3


def test_the_order_of_grains_does_not_matter() -> None:
    seen = strewn(np.random.default_rng(13), 900, 25)
    order = np.random.default_rng(14).permutation(900)
    assert found(seen) == found((seen[0][order], seen[1][order], seen[2][order]))


def test_a_longer_scale_is_a_longer_gap() -> None:
    distance, along, stayed = strewn(np.random.default_rng(15), 900, 25)
    one, ten = found((distance, along, stayed)), find_step(10 * distance, along, stayed, 10 * REACH)
    assert one is not None and ten is not None
    assert ten.place_mm == pytest.approx(10 * one.place_mm)
    assert ten.interval95 == pytest.approx([10 * end for end in one.interval95])


@pytest.mark.parametrize("number", [0, 1, 2, 5])
def test_too_few_grains_say_nothing(number: int) -> None:
    assert found(strewn(np.random.default_rng(2), number, 100)) is None


def test_equal_estimates_are_no_step() -> None:
    assert find_step(np.arange(50.0), np.arange(50.0), np.full(50, 0.7), 60.0) is None
