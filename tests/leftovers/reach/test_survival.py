from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.grains.table import GrainTable
from debriscount.inputs.lay_patch import lay_patch
from debriscount.inputs.patch import Patch
from debriscount.leftovers.fates import Fates
from debriscount.leftovers.reach.beside_walls import beyond_gaps
from debriscount.leftovers.reach.chains import _backward, _forward, _steps, straight_strips
from debriscount.leftovers.reach.mixture import Mixture, share
from debriscount.leftovers.reach.sites import gather_sites
from debriscount.leftovers.reach.survival import learn_survival

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
OPEN_FLOOR = lay_patch(600, 400)
WALLED = lay_patch(600, 400, ("top",))


def strewn(count: int, patch: Patch, seed: int) -> tuple[Floats, Floats]:
    x, y = np.random.default_rng(seed).random((2, count)) * np.array([[patch.width_mm], [patch.height_mm]])
    return x, y


def fates_of(x: Floats, y: Floats, stayed: Floats, patch: Patch = OPEN_FLOOR, matched: bool = True) -> Fates:
    table = GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), 5.0), patch.zone_codes(x, y))
    return Fates(table, table, stayed, stayed, (matched,), (0.3,), (1.0,), (0.0,))


def left(reached: Bools, stays: float, seed: int) -> Floats:
    """Fates of grains of which ``stays`` lie still where the machine acted, and all elsewhere."""
    return np.where(reached, np.random.default_rng(seed).random(len(reached)) < stays, True).astype(float)


def test_too_few_places_teach_nothing() -> None:
    x, y = strewn(20, OPEN_FLOOR, 0)
    assert learn_survival(gather_sites(fates_of(x, y, np.ones(20)), OPEN_FLOOR), OPEN_FLOOR) is None


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("stays", [0.04, 0.2, 0.4])
def test_the_share_that_stays_is_learned_beside_an_island_never_reached(stays: float, seed: int) -> None:
    x, y = strewn(1500, OPEN_FLOOR, seed)
    reached = np.hypot(x - 300, y - 200) > 70
    sites = gather_sites(fates_of(x, y, left(reached, stays, seed + 50)), OPEN_FLOOR)
    found = learn_survival(sites, OPEN_FLOOR)
    assert found is not None
    truly = sites.stayed[reached].mean()
    # Of some 1400 grains a share of one fifth is known to 0.01, standard deviation of a binomial share.
    assert found.stays == pytest.approx(truly, abs=0.03)
    # Grains left beside the island's border cannot be told from those on it.
    assert np.mean((found.reached > 0.5) == reached) > 0.95


@pytest.mark.parametrize("seed", range(5))
def test_grains_left_at_random_are_no_places_missed(seed: int) -> None:
    x, y = strewn(1200, OPEN_FLOOR, seed)
    sites = gather_sites(fates_of(x, y, left(np.ones(1200, bool), 0.25, seed + 9)), OPEN_FLOOR)
    found = learn_survival(sites, OPEN_FLOOR)
    assert found is not None
    assert found.reached.mean() > 0.98


def test_a_grain_taken_away_was_reached() -> None:
    x, y = strewn(1500, OPEN_FLOOR, 3)
    reached = x > 200
    stayed = left(reached, 0.1, 4)
    found = learn_survival(gather_sites(fates_of(x, y, stayed), OPEN_FLOOR), OPEN_FLOOR)
    assert found is not None
    assert found.reached[stayed == 0].min() > 0.5


@pytest.mark.parametrize("seed", range(3))
def test_strips_narrower_than_grains_lie_apart_are_found_by_their_line(seed: int) -> None:
    # 400 grains lie 24 mm apart, the strips are 14 mm wide.
    x, y = strewn(400, OPEN_FLOOR, seed)
    across = y * np.cos(0.4) - x * np.sin(0.4)
    reached = np.abs(across - 150 * np.round(across / 150)) > 7
    sites = gather_sites(fates_of(x, y, left(reached, 0.08, seed + 20)), OPEN_FLOOR)
    found = learn_survival(sites, OPEN_FLOOR)
    assert found is not None
    assert np.mean((found.reached > 0.5) == reached) > 0.95


def test_misjudged_grains_do_not_make_a_reached_island() -> None:
    x, y = strewn(1500, OPEN_FLOOR, 8)
    reached = x > 250
    stayed = left(reached, 0.1, 9)
    wrong = np.random.default_rng(10).random(1500) < 0.02
    stayed[wrong] = 1 - stayed[wrong]
    found = learn_survival(gather_sites(fates_of(x, y, stayed), OPEN_FLOOR), OPEN_FLOOR)
    assert found is not None
    assert found.reached.mean() == pytest.approx(reached.mean(), abs=0.015)


def test_fine_debris_is_gathered_so_that_its_mean_counts() -> None:
    x, y = strewn(6000, OPEN_FLOOR, 1)
    reached = x > 200
    noisy = left(reached, 0.1, 2) + np.random.default_rng(3).normal(0, 0.8, 6000)
    sites = gather_sites(fates_of(x, y, noisy, matched=False), OPEN_FLOOR)
    assert 400 < len(sites) < 900
    assert sites.area_mm2.sum() == pytest.approx(6000 * 5.0)
    assert (sites.area_mm2 @ sites.stayed) / sites.area_mm2.sum() == pytest.approx(noisy.mean())
    found = learn_survival(sites, OPEN_FLOOR)
    assert found is not None
    assert (sites.area_mm2 @ found.reached) / sites.area_mm2.sum() == pytest.approx(reached.mean(), abs=0.03)


def test_chains_give_the_probabilities_of_all_sequences() -> None:
    # Outside check: the sum over all 2^7 sequences of the Markov chain, each with its probability.
    rng = np.random.default_rng(5)
    sums, step, usual, run = rng.normal(0, 2, 7), 3.0, 0.8, 20.0
    stay, enter = (float(v) for v in _steps(step, usual, np.array(run)))
    total, ones = 0.0, np.zeros(7)
    for states in product((0, 1), repeat=7):
        chance = usual if states[0] else 1 - usual
        for before, after in pairwise(states):
            to_one = stay if before else enter
            chance *= to_one if after else 1 - to_one
        chance *= float(np.exp(sums @ states))
        total += chance
        ones = ones + chance * np.array(states, float)
    likely, earlier = _forward(sums[None], step, usual, np.array([run]))
    later = _backward(sums[None], step, usual, np.array([run]))[0]
    forth = earlier[:, 0, 0]
    odds = np.log(forth / (1 - forth)) + later + sums
    assert likely[0, 0] == pytest.approx(np.log(total))
    assert 1 / (1 + np.exp(-odds)) == pytest.approx(ones / total)


def test_strips_hardly_depend_on_a_places_own_fate() -> None:
    x, y = strewn(300, OPEN_FLOOR, 2)
    stayed = left(np.abs(y - 200) > 15, 0.1, 3)
    one = np.asarray(np.where(stayed > 0, np.log(0.1), np.log(0.9)), float)
    none = np.asarray(np.where(stayed > 0, np.log(0.99), np.log(0.01)), float)
    first = straight_strips(x, y, (one, none), 0.9)
    one[7], none[7] = np.log(0.9) if stayed[7] else np.log(0.1), np.log(0.01) if stayed[7] else np.log(0.99)
    second = straight_strips(x, y, (one, none), 0.9)
    # Its own fate is a ratio of 90 or more, 4.5 in logarithms; what is left of it comes from hypotheses left out.
    assert second.log_odds[7] == pytest.approx(first.log_odds[7], abs=0.3)


@given(stays=st.floats(0.05, 0.6), lost=st.floats(0.005, 0.05), seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_the_gradient_is_that_of_the_posterior(stays: float, lost: float, seed: int) -> None:
    # Outside check: central differences.
    rng = np.random.default_rng(seed)
    x, y = strewn(40, WALLED, seed)
    sites = gather_sites(fates_of(x, y, (rng.random(40) < 0.5).astype(float), WALLED), WALLED)
    mixture = Mixture(sites, np.column_stack([np.ones(40), rng.normal(size=(40, 2))]), rng.uniform(0.2, 1, 40))
    logits = [np.log(v / (1 - v)) for v in (*[stays] * sites.groups, lost)]
    params = np.array([*logits, 1.0, 0.5, 0.4])
    value, slope, _ = mixture._posterior(params)
    assert np.isfinite(value)
    steps = 1e-5 * np.eye(len(params))
    ahead = [(mixture._posterior(params + s)[0] - mixture._posterior(params - s)[0]) / 2e-5 for s in steps]
    assert slope == pytest.approx(ahead, rel=1e-4, abs=1e-4)


def test_a_gap_along_a_wall_is_told_by_the_other_places_in_it() -> None:
    x, y = strewn(1000, WALLED, 6)
    stayed = left(y > 12, 0.3, 7)
    sites = gather_sites(fates_of(x, y, stayed, WALLED), WALLED)
    params = np.log(np.array([*[0.3 / 0.7] * sites.groups, 0.01 / 0.99]))
    evidence = Mixture(sites, np.zeros((1000, 0)), np.ones(1000)).evidence(params)
    beyond = beyond_gaps(sites, WALLED, evidence, np.full(1000, 1 - 1e-6))
    assert beyond[y < 9].max() < 0.1
    assert beyond[y > 16].min() > 0.9


def test_shares_of_logits_stay_off_the_ends() -> None:
    assert share(np.array([-1e9, 0.0, 1e9])) == pytest.approx([0, 0.5, 1], abs=1e-8)
    assert np.isfinite(np.log(share(np.array([-1e9])))).all()
