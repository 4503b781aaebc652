from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.errors import SceneError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import ZONES
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.spec import PATHS, Camera, Cleaning, Portion, SceneSpec, Strewing
from debriscount.simulate.truth import DISPLACED, GONE, REMOVED, UNTOUCHED, draw_truth

PEAS = DebrisKind("peas", (90, 150, 60), (5.0, 8.0), 150.0, 3.0)
GRIT = DebrisKind("grit", (80, 80, 80), (1.5, 3.0))


def spec_of(**changes: Any) -> SceneSpec:
    values: dict[str, Any] = {
        "patch": lay_patch(300, 200, ("top", "left")),
        "portions": (Portion(PEAS, cover_share=0.04), Portion(GRIT, cover_share=0.02, shape="irregular")),
        "camera": Camera(megapixels=0.5),
    }
    return SceneSpec(**(values | changes))


@settings(max_examples=30)
@given(
    seed=st.integers(0, 10_000),
    walls=st.sets(st.sampled_from(["top", "right", "bottom", "left"]), max_size=2),
    margin=st.sampled_from([0.0, 20.0, 60.0]),
    heading=st.integers(0, 180),
    pickup=st.floats(0, 1),
    flung=st.floats(0, 0.3),
    passes=st.integers(0, 3),
    path=st.sampled_from(PATHS),
)
def test_zones_and_kinds_add_up(
    *, seed: int, walls: set[str], margin: float, heading: int, pickup: float, flung: float, passes: int, path: str
) -> None:
    cleaning = Cleaning(
        heading_deg=heading, pickup=pickup, flung_share=flung, path=path, wall_gap_mm=5, corner_radius_mm=30
    )
    patch = lay_patch(300, 200, sorted(walls), margin_mm=margin)
    truth = draw_truth(spec_of(patch=patch, passes=(cleaning,) * passes, seed=seed))
    for state in range(passes + 1):
        amounts = truth.amounts(state)
        inner = [amount for zone, amount in amounts.items() if zone not in ("patch", "margin")]
        assert sum(a.grains for a in inner) == amounts["patch"].grains
        assert sum(a.area_mm2 for a in inner) == pytest.approx(amounts["patch"].area_mm2)
        kinds = [truth.amounts(state, k) for k in range(2)]
        for zone, amount in amounts.items():
            assert sum(kind[zone].grains for kind in kinds) == amount.grains
            assert amount.mass_g is None  # grit's area mass is unknown
            assert kinds[0][zone].mass_g is not None
        # Nothing leaves patch and margin but into the machine.
        lying = truth.lying[state]
        outside = amounts.get("margin")
        assert amounts["patch"].grains + (outside.grains if outside else 0) == lying.sum()
    for p in range(passes):
        fate = truth.fate[p]
        assert np.array_equal(fate == GONE, ~truth.lying[p])
        assert np.array_equal(truth.lying[p + 1], (fate == UNTOUCHED) | (fate == DISPLACED))
        still = fate == UNTOUCHED
        assert np.array_equal(truth.places_mm[p, still], truth.places_mm[p + 1, still])
        touched = (fate == REMOVED) | (fate == DISPLACED)
        # What was touched was reached, and reached is what the route says of where it lay.
        assert truth.reached[p][touched].all()
        assert np.array_equal(truth.reached[p], truth.lying[p] & truth.routes[p].reaches(truth.places_mm[p]))


def test_a_scene_of_straight_lanes_is_as_it_always_was() -> None:
    # Frozen: from the program before it knew other paths (2026-11-25), so that scenes made earlier are made again.
    slanted = Cleaning(heading_deg=37, pitch_mm=60, width_mm=45, flung_share=0.1, pickup=0.6)
    truth = draw_truth(spec_of(passes=(slanted, slanted), seed=11))
    assert [np.bincount(fate, minlength=4).tolist() for fate in truth.fate] == [[191, 62, 134, 0], [151, 21, 81, 134]]
    assert truth.places_mm.mean(axis=1) == pytest.approx(
        np.array([[159.563822, 95.591990], [168.384590, 102.647782], [166.849356, 104.840782]]), abs=1e-6
    )
    assert truth.angle_rad.mean(axis=1) == pytest.approx([3.110969, 3.138238, 3.175754], abs=1e-6)


def test_another_path_leaves_all_else_as_it_was() -> None:
    quiet = Cleaning(displaced_share=0, flung_share=0, pickup=0.5)
    paths = (quiet, *(replace(quiet, path=path) for path in PATHS), replace(quiet, wobble_mm=9, pitch_spread_mm=9))
    truths = [draw_truth(spec_of(passes=(cleaning,), seed=6)) for cleaning in paths]
    everywhere = truths[1 + PATHS.index("everywhere")]
    for truth in truths:
        assert np.array_equal(truth.places_mm[0], everywhere.places_mm[0])
        # Each grain has its fate: it meets it wherever the machine comes by.
        assert np.array_equal(truth.fate[0], np.where(truth.reached[0], everywhere.fate[0], UNTOUCHED))


def test_every_pass_of_a_wandering_machine_goes_a_way_of_its_own() -> None:
    truth = draw_truth(spec_of(passes=(Cleaning(path="wander", width_mm=40, reach_share=0.5),) * 2))
    one, two = (route.reaches(truth.places_mm[0]) for route in truth.routes)
    assert 0.2 < (one != two).mean() < 0.8  # one half if the ways are independent


def test_shares_of_a_zone_are_those_of_its_grains() -> None:
    cleaning = Cleaning(path="everywhere", wall_gap_mm=15, pickup=0.5, displaced_share=0.5, displaced_mm=10)
    truth = draw_truth(spec_of(passes=(cleaning, cleaning), seed=2))
    for passed in (1, 2):
        before, after = truth.zone_codes(passed - 1), truth.zone_codes(passed)
        reached = truth.reached_percent(passed)
        assert reached["open"] == 100  # the edge zone is wider than the gap
        edge = before == 1
        gap = (truth.places_mm[passed - 1] < 15).any(axis=1)
        area = truth.grains.area_mm2
        assert reached["edge"] == pytest.approx(100 * area[edge & ~gap].sum() / area[edge].sum())
        left = truth.leftovers_percent(passed, "edge")
        assert left is not None
        still = (truth.places_mm[0] == truth.places_mm[passed]).all(axis=1)
        assert left[0] == pytest.approx(100 * area[(after == 1) & still].sum() / area[after == 1].sum())
        assert sum(left) == pytest.approx(100)
        # Kinds, weighted by what is left of each, make the whole.
        amounts = [truth.amounts(passed, kind)["patch"].area_mm2 for kind in (0, 1)]
        shares = [truth.leftovers_percent(passed, kind=kind) for kind in (0, 1)]
        whole = truth.leftovers_percent(passed)
        assert whole is not None
        parts = sum(amount * share[0] for amount, share in zip(amounts, shares, strict=True) if share)
        assert whole[0] == pytest.approx(parts / sum(amounts))
    assert truth.reached_percent(1)["margin"] is None
    assert draw_truth(spec_of(passes=(Cleaning(width_mm=0),))).reached_percent(1)["patch"] == 0


@pytest.mark.parametrize("side", ["top", "right", "bottom", "left"])
def test_flung_grains_go_to_the_side_that_was_asked_for(side: str) -> None:
    wall = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}[side]
    cleaning = Cleaning(flung_share=0.3, flung_side=side)
    truth = draw_truth(spec_of(patch=lay_patch(300, 200, (wall,)), passes=(cleaning,), seed=4))
    flung = truth.zone_codes(1) == ZONES.index("margin")
    x, y = truth.places_mm[1][flung].T
    beyond = {"top": y < 0, "right": x >= 300, "bottom": y >= 200, "left": x < 0}
    # Few others are pushed over a border by the machine.
    assert flung.sum() > 60
    assert beyond[side].mean() > 0.9
    anywhere = draw_truth(spec_of(patch=lay_patch(300, 200, (wall,)), passes=(Cleaning(flung_share=0.3),), seed=4))
    assert np.array_equal(anywhere.fate, truth.fate)
    assert np.array_equal(anywhere.angle_rad, truth.angle_rad)


def test_pickup_counts_what_was_flung_into_the_margin_as_left() -> None:
    truth = draw_truth(spec_of(passes=(Cleaning(flung_share=0.2),), seed=3))
    before, after = truth.amounts(0), truth.amounts(1)
    assert after["margin"].area_mm2 > 0
    left = after["patch"].area_mm2 + after["margin"].area_mm2 - before["margin"].area_mm2
    pickup = truth.pickup_percent(1)["patch"]
    assert pickup == pytest.approx(100 * (1 - left / before["patch"].area_mm2))
    assert truth.pickup_percent(1)["margin"] is None or before["margin"].grains > 0


def test_pickup_is_as_asked_for_where_the_machine_passes() -> None:
    everywhere = Cleaning(width_mm=1000, pickup=0.7, displaced_share=0, flung_share=0)
    truth = draw_truth(spec_of(patch=lay_patch(), portions=(Portion(GRIT, cover_share=0.1),), passes=(everywhere,)))
    pickup = truth.pickup_percent(1, by="grains")["patch"]
    count = len(truth.grains)
    assert pickup == pytest.approx(70, abs=400 * np.sqrt(0.21 / count))  # four standard deviations
    assert truth.leftovers_percent(1) == (100.0, 0.0)


def test_nothing_left_has_no_shares() -> None:
    everything = Cleaning(width_mm=1000, pickup=1, edge_pickup=1, corner_pickup=1, flung_share=0)
    truth = draw_truth(spec_of(passes=(everything,)))
    assert truth.leftovers_percent(1) is None
    assert truth.pickup_percent(1)["patch"] == 100


def test_a_portion_has_the_cover_or_the_mass_that_was_asked_for() -> None:
    by_cover = draw_truth(spec_of(portions=(Portion(GRIT, cover_share=0.05),)))
    assert by_cover.amounts(0)["patch"].area_mm2 == pytest.approx(0.05 * 300 * 200, rel=0.005)
    by_mass = draw_truth(spec_of(portions=(Portion(PEAS, grams=10.0),)))
    assert by_mass.amounts(0)["patch"].mass_g == pytest.approx(10.0, abs=0.2)


def test_sizes_have_the_percentiles_asked_for() -> None:
    truth = draw_truth(spec_of(patch=lay_patch(), portions=(Portion(GRIT, cover_share=0.15),)))
    diameter = 2 * np.sqrt(truth.grains.area_mm2 / np.pi)
    assert np.percentile(diameter, [5, 95]) == pytest.approx([1.5, 3.0], rel=0.03)


def test_walls_stop_grains_and_draw_them() -> None:
    patch = lay_patch(300, 200, ("top",))
    few, many = (draw_truth(spec_of(patch=patch, scatter=Strewing(clumps=0, wall_share=share))) for share in (0.0, 0.5))
    assert many.amounts(0)["edge"].grains > 1.8 * few.amounts(0)["edge"].grains
    for truth in (few, many):
        for state in range(2):
            assert (truth.places_mm[state, :, 1] >= 0).all()


def test_a_single_layer_hardly_overlaps() -> None:
    truth = draw_truth(
        spec_of(portions=(Portion(PEAS, cover_share=0.1),), scatter=Strewing(clumps=2, clumped_share=0.4))
    )
    places, radius = truth.places_mm[0], np.sqrt(truth.grains.area_mm2 / np.pi)
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    assert (apart < 0.8 * (radius[:, None] + radius[None])).sum() / 2 < 0.05 * len(radius)


def test_another_camera_sees_the_same_grains() -> None:
    one, two = (draw_truth(spec_of(camera=camera, seed=5)) for camera in (Camera(), Camera(tilt_deg=15, megapixels=3)))
    assert np.array_equal(one.places_mm, two.places_mm)
    assert np.array_equal(one.fate, two.fate)


def test_another_pickup_leaves_what_it_does_not_touch() -> None:
    much, little = (draw_truth(spec_of(passes=(Cleaning(pickup=p),), seed=5)) for p in (0.9, 0.5))
    assert np.array_equal(much.places_mm[0], little.places_mm[0])
    assert (little.lying[1] | ~much.lying[1]).mean() > 0.99


def test_too_many_grains_are_refused() -> None:
    dust = DebrisKind("dust", (90, 90, 90), (0.05, 0.1))
    with pytest.raises(
        SceneError, match=r'portion "dust" makes [\d,]+ grains; 200,000 are the most\. Give a smaller load'
    ):
        draw_truth(spec_of(portions=(Portion(dust, cover_share=0.3),)))


def test_the_same_seed_draws_the_same(make_scene: Callable[..., Any]) -> None:
    one, two, other = (make_scene(camera=Camera(megapixels=0.3), seed=seed) for seed in (8, 8, 9))
    for path in sorted(one.folder.iterdir()):
        assert path.read_bytes() == (two.folder / path.name).read_bytes(), path.name
    assert one.before.read_bytes() != other.before.read_bytes()
