"""One white grain on a black floor: the light it sends is its area."""

from dataclasses import replace

import numpy as np
import pytest

from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.scene import clean_floor, shot_light
from debriscount.simulate.spec import Camera, Floor, Imaging, Light, Portion, SceneSpec, Strewing
from debriscount.simulate.truth import draw_truth

DARK = Light(shadow=0, contact=0, shading=0, gradient=0, person=0, wall_shade=0)
PLAIN = Imaging(exposure_drift=0, white_drift=0, vignette=0)


def one_grain(diameter_mm: float, shape: str, camera: Camera) -> SceneSpec:
    patch = lay_patch(200, 150)
    kind = DebrisKind("chalk", (255, 255, 255), (diameter_mm, diameter_mm))
    portion = Portion(kind, cover_share=np.pi / 4 * diameter_mm**2 / (200 * 150), shape=shape, color_spread=0)
    floor = Floor("plain", color_srgb=(0, 0, 0), contrast=0)
    return SceneSpec(
        patch, (portion,), floor, Strewing(clumps=0), passes=(), camera=camera, light=DARK, imaging=PLAIN,
        blank=False, seed=4,
    )  # fmt: skip


@pytest.mark.parametrize("shape", ["round", "long", "irregular"])
@pytest.mark.parametrize("diameter_px", [1, 2, 5, 20])
def test_light_of_a_grain_is_its_area(diameter_px: float, shape: str) -> None:
    camera = Camera(megapixels=0.5, tilt_deg=18, k1=-0.04, roll_deg=7)
    spec = one_grain(1.0, shape, camera)
    scale = draw_truth(spec).poses["before"].mm_per_px((100, 75))
    spec = one_grain(diameter_px * scale, shape, camera)
    truth = draw_truth(spec)
    assert len(truth.grains) == 1
    pose = truth.poses["before"]
    light = shot_light(spec, truth, "before", *clean_floor(spec, truth))
    place = truth.places_mm[0]
    column, row = np.round(pose.view.project(place)[0]).astype(int)
    reach = 3 * diameter_px + 4
    window = light[max(row - reach, 0) : row + reach, max(column - reach, 0) : column + reach, 1]

    # Independent of how grains are drawn: the outline's points through the camera, and the polygon's area.
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    waves = truth.grains.waves[0]
    rho = 1 + sum((waves[i] * np.exp(1j * k * t)).real for i, k in enumerate((2, 3, 4, 5)))
    own = np.stack([truth.grains.a_mm[0] * rho * np.cos(t), truth.grains.b_mm[0] * rho * np.sin(t)], axis=-1)
    turn = truth.angle_rad[0, 0]
    rotated = own @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    x, y = pose.view.project(place + rotated).T
    polygon_px2 = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2

    assert window.sum() == pytest.approx(polygon_px2, rel=0.005)
    area_px2 = truth.grains.area_mm2[0] * abs(np.linalg.det(pose.jacobian_px_per_mm(place)[0]))
    assert window.sum() == pytest.approx(area_px2, rel=0.005)
    assert truth.grains.area_mm2[0] == pytest.approx(np.pi / 4 * (diameter_px * scale) ** 2, rel=1e-9)
    # The centre of light is where the grain's middle, half its height above the floor, is seen on the floor (similar
    # triangles from the eye), as far as whole pixels can tell; irregular outlines lean.
    eye, middle = np.array(pose.eye_mm), truth.grains.height_mm[0] / 2
    raised = eye[:2] + (place - eye[:2]) * eye[2] / (eye[2] - middle)
    rows, columns = np.mgrid[: window.shape[0], : window.shape[1]]
    seen = np.array([(window * columns).sum(), (window * rows).sum()]) / window.sum()
    seen += (max(column - reach, 0), max(row - reach, 0))
    offset = np.hypot(*(seen - pose.view.project(raised)[0]))
    assert offset < (0.3 if diameter_px < 3 else 0.05) + (0.1 * diameter_px if shape == "irregular" else 0)


def test_shadows_leave_the_grain_alone() -> None:
    spec = one_grain(6.0, "round", Camera(megapixels=0.5))
    lit = replace(spec, light=replace(DARK, shadow=0.5, contact=0.5), floor=replace(spec.floor, color_srgb=(128,) * 3))
    truth = draw_truth(lit)
    light = shot_light(lit, truth, "before", *clean_floor(lit, truth))
    column, row = np.round(truth.poses["before"].view.project(truth.places_mm[0])[0]).astype(int)
    assert light[row, column, 1] == pytest.approx(1, abs=1e-4)
    assert light[row - 12 : row + 12, column - 12 : column + 12, 1].min() < 0.9 * light[row - 40, column - 40, 1]
