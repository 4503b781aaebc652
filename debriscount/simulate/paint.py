"""Grains and their shadows, painted into a picture in linear light."""

import numpy as np

from ..arrays import Floats, Image
from .grains import Grains
from .pose import Pose
from .spec import Light
from .stamp import Outlines, stamps, unit_maps
from .truth import SceneTruth


def paint_grains(light: Image, truth: SceneTruth, state: int, pose: Pose, lighting: Light) -> None:
    """Paint the grains of a state, shadows first, in place.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        The bare floor in linear light.
    truth : SceneTruth
        Grains and their places.
    state : int
        0 for *before*, p for after pass p.
    pose : Pose
        The camera.
    lighting : Light
        Direction and strength of shadows and shading.
    """
    lying = truth.lying[state]
    grains, places, angle = (
        truth.grains.take(lying),
        truth.places_mm[state][lying],
        truth.angle_rad[state][lying],
    )
    if not len(grains):
        return
    jacobian = pose.jacobian_px_per_mm(places)
    to_unit = unit_maps(grains.a_mm, grains.b_mm, angle, jacobian)
    px2_per_mm2 = np.abs(np.linalg.det(jacobian))
    center = pose.view.project(_seen_on_floor(places, grains.height_mm / 2, pose.eye_mm))
    outlines = Outlines(center, to_unit, grains.waves, grains.area_mm2 * px2_per_mm2)
    _shade_floor(light, grains, outlines, jacobian, lighting)
    sun = _sun(lighting)
    for stamp in stamps((light.shape[0], light.shape[1]), outlines):
        n = stamp.number
        color = grains.color[n].astype(np.float32)
        box = light[stamp.rows, stamp.columns]
        share = stamp.share[..., None]
        if lighting.shading > 0:
            dome = _dome(stamp.unit, grains, n, float(angle[n]), sun=sun, strength=lighting.shading)
            box += share * (dome[..., None] * color - box)
        else:
            box += share * (color - box)


def _seen_on_floor(places_mm: Floats, height_mm: Floats, eye_mm: tuple[float, float, float]) -> Floats:
    """Where on the floor points above it seem to lie, shape (N, 2): on from the eye's foot, by h / (h - z)."""
    foot = np.array(eye_mm[:2])
    return np.asarray(foot + (places_mm - foot) * (eye_mm[2] / (eye_mm[2] - height_mm))[:, None])


def _sun(lighting: Light) -> Floats:
    """Direction to the main light: x, y on the floor and up."""
    azimuth, elevation = np.deg2rad([lighting.azimuth_deg, lighting.elevation_deg])
    flat = np.cos(elevation)
    return np.array([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(elevation)])


def _dome(unit: Image, grains: Grains, n: int, angle: float, *, sun: Floats, strength: float) -> Image:
    """Relative light on a half ellipsoid, 1 on a level face (Lambert's cosine law)."""
    a, b, c = float(grains.a_mm[n]), float(grains.b_mm[n]), max(float(grains.height_mm[n]) / 2, 1e-3)
    qx, qy = unit[..., 0], unit[..., 1]
    up = np.sqrt(np.clip(1 - qx * qx - qy * qy, 0.02, 1)) / c
    own_x, own_y = qx / a, qy / b
    cos, sin = np.cos(angle), np.sin(angle)
    sun_x, sun_y = float(cos * sun[0] + sin * sun[1]), float(cos * sun[1] - sin * sun[0])
    lit = np.maximum(own_x * sun_x + own_y * sun_y + up * float(sun[2]), 0)
    lit /= np.sqrt(own_x * own_x + own_y * own_y + up * up) * float(sun[2])
    return np.asarray(np.minimum(1 + strength * (lit - 1), 1.6), np.float32)


def _shade_floor(light: Image, grains: Grains, outlines: Outlines, jacobian: Floats, lighting: Light) -> None:
    """Darken the floor under and beside grains; the deepest of overlapping shadows counts."""
    if lighting.shadow == 0 and lighting.contact == 0:
        return
    left = np.ones(light.shape[:2], np.float32)
    sun = _sun(lighting)
    mean_px = np.sqrt(outlines.area_px / np.pi)
    height = grains.height_mm
    # The shadow of a dome reaches height × cot(elevation) past it: draw its outline half as far away.
    throw = -0.5 * height[:, None] * sun[:2] / sun[2]
    scale = np.sqrt(np.abs(np.linalg.det(jacobian)))
    cast = (np.einsum("nij,nj->ni", jacobian, throw), np.maximum(0.5 * height * scale, 0.3 * mean_px), 1.0)
    near = (np.zeros_like(outlines.center_px), 0.5 * mean_px, 1.12)
    for strength, (shift, soft, grow) in ((lighting.shadow, cast), (lighting.contact, near)):
        if strength == 0:
            continue
        moved = Outlines(
            outlines.center_px + shift, outlines.to_unit / grow, outlines.waves, outlines.area_px * grow**2
        )
        for stamp in stamps((light.shape[0], light.shape[1]), moved, soft_px=soft):
            box = left[stamp.rows, stamp.columns]
            np.minimum(box, 1 - np.float32(strength) * stamp.share, out=box)
    light *= left[..., None]
