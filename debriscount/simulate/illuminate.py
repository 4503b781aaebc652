"""Light over the floor: its slope, people's shadows, walls, reflections, and what the camera makes of it."""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .pose import Pose
from .spec import SceneSpec


@dataclass(frozen=True, slots=True)
class Room:
    """What differs between shots besides the camera's pose.

    ``person_mm`` is the middle of a soft shadow (x, y) and ``person_radius_mm`` its size; ``gains``
    multiply red, green and blue.
    """

    person_mm: tuple[float, float]
    person_radius_mm: float
    gains: tuple[float, float, float]


def draw_room(spec: SceneSpec, rng: np.random.Generator) -> Room:
    """Draw what one shot finds."""
    imaging, patch = spec.imaging, spec.patch
    size = np.array([patch.width_mm, patch.height_mm])
    person = rng.uniform(-0.4, 1.4, 2) * size
    exposure = imaging.exposure * np.exp(imaging.exposure_drift * float(np.clip(rng.standard_normal(), -2, 2)))
    red, blue = np.exp(imaging.white_drift * np.clip(rng.standard_normal(2), -2, 2))
    radius = float(rng.uniform(0.3, 0.6) * size.mean())
    return Room(
        (float(person[0]), float(person[1])),
        radius,
        (float(exposure * red), float(exposure), float(exposure * blue)),
    )


def light_field(spec: SceneSpec, room: Room, pose: Pose, coarse_mm: Floats) -> tuple[Floats, Floats | None]:
    """Light that falls on every place, and light that the floor mirrors.

    Parameters
    ----------
    spec : SceneSpec
        Light, vignetting, gloss.
    room : Room
        The shot's own.
    pose : Pose
        The camera.
    coarse_mm : ndarray of shape (rows, columns, 2)
        Floor places as `Pose.coarse_floor_mm` gives them.

    Returns
    -------
    ndarray of shape (rows, columns)
        Factor, about 1.
    ndarray of shape (rows, columns) or None
        Light to add; None for a floor without gloss.
    """
    light, patch = spec.light, spec.patch
    x, y = coarse_mm[..., 0], coarse_mm[..., 1]
    middle = np.array([patch.width_mm / 2, patch.height_mm / 2])
    azimuth = np.deg2rad(light.azimuth_deg)
    towards = ((x - middle[0]) * np.cos(azimuth) + (y - middle[1]) * np.sin(azimuth)) / np.hypot(*middle)
    field = np.exp(light.gradient * 0.5 * np.clip(towards, -3, 3))
    apart = np.hypot(x - room.person_mm[0], y - room.person_mm[1]) / room.person_radius_mm
    field *= 1 - light.person * np.exp(-0.5 * apart**2)
    for wall in patch.walls:
        field *= 1 - light.wall_shade * np.exp(-np.maximum(patch.to_side_mm(wall, x, y), 0) / 35)
    off = _from_center(pose, coarse_mm.shape)
    falloff = 1 - spec.imaging.vignette * off**2
    shine = None
    if spec.floor.gloss > 0:
        # A lamp mirrored in the floor: a bright core in a wide haze, towards the light.
        spot = middle + 0.35 * np.hypot(*middle) * np.array([np.cos(azimuth), np.sin(azimuth)])
        far = np.hypot(x - spot[0], y - spot[1]) / (0.12 * np.hypot(*middle))
        shine = spec.floor.gloss * falloff * (0.6 * np.exp(-0.5 * far**2) + 0.4 * np.exp(-0.5 * (far / 3) ** 2))
        for wall in patch.walls:
            shine *= patch.to_side_mm(wall, x, y) > 0
    return field * falloff, shine


def _from_center(pose: Pose, shape: tuple[int, ...]) -> Floats:
    """Distance of each coarse pixel from the principal point, 1 in the photo's corner."""
    rows, columns = shape[:2]
    step = pose.step_px
    column = step * np.arange(-1, columns - 1) + (step - 1) / 2
    row = step * np.arange(-1, rows - 1) + (step - 1) / 2
    center = pose.view.lens.center_px
    reach = np.hypot(*pose.size_px) / 2
    return np.asarray(np.hypot(column[None, :] - center[0], row[:, None] - center[1]) / reach)
