"""Why debris stayed, from photos to figures, on a made-up scene whose truth is known."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import debriscount
from debriscount.leftovers.records import (
    Explained,
    Explanation,
    Leftovers,
    LeftShares,
    Reach,
    Scatter,
    Walls,
    WhyLeft,
    WhySplit,
)
from debriscount.pickup.records import Amount, PassFigures, Trust, ZoneFigures
from debriscount.registration.grid import FloorGrid
from debriscount.run.explained import FEW_LEFT, carried, doubted
from debriscount.simulate.spec import Camera, Cleaning

from ..conftest import SceneOnDisk, small_spec


@pytest.mark.slow
def test_lanes_reach_and_untouched_share_of_a_scene_come_out(make_scene: Callable[..., SceneOnDisk]) -> None:
    lanes = Cleaning(pitch_mm=110.0, width_mm=85.0, offset_mm=50.0, pickup=0.93, displaced_share=0.5)
    portion = small_spec().portions[0]
    scene = make_scene(
        passes=(lanes,), portions=(replace(portion, cover_share=0.08),), camera=Camera(megapixels=1.5), seed=11
    )
    measurement = debriscount.measure(scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris)
    figures, truth = measurement.passes[0], scene.scene.truth
    why = measurement.left.why(1)
    assert why is not None and why.reach is not None and why.lanes is not None
    left = truth.leftovers_percent(1)
    assert left is not None
    # Bars of the benchmark for single scenes: 8 points, 2 degrees, 4 %, 3 mm.
    assert why.leftovers.zones["patch"].untouched_percent == pytest.approx(left[0], abs=8)
    assert abs((why.lanes.heading_deg + 90) % 180 - 90) < 2
    assert why.lanes.pitch_mm == pytest.approx(110, rel=0.04)
    assert why.lanes.strip_mm == pytest.approx(25, abs=3.75)
    reached = truth.reached_percent(1)["patch"]
    there = why.reach.zones["patch"]
    assert there.share_percent == pytest.approx(reached, abs=4)
    assert there.share_percent is not None and there.pickup_percent is not None
    pickup = figures.zones["patch"].pickup_percent
    assert there.share_percent * there.pickup_percent / 100 == pytest.approx(pickup)
    assert len(why.untouched) == len(measurement.shots[-1].grains)
    inside = measurement.shots[-1].grains.zone
    assert np.isfinite(why.untouched[inside >= 0]).any()
    step = measurement.left.step(1)
    assert step is not None and step.of_found_percent == pytest.approx(pickup)
    assert measurement.left.further is None


SHARES = LeftShares(30.0, 60.0, 40.0, (40.0, 80.0))
SPLIT = WhySplit(50.0, 10.0, 40.0)
SAID = tuple(Explanation(what, share, what) for what, share in (("moved", 40.0), ("no lanes", None), ("flung", None)))


def left(grains: int, pickup: float | None = 90.0, more_than: float | None = None) -> ZoneFigures:
    return ZoneFigures(
        before=Amount(1000.0, 100, None),
        after=Amount(10.0 * grains, grains, None),
        gone_percent=pickup,
        pickup_percent=pickup,
        more_than_percent=more_than,
    )


def why(reach: Reach | None = None, **zones: ZoneFigures) -> WhyLeft | None:
    shares = dict.fromkeys(zones, SHARES)
    told = WhyLeft(
        leftovers=Leftovers(zones=shares, kinds={"rice": shares}, least_shift_mm={}, chance_percent={}, matched={}), split=dict.fromkeys(zones, SPLIT), reach=reach, lanes=None, missed=(), walls=Walls((), ()),
        scatter=Scatter(margin_percent=None, margin_interval95=None, margin_sides={}, bare_percent=None, direction_deg=None, strength=None, distance_mm=(), distance_percent=(), median_distance_mm=None, side=None), findings=SAID, untouched=np.zeros(0), way_mm=np.zeros((0, 2)),
    )  # fmt: skip
    return carried(told, PassFigures(1, zones, {"rice": zones}))


def test_few_leftovers_explain_nothing() -> None:
    enough, few = why(patch=left(FEW_LEFT)), why(patch=left(FEW_LEFT - 1))
    assert enough is not None and few is not None
    assert [f.what for f in enough.findings] == ["moved", "no lanes", "flung"]
    assert [f.what for f in few.findings] == ["flung"]
    assert (enough.split, few.split) == ({"patch": SPLIT}, {})
    assert why(patch=left(50, pickup=None)) is None


@pytest.mark.parametrize("hardly_any", [left(0), left(FEW_LEFT - 1), left(20, more_than=99.0)])
def test_where_hardly_any_leftovers_were_found_there_are_no_shares_of_them(hardly_any: ZoneFigures) -> None:
    found = why(patch=left(20), edge=hardly_any)
    assert found is not None
    for zones in (found.leftovers.zones, found.leftovers.kinds["rice"]):
        assert zones["patch"] == SHARES
        assert (zones["edge"].untouched_percent, zones["edge"].shifted_percent) == (None, None)
    assert found.split == {"patch": SPLIT}


@pytest.mark.parametrize(("trust", "because"), [("sound", ""), ("doubtful", "no pea was found")])
def test_a_reach_is_as_doubtful_as_the_pickup_of_the_same_grains(trust: Trust, because: str) -> None:
    map_ = Reach({}, FloorGrid(0.0, 0.0, 1.0, 2, 2), np.ones((2, 2), np.float32), 1.0)
    figures = PassFigures(1, {"patch": replace(left(50), trust=trust, why=because)}, {})
    (found,) = doubted(Explained((why(map_, patch=left(50)),)), [figures]).passes
    assert found is not None and found.reach is not None
    assert (found.reach.trust, found.reach.why) == (trust, because)
    said = [f.sentence for f in found.findings if f.what == "reach doubtful"]
    assert [because in sentence for sentence in said] == [True] * (trust != "sound")
