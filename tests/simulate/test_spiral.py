from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from debriscount.errors import SceneError
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.route import Route, draw_route
from debriscount.simulate.spec import Cleaning
from debriscount.simulate.spiral import Spiral

PATCH = lay_patch(600, 400)
X, Y = np.meshgrid(np.arange(0.85, 600, 1.7), np.arange(0.85, 400, 1.7))
POINTS = np.stack([X, Y], axis=-1)


def route_of(cleaning: Cleaning, seed: int) -> tuple[Route, Spiral]:
    route = draw_route(PATCH, replace(cleaning, path="spiral"), np.random.default_rng(seed))
    assert isinstance(route.course, Spiral)
    return route, route.course


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), pitch=st.floats(20, 200), share=st.floats(0.05, 0.99))
def test_without_gaps_it_is_a_disc_of_the_wanted_share(*, seed: int, pitch: float, share: float) -> None:
    route, course = route_of(Cleaning(width_mm=pitch * (1 + 1e-9), pitch_mm=pitch, reach_share=share), seed)
    passed = route.reaches(POINTS)
    distance = np.hypot(X - course.center_mm[0], Y - course.center_mm[1])
    assert np.array_equal(passed, distance <= course.end_mm)
    assert passed.mean() == pytest.approx(share, abs=0.005)


@settings(max_examples=20)
@given(seed=st.integers(0, 10_000), gaps=st.floats(0.05, 0.5))
def test_with_gaps_the_share_holds_as_well(*, seed: int, gaps: float) -> None:
    route, _ = route_of(Cleaning(width_mm=40 * (1 - gaps), pitch_mm=40, reach_share=0.4), seed)
    assert route.reaches(POINTS).mean() == pytest.approx(0.4, abs=0.005)


@pytest.mark.parametrize("seed", range(6))
def test_passed_over_is_what_lies_near_the_spiral(seed: int) -> None:
    # Independent: points along r = pitch x turns and the distance from the nearest (scipy). Width is told along the
    # radius; across the winding it is shorter by a cosine that matters in the first winding alone.
    route, course = route_of(Cleaning(width_mm=30, pitch_mm=50, reach_share=0.5), seed)
    turns = np.arange(0, 20, 0.0005)
    angle = course.start_rad + course.turn * 2 * np.pi * turns
    way = np.array(course.center_mm) + 50 * turns[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    distance = np.asarray(cKDTree(way).query(POINTS)[0])
    radius = np.hypot(X - course.center_mm[0], Y - course.center_mm[1])
    clear = (np.abs(distance - 15) > 0.5) & (radius > 50) & (radius < course.end_mm)
    assert clear.sum() > 10_000
    passed = route.reaches(POINTS)
    assert np.array_equal(passed[clear], (distance < 15)[clear])
    assert not passed[radius > course.end_mm].any()


def test_where_it_was_set_down_is_passed_over() -> None:
    for seed in range(20):
        route, course = route_of(Cleaning(width_mm=60, pitch_mm=90, reach_share=0.3), seed)
        assert route.reaches(np.array(course.center_mm)).all()
        assert (np.array(course.center_mm) >= 0).all()
        assert (np.array(course.center_mm) <= (600, 400)).all()


def test_more_than_the_windings_pass_over_is_refused() -> None:
    with pytest.raises(
        SceneError, match=r"width_mm 20 and pitch_mm 50 passes over \d+ % of the patch, not 85 %\. Widen"
    ):
        route_of(Cleaning(width_mm=20, pitch_mm=50), 0)
