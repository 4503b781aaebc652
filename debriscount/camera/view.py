"""The camera's view of the floor plane, a homography and a lens, and where the camera stood."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .lens import Lens


@dataclass(frozen=True, slots=True, eq=False)
class FloorToPhoto:
    """Where floor places appear in one photo.

    ``homography`` of shape (3, 3) takes floor mm to the pixels of a pinhole camera, ``lens`` those to the photo's.
    """

    homography: Floats
    lens: Lens

    def project(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Pixels (column, row) of floor places, shape (..., 2)."""
        xy = np.asarray(xy_mm, float)
        h = self.homography
        w = xy @ h[2, :2] + h[2, 2]
        return self.lens.distort((xy @ h[:2, :2].T + h[:2, 2]) / w[..., None])

    def floor_mm(self, photo_px: NDArray[np.floating]) -> Floats:
        """Floor places of pixels (column, row), shape (..., 2): the inverse of `project`."""
        flat = self.lens.undistort(photo_px)
        inverse = np.linalg.inv(self.homography)
        ray = flat @ inverse[:, :2].T + inverse[:, 2]
        return np.asarray(ray[..., :2] / ray[..., 2:])

    def px_per_mm(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Derivatives of the pixel by the floor place, shape (N, 2) to (N, 2, 2): over half a millimetre either way."""
        xy = np.asarray(xy_mm, float)
        ahead = [self.project(xy + step) - self.project(xy - step) for step in 0.5 * np.eye(2)]
        return np.asarray(np.stack(ahead, axis=-1))

    def mm_per_px(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Length of floor that one photo pixel spans at each place, shape (N, 2) to (N,), mm.

        The square root of the area ratio (determinant of the projection's Jacobian).
        """
        return np.asarray(1 / np.sqrt(np.abs(np.linalg.det(self.px_per_mm(xy_mm)))))


#: Height of a grain's middle over its diameter: debris comes to rest on its flat side and is then about 0.4 times as
#: high as wide (common practice, no source).
MIDDLE = 0.2


def camera_place(view: FloorToPhoto) -> Floats:
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


def below(x_mm: Floats, y_mm: Floats, height_mm: Floats, camera: Floats) -> tuple[Floats, Floats]:
    """Places straight below points that stand above the floor, from where they seem to lie on it.

    A point at height z is seen (h / (h - z)) times as far from the camera's foot as it stands, h being the camera's
    height; arrays of shape (N,), mm.
    """
    share = height_mm / camera[2]
    return x_mm - share * (x_mm - camera[0]), y_mm - share * (y_mm - camera[1])
