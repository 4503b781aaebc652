import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.inputs.patch import Patch
from debriscount.leftovers.gaps import beyond_gaps, gap_depth
from debriscount.leftovers.reach.mixture import Mixture
from debriscount.leftovers.reach.sites import Sites

from .reach.strewn import CORNER, OPEN_FLOOR, WALLED, Floats, left, sites_of, strewn


def evidence_of(sites: Sites, stays: float = 0.3) -> tuple[Floats, Floats]:
    params = np.log(np.array([*[stays / (1 - stays)] * sites.groups, 0.01 / 0.99]))
    return Mixture(sites, np.zeros((len(sites), 0)), np.ones(len(sites))).evidence(params)


def beyond_of(sites: Sites, patch: Patch, stays: float = 0.3, chance: float = 1 - 1e-6) -> Floats:
    return beyond_gaps(sites.x_mm, sites.y_mm, patch, evidence_of(sites, stays), np.full(len(sites), chance))


def test_a_gap_along_a_wall_is_told_by_the_other_places_in_it() -> None:
    x, y = strewn(1000, WALLED, 6)
    beyond = beyond_of(sites_of(x, y, left(y > 12, 0.3, 7), WALLED), WALLED)
    assert beyond[y < 9].max() < 0.1
    assert beyond[y > 16].min() > 0.9


def test_a_gap_in_a_corner_is_round_and_leaves_the_walls_alone() -> None:
    x, y = strewn(3000, CORNER, 8)
    away = np.hypot(x, y)
    beyond = beyond_of(sites_of(x, y, left(away > 50, 0.1, 9), CORNER), CORNER, 0.1)
    assert beyond[away < 42].max() < 0.2
    # The first place beside a wall has none nearer to it that would tell.
    assert beyond[(away > 60) & (np.minimum(x, y) > 10)].min() > 0.9


@pytest.mark.parametrize("seed", range(4))
def test_no_gap_is_seen_where_grains_are_left_at_random(seed: int) -> None:
    x, y = strewn(1500, CORNER, seed)
    beyond = beyond_of(sites_of(x, y, left(np.ones(1500, bool), 0.3, seed + 40), CORNER), CORNER)
    assert beyond[np.minimum(x, y) > 10].min() > 0.5
    assert beyond.mean() > 0.99


def test_without_walls_and_far_from_them_there_is_no_gap() -> None:
    x, y = strewn(500, OPEN_FLOOR, 2)
    stayed = left(y > 30, 0.1, 3)
    assert (beyond_of(sites_of(x, y, stayed), OPEN_FLOOR) == 1).all()
    far = y >= 2 * WALLED.edge_mm
    beyond = beyond_of(sites_of(x, y, stayed, WALLED), WALLED)
    assert (beyond[far] == 1).all()
    assert (beyond[y < 20] < 0.5).all()


@given(seed=st.integers(0, 10_000), chance=st.floats(0.3, 0.999))
@settings(max_examples=25)
def test_the_odds_are_those_of_all_depths_by_the_other_places(seed: int, chance: float) -> None:
    # Outside check: the posterior of every depth written out, a place's own fate left out; half the prior is no gap,
    # half is spread evenly over depths of up to two edge zones.
    x, y = strewn(40, WALLED, seed)
    stayed = left(y > 25, 0.3, seed)
    sites = sites_of(x, y, stayed, WALLED)
    one, none = evidence_of(sites)
    beyond = beyond_gaps(sites.x_mm, sites.y_mm, WALLED, (one, none), np.full(40, chance))
    deepest = 2 * WALLED.edge_mm
    near = np.sort(y[y < deepest])
    edges = np.array([0.0, *near, deepest])
    prior = 0.5 * np.diff(edges) / deepest
    prior[0] += 0.5
    for place in np.flatnonzero(y < deepest):
        weights = []
        for depth, before in zip(edges[:-1], prior, strict=True):
            inside = (y <= depth) & (y < deepest)
            if not depth:
                inside[:] = False
            likely = np.where(inside, np.exp(none), chance * np.exp(one) + (1 - chance) * np.exp(none))
            likely[place] = 1
            weights.append(before * likely.prod())
        within = sum(w for w, depth in zip(weights, edges[:-1], strict=True) if depth >= y[place])
        assert beyond[place] == pytest.approx(1 - within / sum(weights), abs=1e-5)


def test_a_places_own_fate_has_no_say() -> None:
    x, y = strewn(300, WALLED, 4)
    stayed = left(y > 15, 0.2, 5)
    first = beyond_of(sites_of(x, y, stayed, WALLED), WALLED)
    place = int(np.argmin(np.abs(y - 14)))
    stayed[place] = 1 - stayed[place]
    second = beyond_of(sites_of(x, y, stayed, WALLED), WALLED)
    assert second[place] == pytest.approx(first[place], abs=1e-6)
    assert np.abs(second - first).max() > 1e-3


def test_the_depth_is_that_of_the_step_and_its_interval_holds_it_as_often_as_it_says() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        distance = rng.uniform(0, 200, 800)
        gone = rng.random(800) < np.where(distance < 30, 0.02, 0.8)
        # By hand: 98 % stay in the gap, 20 % beyond it.
        found = gap_depth(distance, gone * np.log(0.02 / 0.8) + ~gone * np.log(0.98 / 0.2), 200.0)
        assert found.none_share < 1e-6
        assert found.depth_mm(0.5) == pytest.approx(30, abs=4)
        held += found.depth_mm(0.025) <= 30 <= found.depth_mm(0.975)
    assert held / 300 == pytest.approx(0.95, abs=3 * np.sqrt(0.05 * 0.95 / 300))


def test_without_places_nothing_is_told_but_that_either_way_is_as_likely() -> None:
    found = gap_depth(np.zeros(0), np.zeros(0), 60.0)
    assert found.none_share == pytest.approx(0.5)
    assert [found.depth_mm(q) for q in (0, 0.5, 1)] == pytest.approx([0, 30, 60])
