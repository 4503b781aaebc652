"""The camera's view of the floor plane: a homography and one radial lens term."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

#: Prior standard deviation of the radial term k1: what is left after a phone's own correction, and
#: a plain lens of moderate width (common practice, no source).
K1_PRIOR = 0.05
#: Focal length over the long side of the photo for a main camera of 27 mm (35 mm equivalent): it
#: only scales k1 and its prior.
FOCAL_SHARE = 0.75


@dataclass(frozen=True, slots=True, eq=False)
class FloorToPhoto:
    """Where floor places appear in one photo.

    ``homography`` of shape (3, 3) takes floor mm to pixels of a photo without distortion; a point
    at u = (p - centre) / focal then moves to centre + focal * u * (1 + k1 |u|^2).
    """

    homography: NDArray[np.float64]
    center_px: tuple[float, float]
    focal_px: float
    k1: float

    def project(self, xy_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Pixels (column, row) of floor places, shape (..., 2)."""
        xy = np.asarray(xy_mm, float)
        h = self.homography
        w = xy @ h[2, :2] + h[2, 2]
        flat = (xy @ h[:2, :2].T + h[:2, 2]) / w[..., None]
        u = (flat - self.center_px) / self.focal_px
        return np.asarray(self.center_px + self.focal_px * u * (1 + self.k1 * (u**2).sum(-1, keepdims=True)))

    def mm_per_px(self, xy_mm: NDArray[np.floating]) -> NDArray[np.float64]:
        """Length of floor that one photo pixel spans at each place, shape (N, 2) to (N,), mm.

        The square root of the area ratio (determinant of the projection's Jacobian).
        """
        xy = np.asarray(xy_mm, float)
        half_x, half_y = np.array([0.5, 0]), np.array([0, 0.5])
        dx = self.project(xy + half_x) - self.project(xy - half_x)
        dy = self.project(xy + half_y) - self.project(xy - half_y)
        area = np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0])
        return 1 / np.sqrt(area)


def undistort(pixels: NDArray[np.float64], center: NDArray[np.float64], focal: float, k1: float) -> NDArray[np.float64]:
    """Invert the radial term by fixed-point iteration; shape (N, 2)."""
    distorted = (pixels - center) / focal
    u = distorted
    for _ in range(12):
        u = distorted / (1 + k1 * (u**2).sum(-1, keepdims=True))
    return np.asarray(center + focal * u)


@dataclass(frozen=True, slots=True, eq=False)
class SeenCorners:
    """Corners of one photo's markers: floor places, pixels (both (N, 2)) and their uncertainty (N,)."""

    floor_mm: NDArray[np.float64]
    photo_px: NDArray[np.float64]
    sigma_px: NDArray[np.float64]
    size_px: tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class FittedViews:
    """Views of all shots of a run, and what is left between model and corners.

    ``residual_mm`` and ``worst_mm`` are the root mean square and the largest corner residual of
    each shot on the floor.
    """

    views: tuple[FloorToPhoto, ...]
    residual_mm: tuple[float, ...]
    residuals: tuple[NDArray[np.float64], ...]


def fit_views(shots: Sequence[SeenCorners]) -> FittedViews:
    """Fit a homography to each shot and one radial term shared by shots of the same size.

    Parameters
    ----------
    shots : sequence of SeenCorners
        At least four corners each, not all on one line.

    Returns
    -------
    FittedViews
        ``residuals`` are in pixels, one array of shape (N, 2) a shot.

    Notes
    -----
    Least squares on all corners, weighted by their uncertainty, with a normal prior on k1; one
    camera takes all shots of a run, so they share the term. Where corners disagree with the patch
    file by more than their own uncertainty (markers laid by tape), that scatter is the weight, so
    that misplaced markers do not pass for lens distortion.
    """
    groups: dict[tuple[int, int], list[int]] = {}
    for index, shot in enumerate(shots):
        groups.setdefault(shot.size_px, []).append(index)
    views: dict[int, FloorToPhoto] = {}
    for members in groups.values():
        fitted = _fit_group([shots[i] for i in members])
        views.update(zip(members, fitted, strict=True))
    ordered = tuple(views[i] for i in range(len(shots)))
    residuals = tuple(view.project(s.floor_mm) - s.photo_px for view, s in zip(ordered, shots, strict=True))
    rms = tuple(
        float(np.sqrt((r**2).sum(1).mean()) * view.mm_per_px(s.floor_mm).mean())
        for r, view, s in zip(residuals, ordered, shots, strict=True)
    )
    return FittedViews(ordered, rms, residuals)


def _fit_group(shots: Sequence[SeenCorners]) -> list[FloorToPhoto]:
    width, height = shots[0].size_px
    center = np.array([(width - 1) / 2, (height - 1) / 2])
    focal = FOCAL_SHARE * max(width, height)
    floor = np.concatenate([s.floor_mm for s in shots])
    box = np.array(
        [[floor[:, 0].min(), floor[:, 1].min()], [floor[:, 0].max(), floor[:, 1].min()],
         [floor[:, 0].max(), floor[:, 1].max()], [floor[:, 0].min(), floor[:, 1].max()]]
    )  # fmt: skip

    def build(p: NDArray[np.float64]) -> list[FloorToPhoto]:
        quads = p[1:].reshape(-1, 4, 2)
        return [
            FloorToPhoto(
                _homography(box, q),
                (float(center[0]), float(center[1])),
                focal,
                float(p[0]),
            )
            for q in quads
        ]

    def start_quad(s: SeenCorners) -> NDArray[np.float64]:
        h, _ = cv2.findHomography(s.floor_mm, s.photo_px)
        return np.asarray(cv2.perspectiveTransform(box[None], h)[0], float)

    start = np.concatenate([[0.0], *[start_quad(s).ravel() for s in shots]])
    scatter = 0.0
    for _ in range(2):
        weights = [1 / np.sqrt(s.sigma_px**2 + scatter**2)[:, None] for s in shots]

        def errors(p: NDArray[np.float64], weights: list[NDArray[np.float64]] = weights) -> NDArray[np.float64]:
            parts = [
                ((view.project(s.floor_mm) - s.photo_px) * w).ravel()
                for view, s, w in zip(build(p), shots, weights, strict=True)
            ]
            return np.concatenate([*parts, [p[0] / K1_PRIOR]])

        solution = least_squares(errors, start, x_scale=np.concatenate([[0.01], np.ones(len(start) - 1)]))
        start = solution.x
        raw = np.concatenate(
            [(view.project(s.floor_mm) - s.photo_px).ravel() for view, s in zip(build(start), shots, strict=True)]
        )
        freedom = max(len(raw) - len(start), 1)
        scatter = float(np.sqrt((raw**2).sum() / freedom))
    return build(start)


def _homography(source: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64]:
    """Exact homography through four points in double precision."""
    rows = []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    h = np.linalg.solve(np.array(rows), target.ravel())
    return np.append(h, 1.0).reshape(3, 3)
