from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt
from skimage.draw import line

from debriscount.errors import SceneError
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.route import Route, draw_route
from debriscount.simulate.spec import Cleaning
from debriscount.simulate.wander import Wander

PATCH = lay_patch(600, 400)


def route_of(patch: Patch, cleaning: Cleaning, seed: int) -> tuple[Route, Wander]:
    route = draw_route(patch, replace(cleaning, path="wander"), np.random.default_rng(seed))
    assert isinstance(route.course, Wander)
    return route, route.course


def floor_points(patch: Patch, step: float) -> np.ndarray:
    x, y = np.meshgrid(np.arange(step / 2, patch.width_mm, step), np.arange(step / 2, patch.height_mm, step))
    return np.stack([x, y], axis=-1)


@settings(max_examples=40)
@given(
    seed=st.integers(0, 10_000),
    width=st.floats(15, 120),
    share=st.floats(0.05, 0.97),
    walls=st.sets(st.sampled_from(["top", "right", "bottom", "left"])),
)
def test_the_share_is_passed_over_and_no_more(*, seed: int, width: float, share: float, walls: set[str]) -> None:
    patch = lay_patch(600, 400, sorted(walls)) if walls != {"top", "right", "bottom", "left"} else PATCH
    route, course = route_of(patch, Cleaning(width_mm=width, reach_share=share), seed)
    # Other points than those by which the route ended.
    assert route.reaches(floor_points(patch, 1.7)).mean() == pytest.approx(share, abs=0.005)
    left, top, right, bottom = patch.outer_box_mm()
    turns = course.turns_mm
    assert (turns >= (left, top)).all()
    assert (turns <= (right, bottom)).all()
    # All turns but the end of the way lie on the border.
    inner = turns[:-1]
    to_border = np.minimum(inner - (left, top), np.array((right, bottom)) - inner).min(axis=1)
    assert to_border == pytest.approx(0, abs=1e-9)


def test_passed_over_is_what_lies_near_the_way() -> None:
    # Independent: the way drawn on a picture of 0.5 mm (scikit-image) and the distance from it (scipy).
    step, pad = 0.5, 60.0
    for seed in range(3):
        route, course = route_of(PATCH, Cleaning(width_mm=40, reach_share=0.6), seed)
        rows, columns = int(520 / step), int(720 / step)
        way = np.ones((rows + 1, columns + 1), bool)
        at = np.rint((course.turns_mm + pad) / step).astype(int)
        for (x0, y0), (x1, y1) in pairwise(at):
            way[line(y0, x0, y1, x1)] = False  # type: ignore[no-untyped-call]
        distance = distance_transform_edt(way) * step
        y, x = np.indices(way.shape) * step - pad
        clear = np.abs(distance - 20) > 1.0  # drawing errs by up to a pixel
        passed = route.reaches(np.stack([x, y], axis=-1))
        inside = (x >= -60) & (y >= -60)
        assert np.array_equal((distance < 20)[clear & inside], passed[clear & inside])


def test_chords_are_as_long_as_those_that_meet_a_box_by_chance() -> None:
    # Mean chord of a convex figure under the cosine law: pi times area over perimeter (Cauchy-Crofton; Santaló,
    # Integral Geometry and Geometric Probability, 1976, chapter 3; from memory).
    chords = []
    for seed in range(12):
        turns = route_of(PATCH, Cleaning(width_mm=4, reach_share=0.9), seed)[1].turns_mm
        chords.append(np.hypot(*np.diff(turns, axis=0)[:-1].T))
    lengths = np.concatenate(chords)
    expected = np.pi * (720 * 520) / (2 * (720 + 520))
    assert len(lengths) > 3000
    # Neighbouring chords are alike only a little: five standard errors of independent ones.
    assert lengths.mean() == pytest.approx(expected, abs=5 * lengths.std() / np.sqrt(len(lengths)))


def test_all_places_and_directions_are_alike() -> None:
    # Of lines that fall evenly, what stays is exp(-width x way / area), wherever one looks (Boolean model of
    # stochastic geometry): here the left of the patch against its right, and the middle against the rim.
    points = floor_points(PATCH, 4.0)
    passed = np.mean(
        [route_of(PATCH, Cleaning(width_mm=20, reach_share=0.6), s)[0].reaches(points) for s in range(60)], 0
    )
    x, y = points[..., 0], points[..., 1]
    middle = (np.abs(x - 300) < 150) & (np.abs(y - 200) < 100)
    assert passed[x < 300].mean() == pytest.approx(passed[x > 300].mean(), abs=0.06)
    assert passed[y < 200].mean() == pytest.approx(passed[y > 200].mean(), abs=0.06)
    assert passed[middle].mean() == pytest.approx(passed[~middle].mean(), abs=0.06)


def test_each_seed_goes_another_way() -> None:
    one, again, other = (route_of(PATCH, Cleaning(), seed)[1].turns_mm for seed in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.array_equal(one[:2], other[:2])


def test_a_machine_too_narrow_to_get_there_is_refused() -> None:
    with pytest.raises(
        SceneError, match=r"width_mm 0\.01 has not passed over 85 % of the patch after 2000 turns\. Widen"
    ):
        route_of(PATCH, Cleaning(width_mm=0.01), 0)


def test_a_machine_larger_than_the_share_stays_where_it_was_set_down() -> None:
    route, course = route_of(PATCH, Cleaning(width_mm=600, reach_share=0.05), 0)
    assert np.hypot(*(course.turns_mm[-1] - course.turns_mm[0])) < 1e-3
    assert route.reaches(floor_points(PATCH, 5)).mean() > 0.05
