"""Scenes of rooms: several photos a shot, a lane that is missed, and things that stand there."""

from dataclasses import replace

import numpy as np

from debriscount.inputs.patch import NotFloor
from debriscount.simulate.options import scene_spec
from debriscount.simulate.pose import pose_shots
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera
from debriscount.simulate.truth import draw_truth

CUPBOARD = NotFloor("cupboard", ((400.0, 300.0), (800.0, 300.0), (800.0, 600.0), (400.0, 600.0)))
ROOM = scene_spec(room_m="1.5x1.2", photos="2x1", megapixels=0.4, load_percent=0.4, seed=2)


def test_photos_of_a_shot_show_all_of_it_and_overlap() -> None:
    camera = Camera(megapixels=1.0, across=3, down=2, overlap=0.3, hand_held=False)
    poses = pose_shots(ROOM.patch, camera, 1, np.random.default_rng(0))
    assert len(poses) == 6
    x, y = np.meshgrid(np.linspace(0, 1500, 31), np.linspace(0, 1200, 25))
    floor = np.column_stack([x.ravel(), y.ravel()])
    seen = np.sum([((p := pose.view.project(floor)) >= 0).all(1) & (p < pose.size_px).all(1) for pose in poses], axis=0)
    assert seen.min() >= 1
    assert (seen > 1).mean() > 0.3


def test_photos_are_named_by_shot_and_number() -> None:
    scene = make_scene(replace(ROOM, blank=False))
    assert list(scene.jpegs) == ["before/1", "before/2", "after/1", "after/2"]
    assert list(scene.truth.poses) == list(scene.jpegs)


def test_one_lane_is_missed_and_the_rest_is_met() -> None:
    truth = draw_truth(ROOM)
    assert truth.reached_percent(1)["patch"] is not None
    x, y = np.meshgrid(np.linspace(1, 1499, 60), np.linspace(1, 1199, 240))
    met = truth.routes[0].reaches(np.stack([x, y], axis=-1))
    assert (met.all(axis=1) | ~met.any(axis=1)).all()
    assert 0.15 < (~met).mean() < 0.25
    assert np.abs(np.diff(met[:, 0].astype(int))).sum() == 2


def test_nothing_lies_under_a_thing_and_the_photo_shows_it_instead_of_floor() -> None:
    spec = replace(ROOM, patch=replace(ROOM.patch, not_floor=(CUPBOARD,)), blank=False)
    scene = make_scene(spec)
    for state in (0, 1):
        lying = scene.truth.places_mm[state][scene.truth.lying[state]]
        assert spec.patch.is_floor(*lying.T).all()
    pose = scene.truth.poses["before/1"]
    column, row = np.rint(pose.view.project(np.array([[600.0, 450.0]]))[0]).astype(int)
    other = np.rint(pose.view.project(np.array([[200.0, 450.0]]))[0]).astype(int)
    pixels = scene.pixels("before/1").astype(float).mean(axis=2)
    assert pixels[row, column] < 0.7 * pixels[other[1], other[0]]
