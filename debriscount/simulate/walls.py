"""Walls with a skirting, where the floor ends."""

import numpy as np

from ..arrays import Image
from ..inputs.patch import Patch
from .pose import Pose

#: Height of the skirting, mm, and the linear reflectance of skirting and wall; invented.
SKIRTING_MM = 60.0
_SKIRTING = np.array([0.74, 0.73, 0.70], np.float32)
_WALL = np.array([0.62, 0.60, 0.56], np.float32)
_HEIGHT_STEP_MM = 0.25
#: How much light falls on a wall that faces each way, against the floor.
_FACING = {"top": 0.78, "left": 0.92, "right": 0.84, "bottom": 0.7}


def draw_walls(light: Image, patch: Patch, pose: Pose, floor_x: Image, floor_y: Image) -> None:
    """Draw walls over a picture in linear light, in place.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        The floor as if it went on behind the walls.
    patch : Patch
        Its walls stand on its sides and go on beyond its corners.
    pose : Pose
        The camera.
    floor_x, floor_y : ndarray of float32, shape (H, W)
        Where each pixel's ray meets the floor plane, mm.

    Notes
    -----
    A ray that meets the floor plane behind a wall meets the wall first, at the share
    s = d_eye / (d_eye - d_floor) of the way (d: distance in front of the wall) and hence at
    height_eye (1 - s). Of several walls the nearest counts.
    """
    if not patch.walls:
        return
    eye_x, eye_y, eye_height = pose.eye_mm
    mm = pose.mm_per_px((patch.width_mm / 2, patch.height_mm / 2))
    in_front = {
        wall: (patch.to_side_mm(wall, floor_x, floor_y), patch.to_side_mm(wall, eye_x, eye_y)) for wall in patch.walls
    }
    near = np.zeros(light.shape[:2], bool)
    for wall in patch.walls:
        near |= in_front[wall][0] < mm
    at = np.nonzero(near.ravel())[0]
    share = np.full(len(at), np.inf, np.float32)
    facing = np.zeros(len(at), np.float32)
    floor_left = np.ones(len(at), np.float32)
    for wall in patch.walls:
        distance, eye = in_front[wall][0].ravel()[at], np.float32(in_front[wall][1])
        floor_left = np.minimum(floor_left, np.clip(np.float32(0.5) + distance / np.float32(mm), 0, 1))
        way = eye / np.maximum(eye - np.minimum(distance, 0), np.float32(1e-3))
        nearer = way < share
        facing[nearer] = _FACING[wall]
        np.minimum(share, way, out=share)
    faces = _face(np.arange(0, 2 * SKIRTING_MM, _HEIGHT_STEP_MM, dtype=np.float32), mm)
    level = (np.float32(eye_height / _HEIGHT_STEP_MM) * (1 - share)).astype(np.int32)
    color = faces[np.clip(level, 0, len(faces) - 1)] * (facing * (1 - floor_left))[:, None]
    flat = light.reshape(-1, 3)
    flat[at] = flat[at] * floor_left[:, None] + color


def _face(height_mm: Image, mm_per_px: float) -> Image:
    """Colour of skirting and wall by height, shape (N,) to (N, 3)."""
    top = np.clip((height_mm - SKIRTING_MM) / (2 * mm_per_px) + 0.5, 0, 1)[:, None]
    foot = 0.75 + 0.25 * np.clip(height_mm / 25, 0, 1)[:, None]
    ledge = 1 + 0.15 * np.exp(-(((height_mm - SKIRTING_MM) / 1.5) ** 2))[:, None]
    return np.asarray((_SKIRTING * foot * (1 - top) + _WALL * top) * ledge, np.float32)
