"""From corners of markers to the views of all shots: a homography each and, where no lens is known, one lens."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from .least_squares import least_squares
from .lens import Lens
from .scatter import LeftOver, whitening
from .view import FloorToPhoto

#: Prior standard deviation of the radial term k1: what is left after a phone's own correction, and
#: a plain lens of moderate width (common practice, no source).
K1_PRIOR = 0.05
#: The same of the principal point's place, over the long side of the photo: stabilised lenses sit a percent of it off
#: the middle (common practice, no source).
CENTER_PRIOR = 0.01
#: Focal length over the long side of the photo for a main camera of 27 mm (35 mm equivalent): it
#: only scales k1 and its prior, and the height of the camera.
FOCAL_SHARE = 0.75
#: What corners are off by at first: each by itself, px; and with its marker as that was laid, or with all as they were
#: printed, mm. The least is far below what can be measured and keeps the figures from running out.
FIRST_PX, FIRST_MM, LEAST = 0.1, 0.1, 1e-3
#: A tape measure places a marker to about a millimetre (common practice, no source); were more allowed, the places of
#: three markers would say nothing beside their shapes.
MOST_LAID_MM = 1.5
#: Fits, each with the scatter that the last one left; more change it by less than it is known.
ROUNDS = 5
#: Unknowns of a homography; those of a lens are k1 and the centre's two coordinates.
_PLANE, _LENS = 8, 3


@dataclass(frozen=True, slots=True, eq=False)
class SeenCorners:
    """Corners of one photo's markers, four by four: floor places, pixels (both (N, 2)) and their uncertainty (N,)."""

    floor_mm: Floats
    photo_px: Floats
    sigma_px: Floats
    size_px: tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FittedViews:
    """Views of all shots of a run, and what is left between model and corners.

    ``residual_mm`` is the root mean square corner residual of each shot on the floor; ``residuals`` are in pixels, one
    array of shape (N, 2) a shot. ``laid_mm`` is the standard deviation with which the markers seem to be laid.
    ``spread`` holds for each shot views that are off by one standard deviation along one direction each, independent
    of one another: a square root of the fit's covariance.
    """

    views: tuple[FloorToPhoto, ...]
    residual_mm: tuple[float, ...]
    residuals: tuple[Floats, ...]
    laid_mm: float
    spread: tuple[tuple[FloorToPhoto, ...], ...]

    def place_u_mm(self, shot: int, xy_mm: NDArray[np.floating]) -> Floats:
        """Standard uncertainty of floor places in a shot, from the fit's covariance, shape (N, 2) to (N,), mm.

        That of one coordinate, root mean square over both directions. It holds what corners and the laying of the
        markers do to plane and lens together; a known lens is taken to be exact.
        """
        view = self.views[shot]
        off_px = np.stack([other.project(xy_mm) - view.project(xy_mm) for other in self.spread[shot]], axis=-1)
        off_mm = np.linalg.solve(view.px_per_mm(xy_mm), off_px)
        return np.asarray(np.sqrt((off_mm**2).sum(axis=(1, 2)) / 2))


def fit_views(shots: Sequence[SeenCorners], lens: Sequence[Lens] | None = None) -> FittedViews:
    """Fit a homography to each shot and, unless lenses are given, a lens shared by shots of the same size.

    Parameters
    ----------
    shots : sequence of SeenCorners
        At least two markers each; those of a marker come in one order in all of them.
    lens : sequence of Lens, optional
        Of every shot, where it is known.

    Returns
    -------
    FittedViews

    Notes
    -----
    Least squares on all corners together. Of a lens that is not known, one radial term and the principal point are
    found, with normal priors. A corner is off by itself and with its marker, which was laid by tape and keeps its
    shape and its place from shot to shot; how much either amounts to is estimated from the corners. So the
    shapes of the squares tell the lens even where their places are known badly.
    """
    cameras = _Cameras.of(shots, lens)
    at, seen = cameras.start(shots), np.concatenate([shot.photo_px.ravel() for shot in shots])
    sigma = np.concatenate([np.repeat(shot.sigma_px, 2) for shot in shots])
    reasons = _as_laid(shots, cameras.views(at))
    own, deviations = FIRST_PX, [FIRST_MM, FIRST_MM]
    floor = [shot.floor_mm for shot in shots]
    for _ in range(ROUNDS):
        whiten = whitening(np.hypot(sigma, own), reasons, deviations)

        def problem(p: Floats, whiten: Floats = whiten) -> tuple[Floats, Floats]:
            pixels, slopes = cameras.project(p, floor)
            prior, prior_slopes = cameras.prior(p)
            return (
                np.concatenate([whiten @ (pixels - seen), prior]),
                np.concatenate([whiten @ slopes, prior_slopes]),
            )

        found = least_squares(problem, at)
        at = found.at
        left = LeftOver.of(whiten, found.residuals, found.jacobian)
        own = max(own * left.by_themselves(), LEAST)
        laid, printed = (max(d * left.together(moves), LEAST) for d, moves in zip(deviations, reasons, strict=True))
        deviations = [min(laid, MOST_LAID_MM), printed]
    views = cameras.views(at)
    # With J = Q R the covariance is the inverse of RᵀR, whose root is the inverse of R.
    root = np.linalg.inv(np.linalg.qr(found.jacobian)[1])
    others = [cameras.views(at + column) for column in root.T]
    residuals = tuple(view.project(s.floor_mm) - s.photo_px for view, s in zip(views, shots, strict=True))
    rms = tuple(
        float(np.sqrt((r**2).sum(1).mean()) * view.mm_per_px(s.floor_mm).mean())
        for r, view, s in zip(residuals, views, shots, strict=True)
    )
    spread = tuple(tuple(other[k] for other in others) for k in range(len(shots)))
    return FittedViews(views=views, residual_mm=rms, residuals=residuals, laid_mm=deviations[0], spread=spread)


@dataclass(frozen=True, slots=True, eq=False)
class _Cameras:
    """How unknowns make views.

    A shot has ``_PLANE`` unknowns, the first elements of the homography from floor to ``usual`` lens' rays;
    ``to_unit`` brings the floor's places to about -1 to 1 first. After them ``_LENS`` for each lens that is not known;
    ``lens_of`` has the number of the shot's, None where it is known.
    """

    usual: tuple[Lens, ...]
    lens_of: tuple[int | None, ...]
    to_unit: Floats

    @classmethod
    def of(cls, shots: Sequence[SeenCorners], lens: Sequence[Lens] | None) -> "_Cameras":
        floor = np.concatenate([shot.floor_mm for shot in shots])
        low, high = floor.min(axis=0), floor.max(axis=0)
        scale, (x, y) = 2 / (high - low).max(), (low + high) / 2
        to_unit = np.array([[scale, 0, -scale * x], [0, scale, -scale * y], [0, 0, 1]])
        if lens is not None:
            return cls(tuple(lens), (None,) * len(shots), to_unit)
        sizes = list(dict.fromkeys(shot.size_px for shot in shots))
        usual = [Lens(((w - 1) / 2, (h - 1) / 2), (FOCAL_SHARE * max(w, h),) * 2) for w, h in sizes]
        number = tuple(sizes.index(shot.size_px) for shot in shots)
        return cls(tuple(usual[n] for n in number), number, to_unit)

    @property
    def planes(self) -> int:
        return _PLANE * len(self.usual)

    def start(self, shots: Sequence[SeenCorners]) -> Floats:
        lenses = 1 + max((n for n in self.lens_of if n is not None), default=-1)
        planes = []
        for shot, lens in zip(shots, self.usual, strict=True):
            unit = cv2.perspectiveTransform(shot.floor_mm[None], self.to_unit)[0]
            plane, _ = cv2.findHomography(unit, (lens.undistort(shot.photo_px) - lens.center_px) / lens.focal_px)
            planes.append((plane / plane[2, 2]).ravel()[:_PLANE])
        return np.concatenate([*planes, np.zeros(_LENS * lenses)])

    def lens(self, p: Floats, shot: int) -> Lens:
        usual, number = self.usual[shot], self.lens_of[shot]
        if number is None:
            return usual
        k1, x, y = p[self.planes + _LENS * number :][:_LENS]
        center, focal = usual.center_px, usual.focal_px
        return Lens((center[0] + focal[0] * float(x), center[1] + focal[1] * float(y)), focal, (float(k1), 0.0, 0.0))

    def views(self, p: Floats) -> tuple[FloorToPhoto, ...]:
        views = []
        for shot, usual in enumerate(self.usual):
            (fx, fy), (cx, cy) = usual.focal_px, usual.center_px
            to_px = np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]])
            views.append(FloorToPhoto(to_px @ self._plane(p, shot) @ self.to_unit, self.lens(p, shot)))
        return tuple(views)

    def _plane(self, p: Floats, shot: int) -> Floats:
        return np.append(p[_PLANE * shot : _PLANE * (shot + 1)], 1.0).reshape(3, 3)

    def project(self, p: Floats, floor_mm: Sequence[Floats]) -> tuple[Floats, Floats]:
        """Pixel coordinates of every shot's floor places, one after the other, and their derivatives."""
        pixels, slopes = [], []
        for shot, places in enumerate(floor_mm):
            lens, usual, number = self.lens(p, shot), self.usual[shot], self.lens_of[shot]
            unit = np.column_stack([places, np.ones(len(places))]) @ self.to_unit.T
            behind = unit @ self._plane(p, shot).T
            ray, unit = behind[:, :2] / behind[:, 2:], unit / behind[:, 2:]
            flat = usual.center_px + ray * usual.focal_px
            by_flat = lens.slopes(flat)
            by_plane = np.zeros((len(places), 2, _PLANE))
            by_plane[:, 0, :3] = by_plane[:, 1, 3:6] = unit
            by_plane[:, :, 6:] = -ray[:, :, None] * unit[:, None, :2]
            slope = np.zeros((len(places), 2, len(p)))
            slope[:, :, _PLANE * shot : _PLANE * (shot + 1)] = by_flat @ (np.array(usual.focal_px)[:, None] * by_plane)
            if number is not None:
                first = self.planes + _LENS * number
                u = (flat - lens.center_px) / lens.focal_px
                slope[:, :, first] = lens.focal_px * u * (u**2).sum(axis=1, keepdims=True)
                slope[:, :, first + 1 : first + _LENS] = (np.eye(2) - by_flat) * usual.focal_px
            pixels.append(lens.distort(flat).ravel())
            slopes.append(slope.reshape(-1, len(p)))
        return np.concatenate(pixels), np.concatenate(slopes)

    def prior(self, p: Floats) -> tuple[Floats, Floats]:
        """How far each unknown of a lens is from what is likely, in standard deviations, and the derivatives."""
        lenses = (len(p) - self.planes) // _LENS
        weight = np.tile([1 / K1_PRIOR, FOCAL_SHARE / CENTER_PRIOR, FOCAL_SHARE / CENTER_PRIOR], lenses)
        slopes = np.hstack([np.zeros((len(weight), self.planes)), np.diag(weight)])
        return slopes @ p, slopes


def _as_laid(shots: Sequence[SeenCorners], views: Sequence[FloorToPhoto]) -> tuple[Floats, Floats]:
    """What markers laid askew and printed too large do to all coordinates, in units that move corners by a millimetre.

    Shape (N, 3 markers), px: each marker moved along x, along y, and turned; it is off in the same way in all shots.
    Shape (N, 1), px: all markers larger, as one printer makes them.
    """
    quads = np.concatenate([shot.floor_mm.reshape(-1, 4, 2) for shot in shots])
    slopes = np.concatenate([v.px_per_mm(s.floor_mm) for v, s in zip(views, shots, strict=True)]).reshape(-1, 4, 2, 2)
    _, marker = np.unique(np.round(quads.reshape(len(quads), -1), 3), axis=0, return_inverse=True)
    own = np.eye(int(marker.max()) + 1)[np.ravel(marker)]
    outward = quads - quads.mean(axis=1, keepdims=True)
    outward /= np.linalg.norm(outward, axis=-1, keepdims=True)
    turned = np.stack([-outward[..., 1], outward[..., 0]], axis=-1)
    along_x, along_y = np.broadcast_to(np.eye(2)[:, None, None, :], (2, *quads.shape))
    laid = np.einsum("qcab,wqcb,qm->qcawm", slopes, np.stack([along_x, along_y, turned]), own)
    larger = np.einsum("qcab,qcb->qca", slopes, outward)
    return laid.reshape(8 * len(quads), -1), larger.reshape(-1, 1)
