"""Where the camera stood, and where a grain seen from there really lies."""

import numpy as np
from numpy.typing import NDArray

from .view import FloorToPhoto

#: Height of a grain's middle over its diameter: debris comes to rest on its flat side and is then about 0.4 times as
#: high as wide (common practice, no source).
MIDDLE = 0.2


def camera_place(view: FloorToPhoto) -> NDArray[np.float64]:
    """Place of the camera: x, y on the floor and height above it, mm; shape (3,).

    Notes
    -----
    The homography is K [r1 r2 t] up to scale for a plane at z = 0 [1]_, K being the lens' focal lengths and principal
    point. A focal length wrong by a tenth makes the height, and so what parallax takes, wrong by a tenth.

    References
    ----------
    .. [1] Z. Zhang, A flexible new technique for camera calibration, IEEE PAMI 22 (2000) 1330-1334.
    """
    (fx, fy), (cx, cy) = view.lens.focal_px, view.lens.center_px
    inner = np.array([[1 / fx, 0, -cx / fx], [0, 1 / fy, -cy / fy], [0, 0, 1]]) @ view.homography
    scale = 2 / (np.linalg.norm(inner[:, 0]) + np.linalg.norm(inner[:, 1]))
    r1, r2, t = (scale * inner).T
    r3 = np.cross(r1, r2)
    # The nearest rotation, as noise leaves the two columns not quite at right angles.
    u, _, v = np.linalg.svd(np.stack([r1, r2, r3], axis=-1))
    place = -(u @ v).T @ t
    # The floor's z points down into it or up, as the signs fall; the camera is above it.
    return np.asarray([place[0], place[1], abs(place[2])])


def below(
    x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], height_mm: NDArray[np.float64], camera: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places straight below points that stand above the floor, from where they seem to lie on it.

    A point at height z is seen (h / (h - z)) times as far from the camera's foot as it stands, h being the camera's
    height; arrays of shape (N,), mm.
    """
    share = height_mm / camera[2]
    return x_mm - share * (x_mm - camera[0]), y_mm - share * (y_mm - camera[1])
