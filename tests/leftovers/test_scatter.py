from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import MARGIN, Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.records import Fates
from debriscount.leftovers.scatter import _at_least, find_scatter
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec
from debriscount.simulate.truth import draw_truth

from .conftest import true_fates

LENTILS = DebrisKind("lentils", (90, 150, 60), (3.0, 5.0))
PATCH = lay_patch(600, 400, ("top", "left"))
NAMES = ("kind", "x_mm", "y_mm", "area_mm2", "zone")


def spec_of(seed: int, patch: Patch = PATCH, **cleaning: Any) -> SceneSpec:
    return SceneSpec(patch, (Portion(LENTILS, cover_share=0.04),), passes=(Cleaning(**cleaning),), seed=seed)


def table(places: list[tuple[float, float]], patch: Patch = PATCH, area: float = 10.0) -> GrainTable:
    x, y = np.array(places, float).reshape(-1, 2).T
    return GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), area), patch.zone_codes(x, y))


def fates(earlier: GrainTable, later: GrainTable, stayed: Any, untouched: Any, matched: bool = True) -> Fates:
    return Fates(
        earlier=earlier,
        later=later,
        stayed=np.array(stayed, float),
        untouched=np.array(untouched, float),
        matched=(matched,),
        least_shift_mm=(0.3,),
        u_untouched_percent=(1.0,),
        chance_percent=(0.0,),
    )


@settings(max_examples=15)
@given(
    seed=st.integers(0, 10_000),
    walls=st.sets(st.sampled_from(["top", "right", "bottom", "left"]), max_size=3),
    flung=st.floats(0, 0.3),
    margin=st.sampled_from([0.0, 60.0]),
)
def test_shares_are_those_of_the_simulations_truth(*, seed: int, walls: set[str], flung: float, margin: float) -> None:
    """*Independent*: amounts as the simulation sums them."""
    patch = lay_patch(600, 400, sorted(walls), margin_mm=margin)
    spec = spec_of(seed, patch, flung_share=flung)
    scatter, truth = find_scatter(true_fates(spec), patch), draw_truth(spec)
    if not margin:
        assert (scatter.margin_percent, scatter.margin_interval95, scatter.margin_sides, scatter.side) == (
            None,
            None,
            {},
            None,
        )
    else:
        gain = 100 * truth.amounts(1)["margin"].area_mm2 / truth.amounts(0)["patch"].area_mm2
        assert scatter.margin_percent == pytest.approx(gain)
        assert scatter.margin_interval95 is not None
        assert scatter.margin_interval95[0] <= gain + 1e-9 and gain - 1e-9 <= scatter.margin_interval95[1]
        assert sum(scatter.margin_sides.values()) == pytest.approx(100 if gain else 0)
    assert not set(scatter.margin_sides) & walls
    assert sum(scatter.distance_percent) == pytest.approx(100 if scatter.distance_mm else 0)
    assert list(scatter.distance_mm) == sorted(scatter.distance_mm)
    assert (scatter.direction_deg is None) == (scatter.strength is None)
    if scatter.direction_deg is not None and scatter.strength is not None:
        assert 0 <= scatter.direction_deg <= 360 and 0 < scatter.strength <= 1 + 1e-9


@pytest.mark.parametrize(("side", "degrees"), [("right", 0.0), ("bottom", 90.0)])
def test_the_side_that_debris_was_flung_over_is_found(side: str, degrees: float) -> None:
    for seed in range(6):
        scatter = find_scatter(true_fates(spec_of(seed, flung_share=0.05, flung_side=side, displaced_share=0.0)), PATCH)
        assert scatter.side == side
        assert scatter.margin_sides[side] == pytest.approx(100)
        assert scatter.direction_deg == pytest.approx(degrees, abs=10)
        assert scatter.strength is not None and scatter.strength > 0.7


def test_no_side_or_direction_is_claimed_where_debris_goes_anywhere() -> None:
    sides = directions = 0
    for seed in range(24):
        path = "everywhere" if seed % 2 else "lanes"
        # Debris that is pushed over the border gathers where lanes end, and truly prefers that side.
        scatter = find_scatter(
            true_fates(spec_of(seed, path=path, flung_share=0.03, displaced_mm=3.0, heading_deg=45.0)), PATCH
        )
        sides += scatter.side is not None
        directions += scatter.direction_deg is not None
    assert sides <= 2 and directions <= 2


def test_the_only_open_side_is_no_preference() -> None:
    patch = lay_patch(600, 400, ("top", "left", "bottom"))
    scatter = find_scatter(true_fates(spec_of(1, patch, flung_share=0.1)), patch)
    assert scatter.margin_sides == {"right": pytest.approx(100)}
    assert scatter.side is None


@pytest.mark.parametrize(("over_the_top", "side"), [(18, None), (22, "top")])
def test_a_side_is_preferred_beyond_what_the_best_of_four_has_by_chance(over_the_top: int, side: str | None) -> None:
    """By hand: of 40 grains flung anywhere, a given side of a square gets 18 or more in 0.5 % of runs, so one of the four in 2 %."""
    patch = lay_patch(400, 400, ())
    across = np.linspace(20, 380, over_the_top)
    rest = 40 - over_the_top - 3
    places = [(x, -20.0) for x in across] + [(x, 420.0) for x in (100.0, 200.0, 300.0)]
    places += [(-20.0 if n % 2 else 420.0, 20.0 + 10 * n) for n in range(rest)]
    came = table(places, patch)
    earlier = table([(x, y) for x in range(20, 400, 20) for y in range(20, 400, 20)], patch)
    assert find_scatter(fates(earlier, came, np.zeros(len(earlier)), np.zeros(len(came))), patch).side == side


def test_debris_pushed_over_the_border_to_and_fro_prefers_no_side() -> None:
    patch = lay_patch(600, 400, ())
    earlier = table([(x, y) for x in range(20, 600, 20) for y in range(20, 400, 20)], patch)
    both = table([(x, y) for x in (-20.0, 620.0) for y in np.arange(20.0, 400.0, 10.0)], patch)
    one = both.take(both.x_mm > 0)
    for came, side in ((both, None), (one, "right")):
        scene = fates(earlier, came, np.zeros(len(earlier)), np.zeros(len(came)))
        assert find_scatter(scene, patch).side == side


def test_the_margins_interval_holds_the_chance_of_being_flung_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    places = rng.uniform(0, 1, (400, 2)) * (600, 400)
    area = rng.lognormal(2, 0.4, 400)
    earlier = replace(table([(x, y) for x, y in places]), area_mm2=area)
    held = []
    for _ in range(300):
        flung = rng.random(400) < 0.02
        later = replace(
            earlier.take(flung), x_mm=np.full(flung.sum(), 630.0), zone=np.full(flung.sum(), MARGIN, np.int8)
        )
        interval = find_scatter(fates(earlier, later, np.zeros(400), np.zeros(flung.sum())), PATCH).margin_interval95
        assert interval is not None
        held.append(interval[0] <= 2 <= interval[1])
    assert np.mean(held) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / 300)


def test_debris_that_lay_in_the_margin_and_stays_is_no_gain() -> None:
    grains = table([(100, 100), (650, 100), (300, 430)])
    scatter = find_scatter(fates(grains, grains, [1, 1, 1], [1, 1, 1]), PATCH)
    assert scatter.margin_percent == 0
    assert scatter.margin_sides == {}
    assert (scatter.median_distance_mm, scatter.direction_deg, scatter.side) == (None, None, None)
    gone = find_scatter(fates(grains, grains.take(np.array([True, False, False])), [1, 0, 0], [1]), PATCH)
    assert gone.margin_percent == 0


def test_what_came_to_the_margin_is_told_by_side() -> None:
    earlier = table([(100, 100), (200, 100), (300, 100), (400, 100)])
    later = table([(650, 100), (640, 420), (630, 445)])  # right, right of the corner, bottom of it
    scatter = find_scatter(fates(earlier, later, [0, 0, 0, 0], [0, 0, 0]), PATCH)
    assert scatter.margin_percent == pytest.approx(75)
    assert scatter.margin_sides == {"right": pytest.approx(200 / 3), "bottom": pytest.approx(100 / 3)}


def test_grains_on_places_that_were_bare_count_and_those_on_earlier_ones_do_not() -> None:
    earlier = table([(100, 100), (200, 100)])
    reach = earlier.diameter_mm[0]  # two grains touch up to there
    later = table([(100, 100), (200 + 0.9 * reach, 100), (300, 200), (650, 100)])
    scatter = find_scatter(fates(earlier, later, [1, 0], [1, 0, 0, 0]), PATCH)
    assert scatter.bare_percent == pytest.approx(50)
    beside = table([(100, 100), (200 + 1.1 * reach, 100)])
    assert find_scatter(fates(earlier, beside, [1, 0], [1, 0]), PATCH).bare_percent == pytest.approx(50)


def test_distances_are_lower_bounds_of_the_ways_that_grains_went() -> None:
    for seed in range(5):
        truth = draw_truth(spec_of(seed, displaced_share=0.6, flung_share=0.05))
        ways = np.hypot(*(truth.places_mm[1] - truth.places_mm[0])[truth.fate[0] == 1].T)
        scatter = find_scatter(true_fates(spec_of(seed, displaced_share=0.6, flung_share=0.05)), PATCH)
        assert scatter.median_distance_mm is not None
        assert 0 < scatter.median_distance_mm <= np.median(ways)


def test_distances_of_grains_far_apart_are_those_that_they_went() -> None:
    earlier = table([(100, 100), (300, 100), (500, 100)])
    later = table([(110, 100), (300, 130), (500, 105)])
    scatter = find_scatter(fates(earlier, later, [0, 0, 0], [0, 0, 0]), PATCH)
    assert scatter.median_distance_mm == pytest.approx(10)
    size = earlier.diameter_mm[0]  # 3.6 mm
    assert scatter.distance_mm == pytest.approx([size * 2**k for k in range(5)])
    assert scatter.distance_percent == pytest.approx([0, 100 / 3, 100 / 3, 0, 100 / 3])


def test_of_kinds_that_are_not_matched_no_distance_is_told() -> None:
    true = true_fates(spec_of(2, flung_share=0.05, flung_side="right"))
    rng = np.random.default_rng(1)
    noisy = replace(
        true,
        stayed=true.stayed + rng.normal(0, 0.3, len(true.stayed)),
        untouched=true.untouched + rng.normal(0, 0.3, len(true.untouched)),
        matched=(False,),
    )
    scatter, exact = find_scatter(noisy, PATCH), find_scatter(true, PATCH)
    assert (scatter.distance_mm, scatter.distance_percent, scatter.median_distance_mm) == ((), (), None)
    assert scatter.side == "right"
    assert scatter.margin_percent == exact.margin_percent
    assert exact.bare_percent is not None
    assert scatter.bare_percent == pytest.approx(exact.bare_percent, rel=0.15)


def test_a_direction_of_the_pushes_is_found() -> None:
    earlier = table([(x, y) for x in range(40, 600, 40) for y in range(40, 400, 40)])
    angle = np.radians(200)
    rng = np.random.default_rng(1)
    shift = rng.uniform(6, 15, len(earlier))
    later = table(list(zip(earlier.x_mm + shift * np.cos(angle), earlier.y_mm + shift * np.sin(angle), strict=True)))
    n = len(earlier)
    scatter = find_scatter(fates(earlier, later, np.zeros(n), np.zeros(n)), PATCH)
    assert scatter.direction_deg == pytest.approx(200, abs=1)
    assert scatter.strength == pytest.approx(1, abs=0.01)
    assert scatter.side is None


def test_bare_floor_says_nothing() -> None:
    empty = table([])
    scatter = find_scatter(fates(empty, empty, [], []), PATCH)
    assert (scatter.margin_percent, scatter.bare_percent, scatter.median_distance_mm, scatter.side) == (None,) * 4
    all_gone = find_scatter(fates(table([(100, 100)]), empty, [0], []), PATCH)
    assert (all_gone.margin_percent, all_gone.bare_percent, all_gone.median_distance_mm) == (0, 0, None)


@pytest.mark.parametrize(
    ("count", "number", "share"), [(0, 9, 0.3), (1, 9, 0.3), (7, 9, 0.3), (9, 9, 0.5), (60, 200, 0.25)]
)
def test_the_chance_of_so_many_is_that_of_the_one_sided_binomial_test(count: int, number: int, share: float) -> None:
    """*Independent*: scipy.stats' exact test, which takes a second to load."""
    from scipy.stats import binomtest

    assert _at_least(count, number, share) == pytest.approx(binomtest(count, number, share, "greater").pvalue)
