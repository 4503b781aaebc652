"""Why debris stayed, from photos to figures, on a made-up scene whose truth is known."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import debriscount
from debriscount.simulate.spec import Camera, Cleaning

from ..conftest import SceneOnDisk, small_spec


@pytest.mark.slow
def test_lanes_reach_and_untouched_share_of_a_scene_come_out(make_scene: Callable[..., SceneOnDisk]) -> None:
    lanes = Cleaning(pitch_mm=110.0, width_mm=85.0, offset_mm=50.0, pickup=0.93, displaced_share=0.5)
    portion = small_spec().portions[0]
    scene = make_scene(
        passes=(lanes,), portions=(replace(portion, cover_share=0.08),), camera=Camera(megapixels=3.0), seed=11
    )
    measurement = debriscount.measure(scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris)
    figures, truth = measurement.passes[0], scene.scene.truth
    why = figures.why
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
    assert figures.step is not None and figures.step.of_found_percent == pytest.approx(pickup)
    assert measurement.further is None
