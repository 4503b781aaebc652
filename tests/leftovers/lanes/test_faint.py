import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.faint import search_combs, with_faint_strips


def strewn(count: int, pitch: float, width: float, seed: int) -> LaneEvidence:
    """Grains that stayed in strips at multiples of a pitch, and a tenth of the others; Bernoulli ratios."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-300, 300, (2, count))
    stayed = (np.abs(y - pitch * np.round(y / pitch)) < width / 2) | (rng.random(count) < 0.1)
    return LaneEvidence(x, y, stayed * np.log(0.97 / 0.1) + ~stayed * np.log(0.03 / 0.9))


def profile_of(grains: LaneEvidence) -> NDArray[np.float64]:
    place = np.floor((grains.y_mm + 300) / 2).astype(int)
    return np.asarray(np.bincount(place, grains.ratio, 300)[:, None], np.float64)


def test_a_comb_of_faint_strips_is_found() -> None:
    found = search_combs(
        profile_of(strewn(700, 120.0, 10.0, 0)), 2.0, np.arange(70.0, 200.0, 2), np.array([8.0, 10.0]), 700
    )
    assert found.evidence > 9
    middles = np.array([(low + high) / 2 - 300 for low, high in found.spans])
    assert np.abs(middles - 120 * np.round(middles / 120)).max() < 4
    assert len(middles) >= 3


def test_chance_makes_a_comb_no_oftener_than_said() -> None:
    # Markov's inequality: evidence above x comes up with a chance below exp(-x), here 5 % for 3.
    pitches, widths = np.arange(70.0, 200.0, 4), np.array([8.0, 16.0])
    found = [search_combs(profile_of(strewn(300, 1e6, 0.0, seed)), 2.0, pitches, widths, 300) for seed in range(60)]
    assert sum(comb.evidence > 3 for comb in found) <= 7


@pytest.mark.parametrize("seen", [(0, 1), (-1, 1), (-2, 2)])
def test_strips_in_between_and_beyond_are_added(seen: tuple[int, int]) -> None:
    grains = strewn(2000, 120.0, 8.0, 1)
    spans = [(120.0 * k - 4, 120.0 * k + 4) for k in seen]
    middles = [(low + high) / 2 for low, high in with_faint_strips(grains, 0.0, spans)]
    assert middles == pytest.approx([-240, -120, 0, 120, 240], abs=6)


def test_nothing_is_added_where_nothing_was_left() -> None:
    grains = strewn(2000, 1000.0, 8.0, 2)
    spans = [(-4.0, 4.0), (146.0, 154.0)]
    assert with_faint_strips(grains, 0.0, spans) == spans
    assert with_faint_strips(grains, 0.0, spans[:1]) == spans[:1]
