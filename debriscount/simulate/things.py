"""Things that stand in a room and hide floor in every shot: seen from above, as flat as their outlines."""

import cv2
import numpy as np

from ..arrays import Image
from ..inputs.patch import Patch
from .pose import Pose

#: Linear reflectance of stained wood; invented.
_WOOD = np.array([0.20, 0.11, 0.06], np.float32)
#: Corners are given to OpenCV in steps of so many bits of a pixel.
_BITS = 4


def draw_things(light: Image, patch: Patch, pose: Pose) -> None:
    """Draw what is no floor over a picture in linear light, in place.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Floor and grains.
    patch : Patch
        Its polygons that are no floor.
    pose : Pose
        The camera.
    """
    for thing in patch.not_floor:
        corners = np.array(thing.polygon_mm)
        # Straight sides bend a little in the photo: a point every twentieth of a side follows them.
        share = np.linspace(0, 1, 20, endpoint=False)[:, None]
        sides = [a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
        outline = np.rint(pose.view.project(np.concatenate(sides)) * 2**_BITS)
        if np.abs(outline).max() > 2**30:  # far outside of the photo, beyond what OpenCV can draw
            continue
        covered = np.zeros(light.shape[:2], np.uint8)
        cv2.fillPoly(covered, [outline.astype(np.int32)], (255,), cv2.LINE_AA, _BITS)
        light += (covered.astype(np.float32) / 255)[..., None] * (_WOOD - light)
