import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from debriscount.leftovers.walls.step import Step, find_step

REACH = 200.0
Floats = NDArray[np.float64]


def strewn(
    rng: np.random.Generator, number: int, gap_mm: float, near: float = 1.0, beyond: float = 0.1
) -> tuple[Floats, Floats, Floats]:
    """Distances, places along the foot and shares stayed of grains strewn evenly, two levels."""
    distance, along = rng.uniform(0, REACH, number), rng.uniform(0, 600, number)
    stayed = (rng.random(number) < np.where(distance < gap_mm, near, beyond)).astype(float)
    return distance, along, stayed


def ratio_of(stayed: Floats, beyond: float = 0.1, noise: float = 0.0) -> Floats:
    """Log likelihood of fates where 98 % stay over that where ``beyond`` do, each seen with normal ``noise``."""
    if noise:
        return np.asarray(((stayed - beyond) ** 2 - (stayed - 0.98) ** 2) / (2 * noise**2))
    return np.asarray(stayed * np.log(0.98 / beyond) + (1 - stayed) * np.log(0.02 / (1 - beyond)))


def found(seen: tuple[Floats, Floats, Floats], beyond: float = 0.1, noise: float = 0.0) -> Step | None:
    return find_step(*seen, ratio_of(seen[2], beyond, noise), 0.95, REACH)


@settings(max_examples=60)
@given(seed=st.integers(0, 10**6), gap=st.floats(5, 120), number=st.integers(600, 4000))
def test_a_gap_is_found_to_a_few_grains(seed: int, gap: float, number: int) -> None:
    step = found(strewn(np.random.default_rng(seed), number, gap))
    assert step is not None
    # Beyond the gap one grain in ten stays: six in a row next to it is a chance of a millionth.
    assert step.place_mm == pytest.approx(gap, abs=10 * REACH / number + 1e-9)
    assert step.interval95[0] <= step.place_mm <= step.interval95[1]


def test_the_interval_holds_the_gap_as_often_as_it_says() -> None:
    for near, beyond in [(0.98, 0.1), (0.98, 0.3)]:
        rng = np.random.default_rng(5)
        steps = [found(strewn(rng, 800, 30, near, beyond), beyond) for _ in range(300)]
        held = [s.interval95[0] <= 30 <= s.interval95[1] for s in steps if s is not None]
        assert len(held) > 290
        assert np.mean(held) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / 300)


@pytest.mark.parametrize("level", [0.05, 0.4, 0.7, 0.95])
def test_without_a_step_there_is_none(level: float) -> None:
    rng = np.random.default_rng(6)
    steps = [found(strewn(rng, 700, 0, 1.0, level), level) for _ in range(150)]
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
    assert both.place_mm == pytest.approx(alone.place_mm, abs=0.5)


def test_what_stays_along_a_part_of_the_foot_alone_is_no_gap() -> None:
    distance, along, stayed = strewn(np.random.default_rng(9), 1500, 0)
    stayed[(distance < 30) & (along < 350)] = 1
    assert found((distance, along, stayed)) is None


def test_a_rise_away_from_the_foot_is_no_gap() -> None:
    assert found(strewn(np.random.default_rng(10), 1500, 40, near=0.6, beyond=0.95), 0.95) is None


@settings(max_examples=40)
@given(seed=st.integers(0, 10**6), noise=st.floats(0.1, 0.5))
def test_estimates_that_stray_do_as_well(seed: int, noise: float) -> None:
    rng = np.random.default_rng(seed)
    distance, along, stayed = strewn(rng, 3000, 40)
    spread = float(np.hypot(noise, 0.3))
    step = found((distance, along, stayed + rng.normal(0, noise, len(stayed))), noise=spread)
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
    assert sum(found((*places, v), 0.6, 0.5) is not None for v in values) <= 3


def test_the_order_of_grains_does_not_matter() -> None:
    seen = strewn(np.random.default_rng(13), 900, 25)
    order = np.random.default_rng(14).permutation(900)
    assert found(seen) == found((seen[0][order], seen[1][order], seen[2][order]))


def test_a_longer_scale_is_a_longer_gap() -> None:
    distance, along, stayed = strewn(np.random.default_rng(15), 900, 25)
    one = found((distance, along, stayed))
    ten = find_step(10 * distance, along, stayed, ratio_of(stayed), 0.95, 10 * REACH)
    assert one is not None and ten is not None
    assert ten.place_mm == pytest.approx(10 * one.place_mm)
    assert ten.interval95 == pytest.approx([10 * end for end in one.interval95])


@pytest.mark.parametrize("number", [0, 1, 2, 5])
def test_too_few_grains_say_nothing(number: int) -> None:
    assert found(strewn(np.random.default_rng(2), number, 100)) is None
