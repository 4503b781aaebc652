from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.records import CornerReach, Fates, WallProfile
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec

from ..conftest import true_fates, walls_in

LENTILS = DebrisKind("lentils", (90, 150, 60), (3.0, 5.0))
PATCH = lay_patch(600, 400, ("top", "left"))


def spec_of(seed: int, patch: Patch = PATCH, **cleaning: Any) -> SceneSpec:
    values: dict[str, Any] = {"edge_pickup": 0.8, "corner_pickup": 0.7, "offset_mm": 75.0, "width_mm": 140.0}
    return SceneSpec(patch, (Portion(LENTILS, cover_share=0.1),), passes=(Cleaning(**(values | cleaning)),), seed=seed)


def walls_of(seed: int, patch: Patch = PATCH, **cleaning: Any) -> tuple[dict[str, WallProfile], CornerReach | None]:
    walls = walls_in(true_fates(spec_of(seed, patch, **cleaning)), patch)
    return {profile.wall: profile for profile in walls.walls}, next(iter(walls.corners), None)


def table(places: list[tuple[float, float]], patch: Patch, area: float = 10.0) -> GrainTable:
    x, y = np.array(places, float).reshape(-1, 2).T
    return GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), area), patch.zone_codes(x, y))


def fates(earlier: GrainTable, later: GrainTable, stayed: list[float], untouched: list[float]) -> Fates:
    return Fates(
        earlier=earlier,
        later=later,
        stayed=np.array(stayed),
        untouched=np.array(untouched),
        matched=(True,),
        least_shift_mm=(0.3,),
        u_untouched_percent=(1.0,),
        chance_percent=(0.0,),
    )


@pytest.mark.parametrize("path", ["lanes", "everywhere"])
@pytest.mark.parametrize("gap", [6.0, 14.0, 25.0, 60.0])
def test_the_gap_along_walls_is_found(path: str, gap: float) -> None:
    profiles, _ = walls_of(int(gap), path=path, heading_deg=20.0, wall_gap_mm=gap)
    for profile in profiles.values():
        assert profile.gap_mm == pytest.approx(gap, abs=3.0)
        assert profile.gap_mm is not None and profile.gap_interval95 is not None
        assert profile.gap_interval95[0] <= profile.gap_mm <= profile.gap_interval95[1]
        assert profile.left_percent is not None and profile.left_percent > 95
        assert profile.beyond_percent is not None and profile.beyond_percent < 50
        assert profile.share_percent > 5


def test_the_interval_holds_the_gap_as_often_as_it_says() -> None:
    held = []
    for seed in range(24):
        profiles, _ = walls_of(seed, path="everywhere", wall_gap_mm=12.0)
        held += [p.gap_interval95[0] <= 12 <= p.gap_interval95[1] for p in profiles.values() if p.gap_interval95]
    assert len(held) >= 46
    assert np.mean(held) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / len(held))


@pytest.mark.parametrize("path", ["lanes", "everywhere"])
def test_without_a_gap_none_is_claimed(path: str) -> None:
    claimed = 0
    for seed in range(15):
        # A lane runs over the corner, none along a wall: strips that lie there are gaps, if narrow ones.
        profiles, corner = walls_of(100 + seed, path=path, heading_deg=20.0 + 3 * seed, offset_mm=0.0, edge_pickup=0.55)
        claimed += sum(profile.gap_mm is not None for profile in profiles.values())
        claimed += corner is not None and corner.radius_mm is not None
        for p in profiles.values():
            if p.gap_mm is None:
                assert (p.gap_interval95, p.left_percent, p.beyond_percent, p.share_percent) == (None, None, None, 0)
    assert claimed <= 1


def test_strips_parallel_to_a_wall_are_no_gap() -> None:
    # Lanes 90 mm wide every 150 mm: strips 60 mm wide, the first 90 mm from the top wall.
    for seed in range(6):
        profiles, _ = walls_of(seed, width_mm=90.0, offset_mm=45.0, heading_deg=0.0)
        assert profiles["top"].gap_mm is None
        profiles, _ = walls_of(seed, width_mm=90.0, offset_mm=45.0, heading_deg=0.0, wall_gap_mm=15.0)
        assert profiles["top"].gap_mm == pytest.approx(15.0, abs=3.0)


def test_the_corner_is_found_and_does_not_enter_the_walls() -> None:
    for seed in range(6):
        profiles, corner = walls_of(seed, path="everywhere", corner_radius_mm=55.0)
        assert corner is not None and corner.walls == ("top", "left")
        assert corner.radius_mm == pytest.approx(55.0, abs=6.0)
        assert corner.share_percent > 5
        assert all(profile.gap_mm is None for profile in profiles.values())


def test_no_corner_is_seen_where_the_gaps_alone_make_one() -> None:
    for seed in range(6):
        profiles, corner = walls_of(seed, path="everywhere", wall_gap_mm=20.0, corner_pickup=0.9)
        assert all(profile.gap_mm is not None for profile in profiles.values())
        assert corner is not None and corner.radius_mm is None


def test_shares_are_of_all_leftovers_and_do_not_overlap() -> None:
    patch = lay_patch(600, 400, ("top", "right", "left"))
    scene = true_fates(
        spec_of(
            3,
            patch,
            path="everywhere",
            wall_gap_mm=15.0,
            corner_radius_mm=60.0,
            pickup=1.0,
            edge_pickup=1.0,
            corner_pickup=1.0,
            flung_share=0.0,
        )
    )
    walls = walls_in(scene, patch)
    assert len(walls.corners) == 2
    total = sum(p.share_percent for p in walls.walls) + sum(c.share_percent for c in walls.corners)
    # All that is left lies in gaps and corners.
    assert 97 < total <= 100 + 1e-9


def test_noisy_estimates_give_the_gap_too() -> None:
    rng = np.random.default_rng(1)
    for seed in range(8):
        true = true_fates(spec_of(seed, path="everywhere", wall_gap_mm=20.0))
        noisy = replace(
            true,
            stayed=true.stayed + rng.normal(0, 0.3, len(true.stayed)),
            untouched=true.untouched + rng.normal(0, 0.3, len(true.untouched)),
            matched=(False,),
        )
        for profile in walls_in(noisy, PATCH).walls:
            assert profile.gap_mm == pytest.approx(20.0, abs=5.0)
            assert all(area >= 0 for area in (*profile.untouched_mm2, *profile.shifted_mm2))


def test_a_profile_sums_the_areas_of_its_grains() -> None:
    true = true_fates(spec_of(4, wall_gap_mm=10.0))
    for profile in walls_in(true, PATCH).walls:
        depth = 200 if profile.wall == "top" else 300
        x, y = (true.later.x_mm, true.later.y_mm) if profile.wall == "top" else (true.later.y_mm, true.later.x_mm)
        own = (
            (x >= PATCH.corner_mm)
            & (y < depth)
            & (true.later.zone != 3)
            & (x < (600 if profile.wall == "top" else 400))
        )
        assert profile.edges_mm[0] == 0 and profile.edges_mm[-1] == depth
        assert np.allclose(np.diff(profile.edges_mm), profile.edges_mm[1])
        assert sum(profile.untouched_mm2) == pytest.approx(float((true.later.area_mm2 * true.untouched)[own].sum()))
        assert sum(profile.shifted_mm2) == pytest.approx(float((true.later.area_mm2 * (1 - true.untouched))[own].sum()))


def test_bins_are_wider_for_fewer_and_for_larger_grains() -> None:
    def width(number: int, area: float) -> float:
        places = np.random.default_rng(2).uniform(0, 1, (number, 2)) * (600, 400)
        grains = table([(x, y) for x, y in places], PATCH, area)
        profile = walls_in(fates(grains, grains, [1.0] * number, [1.0] * number), PATCH).walls[0]
        return profile.edges_mm[1]

    assert width(4000, 1.0) < width(200, 1.0)
    assert width(4000, 400.0) >= 2 * np.sqrt(400 / np.pi)


def test_grains_seen_behind_the_wall_lie_at_its_foot() -> None:
    patch = lay_patch(600, 400, ("top",))
    rng = np.random.default_rng(3)
    places = rng.uniform(0, 1, (1200, 2)) * (600, 400)
    stayed = (places[:, 1] < 15) | (rng.random(1200) < 0.05)
    places[places[:, 1] < 5, 1] -= 6
    zones = patch.zone_codes(*patch.in_front_of_walls(*places.T))
    earlier = GrainTable(np.zeros(1200, np.int16), places[:, 0], places[:, 1], np.ones(1200), zones)
    scene = Fates(
        earlier=earlier,
        later=earlier.take(stayed),
        stayed=stayed.astype(float),
        untouched=np.ones(int(stayed.sum())),
        matched=(True,),
        least_shift_mm=(0.3,),
        u_untouched_percent=(1.0,),
        chance_percent=(0.0,),
    )
    assert walls_in(scene, patch).walls[0].gap_mm == pytest.approx(15, abs=3)


def test_bare_floor_and_a_patch_without_walls() -> None:
    empty = table([], PATCH)
    walls = walls_in(fates(empty, empty, [], []), PATCH)
    assert [(p.gap_mm, p.share_percent) for p in walls.walls] == [(None, 0.0)] * 2
    assert [(c.radius_mm, c.share_percent) for c in walls.corners] == [(None, 0.0)]
    open_floor = lay_patch(600, 400, ())
    alone = walls_in(true_fates(spec_of(1, open_floor)), open_floor)
    assert (alone.walls, alone.corners) == ((), ())
