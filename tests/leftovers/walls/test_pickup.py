from typing import Any

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.records import Fates, Lanes, Strip, WallPickup
from debriscount.leftovers.walls.pickup import pickup_along_walls
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec

from ..conftest import lanes_in, true_fates

LENTILS = DebrisKind("lentils", (90, 150, 60), (3.0, 5.0))
PATCH = lay_patch(600, 400, ("top",))


def scene(seed: int, **cleaning: Any) -> Fates:
    values: dict[str, Any] = {"pickup": 0.9, "edge_pickup": 0.6, "offset_mm": 75.0, "flung_share": 0.0}
    portions = (Portion(LENTILS, cover_share=0.08),)
    return true_fates(SceneSpec(PATCH, portions, passes=(Cleaning(**(values | cleaning)),), seed=seed))


def laid(places: np.ndarray, gone: np.ndarray, patch: Patch = PATCH) -> Fates:
    """Grains of 10 mm² each, of which some are gone and the others lie still."""
    x, y = places.T
    earlier = GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), 10.0), patch.zone_codes(x, y))
    stays = ~gone
    return Fates(
        earlier=earlier, later=earlier.take(stays), stayed=stays.astype(float), untouched=np.ones(int(stays.sum())),
        matched=(True,), least_shift_mm=(0.3,), u_untouched_percent=(1.0,), chance_percent=(0.0,),
    )  # fmt: skip


def strip(y_mm: float, width_mm: float, tilt_mm: float = 0.0) -> Lanes:
    found = Strip(
        ends_mm=((0.0, y_mm), (600.0, y_mm + tilt_mm)), width_mm=width_mm, width_u_mm=0.5, straight_mm=None,
        share_percent=10.0,
    )  # fmt: skip
    return Lanes(
        heading_deg=0.0, heading_u_deg=0.1, pitch_mm=None, pitch_u_mm=None, strip_mm=width_mm, strip_u_mm=0.5, lanes=2,
        straight_mm=None, strips=(found,), share_percent=10.0,
    )  # fmt: skip


def only(fates: Fates, lanes: Lanes | None = None) -> WallPickup:
    (found,) = pickup_along_walls(fates, PATCH, lanes)
    return found


def raster() -> np.ndarray:
    return np.stack(np.meshgrid(np.arange(2.5, 600, 5), np.arange(2.5, 400, 5)), axis=-1).reshape(-1, 2)


def test_pickup_near_and_on_open_floor_is_what_went_of_what_lay_there() -> None:
    places = raster()
    near = places[:, 1] < PATCH.edge_mm
    gone = np.where(near, np.arange(len(places)) % 2 == 0, np.arange(len(places)) % 5 != 0)
    found = only(laid(places, gone))
    assert found.near_mm == PATCH.edge_mm
    assert found.near.percent == pytest.approx(50, abs=1)
    assert found.open.percent == pytest.approx(80, abs=1)
    assert found.less_percent == pytest.approx(30, abs=2)
    assert found.edges_mm[0] == 0 and found.edges_mm[-1] == 200
    # A border of bins lies where the edge zone ends, so that none mixes the two.
    assert min(abs(edge - PATCH.edge_mm) for edge in found.edges_mm) < 1e-9
    for edge, one in zip(found.edges_mm, found.bins, strict=False):
        assert one.percent == pytest.approx(50 if edge < PATCH.edge_mm - 1 else 80, abs=4)


def test_strips_between_lanes_are_kept_out_and_a_walls_own_gap_is_not() -> None:
    places = raster()
    in_strip = np.abs(places[:, 1] - 100) < 15
    found = only(laid(places, ~in_strip), strip(100.0, 30.0))
    assert all(one.percent in (None, 100.0) for one in found.bins)
    assert (found.near.percent, found.open.percent) == (100.0, 100.0)
    assert np.array(found.strips_mm).tolist() == [[pytest.approx(85.0), pytest.approx(115.0)]]
    gap = places[:, 1] < 20
    at_wall = only(laid(places, ~gap), strip(10.0, 20.0))
    assert at_wall.bins[0].percent == 0.0
    assert at_wall.strips_mm == ()
    assert at_wall.less_percent is not None and at_wall.less_percent > 50


def test_a_strip_that_runs_to_the_wall_takes_up_no_distance() -> None:
    found = only(laid(raster(), np.ones(120 * 80, bool)), strip(50.0, 10.0, tilt_mm=200.0))
    assert found.strips_mm == ()


@pytest.mark.parametrize("path", ["everywhere", "lanes"])
def test_the_interval_holds_the_difference_as_often_as_it_says(path: str) -> None:
    """Of 40 made-up runs a machine that takes 90 % on open floor and 60 % along the wall."""
    held, halves = [], []
    for seed in range(40):
        fates = scene(seed, path=path, heading_deg=20.0)
        found = only(fates, lanes_in(fates, PATCH) if path == "lanes" else None)
        assert found.less_percent is not None and found.less_interval95 is not None
        low, high = found.less_interval95
        held.append(low <= 30.0 <= high)
        halves.append((high - low) / 2)
    assert np.mean(held) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / len(held))
    assert np.median(halves) < 15


def test_heaps_that_share_a_fate_widen_the_interval() -> None:
    rng = np.random.default_rng(1)
    places = rng.uniform((0, 0), (600, PATCH.edge_mm), (800, 2))
    alone = only(laid(places, rng.random(800) < 0.5)).near
    together = only(laid(places, places[:, 0] // 75 % 2 == 0)).near
    assert alone.interval95 is not None and together.interval95 is not None
    assert np.ptp(together.interval95) > 3 * np.ptp(alone.interval95)


def test_where_more_lies_than_before_pickup_is_negative_and_nothing_lay_has_none() -> None:
    places = raster()
    crowded = places[places[:, 1] < PATCH.edge_mm]
    before, after = (
        laid(crowded, np.zeros(len(crowded), bool)),
        laid(np.concatenate([crowded, crowded + 1]), np.zeros(2 * len(crowded), bool)),
    )
    pushed = Fates(
        earlier=before.earlier, later=after.later, stayed=before.stayed, untouched=after.untouched, matched=(True,),
        least_shift_mm=(0.3,), u_untouched_percent=(1.0,), chance_percent=(0.0,),
    )  # fmt: skip
    found = only(pushed)
    assert found.near.percent is not None and found.near.percent < -50
    assert (found.open.percent, found.open.interval95, found.less_percent) == (None, None, None)
    assert only(laid(np.zeros((0, 2)), np.zeros(0, bool))).near.percent is None
