"""Simulated photos that overlap, joined and held against the scene's own truth."""

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.errors import MarkerError, PhotoUnfitError
from debriscount.layout.lay_patch import lay_patch
from debriscount.markers.find_markers import SeenMarker
from debriscount.mosaic.join import join_shots, moved_flags
from debriscount.mosaic.place import PlacedPhotos, place_photos
from debriscount.photo.read import Photo, photo_from_array
from debriscount.simulate.options import USUAL_DEBRIS
from debriscount.simulate.scene import Scene, make_scene
from debriscount.simulate.spec import Camera, Portion, SceneSpec, Strewing

SPEC = SceneSpec(
    lay_patch(1500, 600),
    (Portion(USUAL_DEBRIS, cover_share=0.01),),
    scatter=Strewing(clumped_share=0.0, wall_share=0.0),
    passes=(),
    camera=Camera(megapixels=1.2, tilt_deg=3.0, across=3, overlap=0.4),
    blank=False,
    seed=4,
)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return make_scene(SPEC)


@pytest.fixture(scope="module")
def photos(scene: Scene) -> Mapping[str, list[Photo]]:
    return {"before": [photo_from_array(scene.pixels(name), name) for name in SPEC.photo_names("before")]}


def test_photos_are_placed_where_they_were_taken_from(scene: Scene, photos: Mapping[str, list[Photo]]) -> None:
    placed = place_photos(photos, SPEC.patch)
    # The middle photo shows no marker; neighbours share no more than floor and grains.
    assert [len(those) for those in placed.markers] == [2, 0, 2]
    poses = list(scene.truth.poses.values())
    x, y = np.meshgrid(np.linspace(0, 1500, 61), np.linspace(0, 600, 25))
    floor = np.column_stack([x.ravel(), y.ravel()])
    pixels = [pose.view.project(floor) for pose in poses]
    seen = [((px >= 0) & (px < pose.size_px)).all(axis=1) for px, pose in zip(pixels, poses, strict=True)]
    for i, k in combinations(range(3), 2):
        both = seen[i] & seen[k]
        if both.any():
            off = placed.views[i].floor_mm(pixels[i][both]) - placed.views[k].floor_mm(pixels[k][both])
            assert np.sqrt((off**2).sum(axis=1).mean()) < 0.5
    for pose, view, px, shown in zip(poses, placed.views, pixels, seen, strict=True):
        assert pose.view.floor_mm(px[shown]) == pytest.approx(floor[shown])
        assert np.hypot(*(view.floor_mm(px[shown]) - floor[shown]).T).max() < 1.5


def test_the_joined_photo_shows_the_whole_patch_in_one_light(photos: Mapping[str, list[Photo]]) -> None:
    photo, joined = join_shots(photos, SPEC.patch)["before"]
    assert photo.shows is not None
    assert joined.unseen == 0
    assert joined.flags == ()
    assert sum(part.share_percent for part in joined.parts) == pytest.approx(100)
    assert photo.name == "before/1 + before/2 + before/3"
    # The seams' own brightness steps: rows of the joined photo change no more there than elsewhere.
    level = np.median(photo.pixels[200:-200].mean(axis=2), axis=0)
    assert np.abs(np.diff(level[100:-100])).max() < 8


def test_a_place_that_no_photo_shows_is_told_and_not_shown(photos: Mapping[str, list[Photo]]) -> None:
    blind = [replace(photos["before"][0], pixels=photos["before"][0].pixels[:, 350:]), *photos["before"][1:]]
    blind[0] = photo_from_array(np.ascontiguousarray(blind[0].pixels), "before/1")
    with pytest.raises(MarkerError):  # without its markers nothing says where any of them lies but the third's two
        join_shots({"before": blind[:2]}, SPEC.patch)
    photo, joined = join_shots({"before": photos["before"][1:]}, SPEC.patch)["before"]
    assert photo.shows is not None
    assert 0.1 < joined.unseen < 0.5
    assert joined.flags[0].code == "unseen"
    assert "left out" in joined.flags[0].sentence
    assert photo.shows.mean() < 0.9


def test_a_photo_of_another_floor_is_refused(photos: Mapping[str, list[Photo]]) -> None:
    noise = np.random.default_rng(0).integers(0, 255, photos["before"][1].pixels.shape, np.uint8)
    with pytest.raises(PhotoUnfitError, match="stranger"):
        join_shots({"before": [photos["before"][0], photo_from_array(noise, "stranger")]}, SPEC.patch)


def test_a_marker_that_was_moved_while_the_photos_were_taken_is_told() -> None:
    view = FloorToPhoto(np.eye(3), Lens((0.0, 0.0), (1000.0, 1000.0)))
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])

    def seen(number: int, x: float) -> SeenMarker:
        return SeenMarker(id=number, corners_px=square + np.array([x, 0.0]), sigma_px=0.1)

    markers = ({3: seen(3, 50.0), 4: seen(4, 300.0)}, {3: seen(3, 50.5), 4: seen(4, 308.0)}, {3: seen(3, 90.0)})
    placed = PlacedPhotos(views=(view,) * 3, markers=markers, apart_mm={})
    assert moved_flags("before", placed, (0,)) == ()
    (flag,) = moved_flags("before", placed, (0, 1))
    assert flag.sentence.startswith("marker 4 lies 8 mm apart in photos of before")
    assert len(moved_flags("all", placed, (0, 1, 2))) == 2


def test_photos_of_the_whole_patch_are_no_parts_of_one_shot() -> None:
    spec = replace(SPEC, patch=lay_patch(600, 400), camera=Camera(megapixels=0.8), blank=True)
    whole = make_scene(spec)
    pair = [photo_from_array(whole.pixels(name), name) for name in ("blank", "before")]
    with pytest.raises(PhotoUnfitError, match="blank, before: each shows the whole patch"):
        join_shots({"after": pair}, spec.patch)
