from typing import Any

import numpy as np
import pytest

from debriscount.errors import SceneError
from debriscount.layout.lay_patch import lay_patch
from debriscount.markers.find_markers import find_markers
from debriscount.simulate.options import scene_spec
from debriscount.simulate.pose import pose_shots, seen_box_mm
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, SceneSpec

CAMERAS = [
    Camera(megapixels=1.5),
    Camera(megapixels=1.5, tilt_deg=20, azimuth_deg=60, k1=-0.05, center_offset_px=(9.0, -6.0)),
    Camera(megapixels=1.5, roll_deg=25, k1=0.04, hand_held=False),
]


def spec_with(camera: Camera, **changes: Any) -> SceneSpec:
    base = scene_spec(patch_mm="400x300", walls=changes.pop("walls", ()), load_percent=0.5)
    values = {name: getattr(base, name) for name in base.__dataclass_fields__}
    return SceneSpec(**(values | {"camera": camera, "passes": (), "blank": False} | changes))


@pytest.mark.parametrize("camera", CAMERAS, ids=["plain", "oblique", "rolled"])
def test_markers_are_found_where_the_truth_says(camera: Camera) -> None:
    scene = make_scene(spec_with(camera))
    markers = scene.spec.patch.markers
    found = find_markers(scene.pixels("before"), [marker.id for marker in markers])
    view = scene.truth.poses["before"].view
    errors = np.array([found[marker.id].corners_px - view.project(marker.corners_mm()) for marker in markers]).reshape(
        -1, 2
    )
    assert np.sqrt((errors**2).sum(axis=1).mean()) < 0.1
    assert np.abs(errors.mean(axis=0)).max() < 0.05


@pytest.mark.parametrize("camera", CAMERAS, ids=["plain", "oblique", "rolled"])
def test_pixels_and_floor_places_are_each_others_inverse(camera: Camera) -> None:
    patch = lay_patch(500, 300, ("left",))
    pose = pose_shots(patch, camera, 1, np.random.default_rng(0))[0]
    places = np.array([[0.0, 0.0], [500.0, 300.0], [250.0, 100.0]])
    assert pose.floor_mm(pose.view.project(places)) == pytest.approx(places, abs=1e-4)
    full = pose.refine(pose.coarse_floor_mm()[..., 0])
    width, height = pose.size_px
    assert full.shape == (height, width)
    exact = pose.floor_mm(np.array([[17.0, 23.0], [width - 1.0, height - 1.0]]))[:, 0]
    # A coarse grid is good to hundredths of a pixel.
    assert full[[23, height - 1], [17, width - 1]] == pytest.approx(exact, abs=0.03 * pose.mm_per_px((250, 150)))


def test_a_camera_looking_straight_down_is_a_pinhole() -> None:
    camera = Camera(height_mm=1000, tilt_deg=0, k1=0, hand_held=False, megapixels=3, focal_share=0.75)
    pose = pose_shots(lay_patch(), camera, 1, np.random.default_rng(0))[0]
    # By hand: 2000 px wide, focal length 1500 px, so a metre away a millimetre spans 1.5 px.
    assert pose.size_px == (2000, 1500)
    assert 1 / pose.mm_per_px((300, 200)) == pytest.approx(1.5, rel=2e-3)


def test_all_that_must_be_seen_fits_closely() -> None:
    patch = lay_patch(600, 400, ("top", "left"))
    pose = pose_shots(patch, Camera(tilt_deg=10, hand_held=False), 1, np.random.default_rng(0))[0]
    left, top, right, bottom = seen_box_mm(patch)
    seen = pose.view.project(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    low, high = seen.min(axis=0), seen.max(axis=0)
    assert (low > 0).all()
    assert (high < pose.size_px).all()
    assert ((high - low) / pose.size_px).max() > 0.93


def test_a_patch_that_is_high_is_photographed_upright() -> None:
    pose = pose_shots(lay_patch(300, 900), Camera(), 1, np.random.default_rng(0))[0]
    assert pose.size_px[0] < pose.size_px[1]


def test_a_low_camera_is_refused_with_a_height_that_works() -> None:
    patch = lay_patch()
    with pytest.raises(
        SceneError,
        match=r"camera\.height_mm \d+: marker \d lies outside of the photo\. Raise the camera to \d+ mm",
    ):
        pose_shots(patch, Camera(height_mm=300), 1, np.random.default_rng(0))


def test_a_camera_behind_the_wall_is_refused() -> None:
    patch = lay_patch(300, 200, ("top",))
    with pytest.raises(SceneError, match=r'the camera would stand behind the wall "top"\. Lower camera\.tilt_deg'):
        pose_shots(patch, Camera(height_mm=3000, tilt_deg=25, azimuth_deg=270), 1, np.random.default_rng(0))


def test_a_photo_that_sees_the_horizon_is_refused() -> None:
    with pytest.raises(
        SceneError, match=r"camera\.tilt_deg 40 lets the photo see the horizon\. Tilt the camera less\."
    ):
        pose_shots(
            lay_patch(),
            Camera(height_mm=1500, tilt_deg=40, azimuth_deg=0, focal_share=0.4),
            1,
            np.random.default_rng(0),
        )
