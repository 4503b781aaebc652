import numpy as np
import pytest

from debriscount.leftovers.reach.sites import gather_sites
from debriscount.leftovers.reach.survival import learn_survival

from .strewn import OPEN_FLOOR, fates_of, left, strewn


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
    # Three standard deviations of a binomial share of some 1400 grains; at least those of a fifth, as what lies beside
    # the border is as hard to tell.
    most = max(stays, 0.2)
    assert found.stays == pytest.approx(truly, abs=3 * np.sqrt(most * (1 - most) / 1400))
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


def test_what_each_grain_says_are_the_ratios_of_bernoulli_trials() -> None:
    x, y = strewn(6000, OPEN_FLOOR, 5)
    fates = fates_of(x, y, left(x > 60, 0.2, 6))
    found = learn_survival(gather_sites(fates, OPEN_FLOOR), OPEN_FLOOR)
    assert found is not None
    said = found.of_grains(fates)
    assert said.inside.all() and said.usual == pytest.approx(0.9, abs=0.03)
    # By hand: nearly all stay where the machine never came, 20 % where it did; no grain says more than one matched
    # wrongly in 33 lets it.
    assert said.ratio[fates.stayed == 1].mean() == pytest.approx(np.log(1 / 0.2), abs=0.1)
    assert -3.5 <= said.ratio[fates.stayed == 0].mean() < np.log(0.05 / 0.8)


def test_no_single_estimate_says_more_than_that_the_grain_stayed() -> None:
    x, y = strewn(3000, OPEN_FLOOR, 7)
    noisy = left(x > 200, 0.1, 8) + np.random.default_rng(9).normal(0, 0.5, 3000)
    noisy[0] = 50.0
    fates = fates_of(x, y, noisy, matched=False)
    found = learn_survival(gather_sites(fates, OPEN_FLOOR), OPEN_FLOOR)
    assert found is not None
    said = found.of_grains(fates)
    assert np.isfinite(said.ratio).all() and said.ratio.max() <= 3.5
    assert said.ratio[x < 190].mean() > 0 > said.ratio[x > 210].mean()
