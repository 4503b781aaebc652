"""The camera's view of the floor plane: a homography and a lens."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .lens import Lens


@dataclass(frozen=True, slots=True, eq=False)
class FloorToPhoto:
    """Where floor places appear in one photo.

    ``homography`` of shape (3, 3) takes floor mm to the pixels of a pinhole camera, ``lens`` those to the photo's.
    """

    homography: NDArray[np.float64]
    lens: Lens

    def project(self, xy_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Pixels (column, row) of floor places, shape (..., 2)."""
        xy = np.asarray(xy_mm, float)
        h = self.homography
        w = xy @ h[2, :2] + h[2, 2]
        return self.lens.distort((xy @ h[:2, :2].T + h[:2, 2]) / w[..., None])

    def floor_mm(self, photo_px: NDArray[np.floating]) -> NDArray[np.float64]:
        """Floor places of pixels (column, row), shape (..., 2): the inverse of `project`."""
        flat = self.lens.undistort(photo_px)
        inverse = np.linalg.inv(self.homography)
        ray = flat @ inverse[:, :2].T + inverse[:, 2]
        return np.asarray(ray[..., :2] / ray[..., 2:])

    def px_per_mm(self, xy_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Derivatives of the pixel by the floor place, shape (N, 2) to (N, 2, 2): over half a millimetre either way."""
        xy = np.asarray(xy_mm, float)
        ahead = [self.project(xy + step) - self.project(xy - step) for step in 0.5 * np.eye(2)]
        return np.asarray(np.stack(ahead, axis=-1))

    def mm_per_px(self, xy_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Length of floor that one photo pixel spans at each place, shape (N, 2) to (N,), mm.

        The square root of the area ratio (determinant of the projection's Jacobian).
        """
        return np.asarray(1 / np.sqrt(np.abs(np.linalg.det(self.px_per_mm(xy_mm)))))
