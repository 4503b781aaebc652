from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import CustomZone
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.records import Fates, Reach, ReachedShare
from debriscount.leftovers.shares import leftovers_of, why_split
from debriscount.registration.grid import FloorGrid
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec
from debriscount.simulate.truth import draw_truth

from .conftest import true_fates

KINDS = (DebrisKind("peas", (90, 150, 60), (5.0, 8.0)), DebrisKind("grit", (80, 80, 80), (1.5, 3.0)))
NAMES = ("peas", "grit")
PATCH = replace(
    lay_patch(400, 300, ("top", "left")),
    custom_zones=(CustomZone("rug", ((100.0, 100.0), (300.0, 100.0), (300.0, 200.0), (100.0, 200.0))),),
)


def spec_of(seed: int, pickup: float = 0.7) -> SceneSpec:
    cleaning = Cleaning(pickup=pickup, edge_pickup=pickup, displaced_share=0.6)
    return SceneSpec(PATCH, tuple(Portion(kind, cover_share=0.04) for kind in KINDS), passes=(cleaning,), seed=seed)


def one_kind(area: list[float], untouched: list[float], u_percent: float = 0.0) -> Fates:
    n = len(area)
    grains = GrainTable(
        np.zeros(n, np.int16), np.full(n, 200.0), np.full(n, 150.0), np.array(area), np.zeros(n, np.int8)
    )
    return Fates(
        earlier=grains.take(np.zeros(n, bool)),
        later=grains,
        stayed=np.zeros(0),
        untouched=np.array(untouched, float),
        matched=(True,),
        least_shift_mm=(0.4,),
        u_untouched_percent=(u_percent,),
        chance_percent=(2.5,),
    )


@settings(max_examples=20)
@given(seed=st.integers(0, 10_000), noise=st.sampled_from([0.0, 0.5]))
def test_shares_sum_to_100_in_every_zone_and_kind(seed: int, noise: float) -> None:
    fates = true_fates(spec_of(seed))
    fates = replace(
        fates, untouched=fates.untouched + noise * np.random.default_rng(seed).standard_normal(len(fates.untouched))
    )
    left = leftovers_of(fates, PATCH, NAMES)
    assert list(left.zones) == ["patch", *PATCH.zone_names(), "rug"]
    assert list(left.kinds) == list(NAMES)
    for zones in (left.zones, *left.kinds.values()):
        assert list(zones) == list(left.zones)
        for shares in zones.values():
            if shares.area_mm2 == 0:
                assert (shares.untouched_percent, shares.shifted_percent, shares.untouched_interval95) == (None,) * 3
                continue
            assert shares.untouched_percent is not None and shares.shifted_percent is not None
            assert 0 <= shares.untouched_percent <= 100
            assert shares.untouched_percent + shares.shifted_percent == pytest.approx(100)
            assert shares.untouched_interval95 is not None
            low, high = shares.untouched_interval95
            assert 0 <= low <= shares.untouched_percent + 1e-9 and shares.untouched_percent - 1e-9 <= high <= 100
    for zone, shares in left.zones.items():
        assert sum(zones[zone].area_mm2 for zones in left.kinds.values()) == pytest.approx(shares.area_mm2)


@pytest.mark.parametrize("seed", range(4))
def test_the_patch_has_the_shares_of_the_simulations_truth(seed: int) -> None:
    """*Independent*: the simulation's own sum over fates."""
    spec = spec_of(seed)
    expected = draw_truth(spec).leftovers_percent(1)
    shares = leftovers_of(true_fates(spec), PATCH, NAMES).zones["patch"]
    assert (shares.untouched_percent, shares.shifted_percent) == pytest.approx(expected)


def test_shares_are_by_area() -> None:
    shares = leftovers_of(one_kind([30, 10], [1, 0]), PATCH, NAMES[:1]).zones["patch"]
    assert (shares.area_mm2, shares.untouched_percent, shares.shifted_percent) == (40, 75, 25)


def test_the_grains_of_a_zone_alone_count_in_it() -> None:
    left = leftovers_of(one_kind([30, 10], [1, 0]), PATCH, NAMES[:1])
    assert left.zones["rug"].area_mm2 == left.zones["open"].area_mm2 == 40
    assert left.zones["edge"].area_mm2 == 0
    assert left.zones["edge"].untouched_percent is None


def test_a_kinds_uncertainty_widens_the_interval() -> None:
    def width(u_percent: float) -> float:
        interval = (
            leftovers_of(one_kind([1.0] * 400, [1.0, 0.0] * 200, u_percent), PATCH, NAMES[:1])
            .zones["patch"]
            .untouched_interval95
        )
        assert interval is not None
        return interval[1] - interval[0]

    # A half of 400 grains: sd 2.5 points by counting; with 5 points more sqrt(2.5² + 5²).
    assert width(0) == pytest.approx(2 * 1.96 * 2.5, rel=0.01)
    assert width(5) == pytest.approx(2 * 1.96 * np.hypot(2.5, 5), rel=0.01)


def test_what_is_known_of_each_kind_is_handed_on() -> None:
    left = leftovers_of(one_kind([1.0], [1.0]), PATCH, NAMES[:1])
    assert (left.least_shift_mm, left.chance_percent, left.matched) == ({"peas": 0.4}, {"peas": 2.5}, {"peas": True})


def test_nothing_left_has_no_shares() -> None:
    left = leftovers_of(one_kind([], []), PATCH, NAMES[:1])
    assert all(shares.area_mm2 == 0 and shares.untouched_percent is None for shares in left.zones.values())


def reach_of(**reached: float | None) -> Reach:
    zones = {zone: ReachedShare(share, None, None if share is None else 80.0, None) for zone, share in reached.items()}
    return Reach(zones, FloorGrid(0.0, 0.0, 10.0, 1, 1), np.ones((1, 1), np.float32), 1.0)


def split_fates() -> Fates:
    """Ten grains of 10 mm² in the patch's open floor before; two untouched and two moved are left."""
    left = one_kind([10.0] * 4, [1.0, 1.0, 0.0, 0.0])
    return replace(left, earlier=one_kind([10.0] * 10, [0.0] * 10).later, stayed=np.zeros(10))


def test_what_stayed_is_parted_by_what_the_pass_did_to_it() -> None:
    split = why_split(split_fates(), PATCH, reach_of(patch=90.0, open=100.0, edge=50.0, corner=None, margin=50.0))
    # A tenth of 100 mm² lay where the machine never went: a quarter of the 40 mm² that are left.
    patch = split["patch"]
    assert [patch.never_reached_percent, patch.left_lying_percent, patch.moved_percent] == pytest.approx([25, 25, 50])
    assert split["open"].never_reached_percent == 0
    assert set(split) == {"patch", "open"}  # nothing lay at the edge, the corner's reach is not known


def test_what_never_was_reached_cannot_be_more_than_what_was_not_moved() -> None:
    split = why_split(split_fates(), PATCH, reach_of(patch=40.0))["patch"]
    assert (split.never_reached_percent, split.left_lying_percent, split.moved_percent) == pytest.approx((50, 0, 50))


@given(
    untouched=st.lists(st.floats(0, 1), min_size=1, max_size=20),
    reached=st.floats(0, 100),
    lay=st.integers(1, 50),
)
def test_the_parts_of_what_stayed_sum_to_100(untouched: list[float], reached: float, lay: int) -> None:
    left = one_kind([5.0] * len(untouched), untouched)
    fates = replace(left, earlier=one_kind([7.0] * lay, [0.0] * lay).later, stayed=np.zeros(lay))
    split = why_split(fates, PATCH, reach_of(patch=reached))["patch"]
    parts = (split.never_reached_percent, split.left_lying_percent, split.moved_percent)
    assert sum(parts) == pytest.approx(100)
    assert min(parts) >= 0


def test_without_reach_nothing_is_parted() -> None:
    assert why_split(split_fates(), PATCH, None) == {}


def test_each_part_has_an_interval_that_holds_it() -> None:
    split = why_split(split_fates(), PATCH, reach_of(patch=90.0))["patch"]
    assert (split.never_reached_interval95, split.left_lying_interval95) == (None, None)
    reach = reach_of(patch=90.0)
    told = replace(reach, zones={"patch": replace(reach.zones["patch"], interval95=(88.0, 93.0))})
    split = why_split(split_fates(), PATCH, told)["patch"]
    # 7 and 12 % of 100 mm², of the 40 mm² that are left.
    assert split.never_reached_interval95 == pytest.approx((17.5, 30.0))
    assert split.moved_interval95 is not None and split.left_lying_interval95 is not None
    for value, (low, high) in (
        (split.moved_percent, split.moved_interval95),
        (split.left_lying_percent, split.left_lying_interval95),
    ):
        assert 0 <= low < value < high <= 100
    # What was left lying is the rest, and no better known than what it is the rest of.
    assert split.never_reached_interval95 is not None
    assert np.ptp(split.left_lying_interval95) >= np.ptp(split.never_reached_interval95)


@given(reached=st.floats(0, 100), down=st.floats(0, 60), up=st.floats(0, 60))
def test_intervals_of_the_parts_hold_them_whatever_the_reach(reached: float, down: float, up: float) -> None:
    reach = reach_of(patch=reached)
    told = replace(reach, zones={"patch": replace(reach.zones["patch"], interval95=(reached - down, reached + up))})
    split = why_split(split_fates(), PATCH, told)["patch"]
    for value, interval in (
        (split.never_reached_percent, split.never_reached_interval95),
        (split.left_lying_percent, split.left_lying_interval95),
    ):
        assert interval is not None
        assert 0 <= interval[0] <= value + 1e-9 and value - 1e-9 <= interval[1] <= 100
