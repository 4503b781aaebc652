"""Simulated films: the way, what becomes of grains, and that frames show it."""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from debriscount.errors import SceneError
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.film import FilmSpec, bare_floor, draw_film, film_frames, film_spec
from debriscount.simulate.machine import Machine, drive, take
from debriscount.simulate.options import scene_spec

SMALL = Machine(diameter_mm=170, height_mm=60, mouth_mm=120, pitch_mm=100, pickup=1.0)
SPEC = FilmSpec(scene=scene_spec(patch_mm="460x300", seed=3), machine=SMALL, size_px=(480, 270), rate=4)


def test_the_machine_drives_at_its_speed_and_turns_on_the_spot() -> None:
    way = drive(lay_patch(460, 300, ()), SMALL, 1)
    times = np.arange(0, way.end_s, 0.1)
    speed = np.hypot(*np.diff(way.place_mm(times), axis=0).T) / 0.1
    assert speed.max() == pytest.approx(SMALL.speed_mm_s, rel=1e-6)
    middle = way.place_mm(times)
    lanes = np.unique(np.round(middle[(middle[:, 0] > 0) & (middle[:, 0] < 460), 1]))
    assert list(lanes) == [50, 150, 250]


def test_walls_keep_the_machine_on_the_floor() -> None:
    way = drive(lay_patch(460, 300, ("top", "left")), SMALL, 1)
    places = way.place_mm(np.arange(0, way.end_s, 0.05))
    assert places[:, 0].min() >= 85 - 1e-6
    assert places[:, 1].min() >= 85 - 1e-6
    with pytest.raises(SceneError, match="free side"):
        drive(replace(lay_patch(460, 300, ()), walls=("top", "left", "right", "bottom")), SMALL, 1)


def test_grains_go_when_the_middle_passes_them() -> None:
    patch = lay_patch(460, 300, ())
    way = drive(patch, SMALL, 1)
    places = np.array([[100.0, 50.0], [300.0, 60.0], [300.0, 111.0]])
    taken = take(patch, SMALL, way, places, np.random.default_rng(1))
    there = way.place_mm(taken.gone_s)
    # All within the mouth's half width of a lane, at the moment when the middle is level with them.
    assert there[:, 0] == pytest.approx(places[:, 0], abs=3)
    assert taken.lying(0.0)[0].all()
    assert not taken.lying(way.end_s)[0].any()


def test_nothing_is_left_of_what_a_perfect_machine_passes_over() -> None:
    truth = draw_film(SPEC)
    left = [truth.left_percent(float(t)) for t in truth.times_s]
    assert left[0] == 100
    assert left[-1] == 0
    assert (np.diff(left) <= 1e-9).all()


def test_frames_show_grains_machine_and_what_is_gone() -> None:
    truth = draw_film(SPEC)
    frames = list(film_frames(truth))
    assert len(frames) == len(truth.times_s)
    bare = bare_floor(truth).astype(int)
    # In the patch's middle, which machine and shadow have left by then.
    box = np.s_[80:190, 140:340]
    other = [float((np.abs(frame - bare)[box][..., 1] > 25).mean()) for frame in (frames[0], frames[-1])]
    assert other[0] > 0.01
    assert other[1] == 0
    # Where the machine is told to be it is dark.
    number = len(frames) // 2
    pose = truth.pose(float(truth.times_s[number]))
    column, row = np.round(pose.view.project(truth.way.place_mm(truth.times_s[number])[None])[0]).astype(int)
    assert frames[number][row, column].max() < 90


def test_the_same_seed_makes_the_same_frames() -> None:
    one, other = (list(islice(film_frames(draw_film(SPEC)), 2)) for _ in range(2))
    assert np.array_equal(one, other)


@pytest.mark.parametrize(
    ("size", "rate", "words"),
    [
        ("wide", 10.0, "film size must be written"),
        ("101x80", 10.0, "sides must be even"),
        ("320x240", 0.0, "film rate"),
    ],
)
def test_films_that_cannot_be_are_refused(size: str, rate: float, words: str) -> None:
    with pytest.raises(SceneError, match=words):
        draw_film(film_spec(scene_spec(), size, rate))
