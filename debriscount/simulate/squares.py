"""The printed squares in a photo, each pixel averaged exactly over its own footprint."""

import cv2
import numpy as np

from ..arrays import Floats, Image
from ..inputs.patch import Marker, Patch
from ..layout.paper import MODULES, QUIET_MODULES
from .pose import Pose

#: Linear reflectance of printer's black and of paper (from memory).
BLACK, PAPER = 0.035, 0.82


def draw_markers(light: Image, patch: Patch, pose: Pose, floor_x: Image, floor_y: Image) -> None:
    """Draw a patch's markers into a picture in linear light, in place.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        The floor without them.
    patch : Patch
        Its markers.
    pose : Pose
        The camera.
    floor_x, floor_y : ndarray of float32, shape (H, W)
        Floor place of each pixel, mm.
    """
    for marker in patch.markers:
        _draw_marker(light, marker, pose, floor_x, floor_y)


def _draw_marker(light: Image, marker: Marker, pose: Pose, floor_x: Image, floor_y: Image) -> None:
    half = marker.side_mm * (0.5 + QUIET_MODULES / MODULES)
    seen = pose.view.project(marker.box_mm(half))
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 3, pose.size_px)
    if (high <= low).any():
        return
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    module = marker.side_mm / MODULES
    places = np.stack([floor_x[window].ravel(), floor_y[window].ravel()], axis=1).astype(float)
    places = marker.from_center_mm(places) / module + MODULES / 2 + 1
    # A pixel's footprint as a square along the marker's axes: symmetric, so that edges stay where they are.
    width = pose.mm_per_px(marker.center_mm) / module
    ink, sheet = _footprint_means(places, width, _modules(marker.id))
    box = light[window]
    value = (PAPER + (BLACK - PAPER) * ink).reshape(box.shape[:2]).astype(np.float32)[..., None]
    box += sheet.reshape(box.shape[:2]).astype(np.float32)[..., None] * (value - box)


def _modules(number: int) -> Floats:
    """Ink of each module with one ring of paper, shape (8, 8): 1 is black."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    image = cv2.aruco.generateImageMarker(dictionary, number, MODULES)
    return np.pad(1 - image / 255.0, 1)


def _footprint_means(places: Floats, width: float, ink: Floats) -> tuple[Floats, Floats]:
    """Mean ink of each footprint (where it is on the paper), and the share of it on the paper.

    Interpolating the summed-area table of a piecewise constant picture is exact.
    """
    table = np.pad(ink.cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    low, high = places - width / 2, places + width / 2

    def below(x: Floats, y: Floats) -> Floats:
        size = len(ink)
        x, y = np.clip(x, 0, size), np.clip(y, 0, size)
        i, j = np.minimum(x.astype(int), size - 1), np.minimum(y.astype(int), size - 1)
        u, v = x - i, y - j
        top = (1 - u) * table[j, i] + u * table[j, i + 1]
        return np.asarray((1 - v) * top + v * ((1 - u) * table[j + 1, i] + u * table[j + 1, i + 1]))

    (x0, y0), (x1, y1) = low.T, high.T
    mean = (below(x1, y1) - below(x0, y1) - below(x1, y0) + below(x0, y0)) / width**2
    edges = (1 - QUIET_MODULES, 1 + MODULES + QUIET_MODULES)
    spans = [np.clip(np.minimum(high[:, k], edges[1]) - np.maximum(low[:, k], edges[0]), 0, None) for k in (0, 1)]
    share = spans[0] * spans[1] / width**2
    return np.clip(mean / np.maximum(share, 1e-9), 0, 1), share
