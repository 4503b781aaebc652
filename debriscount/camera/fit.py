"""From corners of markers to the views of all photos: a homography each and, where no lens is known, one lens.

Photos that overlap are adjusted together (bundle adjustment): what both of two show must lie at one place of the floor.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..stats.robust import robust_sd
from .least_squares import condensed, least_squares
from .lens import Lens
from .scatter import LeftOver, whitening
from .view import FloorToPhoto, camera_place

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
class Ties:
    """Things that two photos show: their pixels in either, both of shape (N, 2).

    ``first`` and ``second`` are the photos' numbers. Ties of one ``group`` stand at one height above the floor on
    average, that of debris; those without a group lie on the floor itself.
    """

    first: int
    second: int
    first_px: Floats
    second_px: Floats
    group: int | None = None


#: How high above the floor ties are on average, mm, before anything is known: half the height of coarse debris. Where
#: few markers are seen, a wider one leaves the photos' scale to the noise of the ties.
HEIGHT_PRIOR_MM = 2.0
#: A tie off by more than so many standard deviations counts no more [Tukey's biweight]; and the least they scatter, px.
FAR, LEAST_TIE_PX = 4.7, 0.05


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FittedViews:
    """Views of all shots of a run, and what is left between model and corners.

    ``residual_mm`` is the root mean square corner residual of each shot on the floor; ``residuals`` are in pixels, one
    array of shape (N, 2) a shot. ``laid_mm`` is the standard deviation with which the markers seem to be laid.
    ``spread`` holds for each shot views that are off by one standard deviation along one direction each, independent
    of one another: a square root of the fit's covariance. ``apart_mm`` has, for each set of ties, how far the floor
    places of either photo lie apart, shape (N,), once the height of what is tied is taken off.
    """

    views: tuple[FloorToPhoto, ...]
    residual_mm: tuple[float, ...]
    residuals: tuple[Floats, ...]
    laid_mm: float
    spread: tuple[tuple[FloorToPhoto, ...], ...]
    apart_mm: tuple[Floats, ...] = ()

    def place_u_mm(self, shot: int, xy_mm: NDArray[np.floating]) -> Floats:
        """Standard uncertainty of floor places in a shot, from the fit's covariance, shape (N, 2) to (N,), mm.

        That of one coordinate, root mean square over both directions. It holds what corners and the laying of the
        markers do to plane and lens together; a known lens is taken to be exact.
        """
        view = self.views[shot]
        off_px = np.stack([other.project(xy_mm) - view.project(xy_mm) for other in self.spread[shot]], axis=-1)
        off_mm = np.linalg.solve(view.px_per_mm(xy_mm), off_px)
        return np.asarray(np.sqrt((off_mm**2).sum(axis=(1, 2)) / 2))


def fit_views(
    shots: Sequence[SeenCorners],
    lens: Sequence[Lens] | None = None,
    ties: Sequence[Ties] = (),
    start: Sequence[FloorToPhoto] | None = None,
) -> FittedViews:
    """Fit a homography to each shot and, unless lenses are given, a lens shared by shots of the same size.

    Parameters
    ----------
    shots : sequence of SeenCorners
        At least two markers each; those of a marker come in one order in all of them.
    lens : sequence of Lens, optional
        Of every shot, where it is known.
    ties : sequence of Ties
        What pairs of them show both; a shot that is tied to others needs no markers of its own.
    start : sequence of FloorToPhoto, optional
        About where every shot was taken from; needed where one has no two markers.

    Returns
    -------
    FittedViews

    Notes
    -----
    Least squares on all corners together. Of a lens that is not known, one radial term and the principal point are
    found, with normal priors. A corner is off by itself and with its marker, which was laid by tape and keeps its
    shape and its place from shot to shot; how much either amounts to is estimated from the corners. So the
    shapes of the squares tell the lens even where their places are known badly.

    A tie's place on the floor is where its first photo has it, so that it takes no unknowns: its residual is how far
    from there the second photo has it. To first order that is the same as a place of its own for each [1]_. Ties are
    weighted by Tukey's biweight; their scatter is what they show.

    References
    ----------
    .. [1] B. Triggs et al., Bundle adjustment: a modern synthesis, Vision Algorithms, LNCS 1883 (2000) 298-372.
    """
    cameras = _Cameras.of(shots, lens, 1 + max((tie.group for tie in ties if tie.group is not None), default=-1))
    at = cameras.start(shots) if start is None else cameras.start_at(start)
    seen = np.concatenate([shot.photo_px.ravel() for shot in shots])
    sigma = np.concatenate([np.repeat(shot.sigma_px, 2) for shot in shots])
    reasons = _as_laid(shots, cameras.views(at))
    own, deviations = FIRST_PX, [FIRST_MM, FIRST_MM]
    floor = [shot.floor_mm for shot in shots]
    for _ in range(ROUNDS):
        weights = cameras.tie_weights(at, ties)
        whiten = whitening(np.hypot(sigma, own), reasons, deviations)

        def problem(p: Floats, whiten: Floats = whiten, weights: Floats = weights) -> tuple[Floats, Floats]:
            pixels, slopes = cameras.project(p, floor)
            prior, prior_slopes = cameras.prior(p)
            apart, apart_slopes = cameras.apart(p, ties)
            apart, apart_slopes = condensed(weights * apart, weights[:, None] * apart_slopes)
            return (
                np.concatenate([whiten @ (pixels - seen), prior, apart]),
                np.concatenate([whiten @ slopes, prior_slopes, apart_slopes]),
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
        float(np.sqrt((r**2).sum(1).mean()) * view.mm_per_px(s.floor_mm).mean()) if len(r) else 0.0
        for r, view, s in zip(residuals, views, shots, strict=True)
    )
    spread = tuple(tuple(other[k] for other in others) for k in range(len(shots)))
    return FittedViews(
        views=views,
        residual_mm=rms,
        residuals=residuals,
        laid_mm=deviations[0],
        spread=spread,
        apart_mm=cameras.apart_mm(at, ties),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Cameras:
    """How unknowns make views.

    A shot has ``_PLANE`` unknowns, the first elements of the homography from floor to ``usual`` lens' rays;
    ``to_unit`` brings the floor's places to about -1 to 1 first. After them ``_LENS`` for each lens that is not known;
    ``lens_of`` has the number of the shot's, None where it is known. Last come ``groups`` heights of ties, mm.
    """

    usual: tuple[Lens, ...]
    lens_of: tuple[int | None, ...]
    to_unit: Floats
    groups: int = 0

    @classmethod
    def of(cls, shots: Sequence[SeenCorners], lens: Sequence[Lens] | None, groups: int) -> "_Cameras":
        floor = np.concatenate([shot.floor_mm for shot in shots])
        low, high = floor.min(axis=0), floor.max(axis=0)
        scale, (x, y) = 2 / (high - low).max(), (low + high) / 2
        to_unit = np.array([[scale, 0, -scale * x], [0, scale, -scale * y], [0, 0, 1]])
        if lens is not None:
            return cls(tuple(lens), (None,) * len(shots), to_unit, groups)
        sizes = list(dict.fromkeys(shot.size_px for shot in shots))
        usual = [Lens(((w - 1) / 2, (h - 1) / 2), (FOCAL_SHARE * max(w, h),) * 2) for w, h in sizes]
        number = tuple(sizes.index(shot.size_px) for shot in shots)
        return cls(tuple(usual[n] for n in number), number, to_unit, groups)

    @property
    def planes(self) -> int:
        return _PLANE * len(self.usual)

    @property
    def lenses(self) -> int:
        return 1 + max((n for n in self.lens_of if n is not None), default=-1)

    def start(self, shots: Sequence[SeenCorners]) -> Floats:
        planes = []
        for shot, lens in zip(shots, self.usual, strict=True):
            unit = cv2.perspectiveTransform(shot.floor_mm[None], self.to_unit)[0]
            plane, _ = cv2.findHomography(unit, (lens.undistort(shot.photo_px) - lens.center_px) / lens.focal_px)
            planes.append((plane / plane[2, 2]).ravel()[:_PLANE])
        return np.concatenate([*planes, np.zeros(_LENS * self.lenses + self.groups)])

    def start_at(self, views: Sequence[FloorToPhoto]) -> Floats:
        planes = []
        for view, usual in zip(views, self.usual, strict=True):
            plane = np.linalg.inv(_to_px(usual)) @ view.homography @ np.linalg.inv(self.to_unit)
            planes.append((plane / plane[2, 2]).ravel()[:_PLANE])
        return np.concatenate([*planes, np.zeros(_LENS * self.lenses + self.groups)])

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
            views.append(FloorToPhoto(_to_px(usual) @ self._plane(p, shot) @ self.to_unit, self.lens(p, shot)))
        return tuple(views)

    def _plane(self, p: Floats, shot: int) -> Floats:
        return np.append(p[_PLANE * shot : _PLANE * (shot + 1)], 1.0).reshape(3, 3)

    def project(self, p: Floats, floor_mm: Sequence[Floats]) -> tuple[Floats, Floats]:
        """Pixel coordinates of every shot's floor places, one after the other, and their derivatives."""
        each = [self._project(p, shot, places) for shot, places in enumerate(floor_mm)]
        return (
            np.concatenate([pixels.ravel() for pixels, _ in each]),
            np.concatenate([slopes.reshape(-1, len(p)) for _, slopes in each]),
        )

    def _project(self, p: Floats, shot: int, places: Floats) -> tuple[Floats, Floats]:
        """Pixels of a shot's floor places, shape (N, 2), and their derivatives, shape (N, 2, unknowns)."""
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
        return lens.distort(flat), slope

    def apart(self, p: Floats, ties: Sequence[Ties]) -> tuple[Floats, Floats]:
        """How far the second photo has every tie from where the first one has it, px, and the derivatives."""
        views, apart, slopes = self.views(p), [np.zeros(0)], [np.zeros((0, len(p)))]
        for tie in ties:
            first, second = views[tie.first], views[tie.second]
            place = first.floor_mm(tie.first_px)
            rise = _leaning(second, place) - _leaning(first, place)
            height = None if tie.group is None else len(p) - self.groups + tie.group
            there = place if height is None else place + p[height] * rise
            pixels, by_second = self._project(p, tie.second, there)
            _, by_first = self._project(p, tie.first, place)
            by_place = second.px_per_mm(there)
            slope = by_second - by_place @ np.linalg.solve(first.px_per_mm(place), by_first)
            if height is not None:
                slope[:, :, height] = (by_place @ rise[..., None])[..., 0]
            apart.append((pixels - tie.second_px).ravel())
            slopes.append(slope.reshape(-1, len(p)))
        return np.concatenate(apart), np.concatenate(slopes)

    def tie_weights(self, p: Floats, ties: Sequence[Ties]) -> Floats:
        """Weight of every coordinate of the ties: one over their scatter, less the farther one is off."""
        apart = self.apart(p, ties)[0].reshape(-1, 2)
        if not len(apart):
            return np.zeros(0)
        scatter = max(robust_sd(apart.ravel(), 0.0), LEAST_TIE_PX)
        far = np.minimum(np.hypot(*apart.T) / (FAR * scatter), 1)
        return np.repeat((1 - far**2) / scatter, 2)

    def apart_mm(self, p: Floats, ties: Sequence[Ties]) -> tuple[Floats, ...]:
        """How far apart the two photos of every tie have it on the floor, mm, each of shape (N,)."""
        views, found, begin = self.views(p), [], 0
        apart = self.apart(p, ties)[0].reshape(-1, 2)
        for tie in ties:
            end = begin + len(tie.first_px)
            scale = views[tie.second].mm_per_px(views[tie.second].floor_mm(tie.second_px))
            found.append(np.hypot(*apart[begin:end].T) * scale)
            begin = end
        return tuple(found)

    def prior(self, p: Floats) -> tuple[Floats, Floats]:
        """How far unknowns of lenses and heights are from what is likely, in standard deviations; derivatives."""
        of_lens = np.tile([1 / K1_PRIOR, FOCAL_SHARE / CENTER_PRIOR, FOCAL_SHARE / CENTER_PRIOR], self.lenses)
        weight = np.concatenate([of_lens, np.full(self.groups, 1 / HEIGHT_PRIOR_MM)])
        slopes = np.hstack([np.zeros((len(weight), self.planes)), np.diag(weight)])
        return slopes @ p, slopes


def _to_px(lens: Lens) -> Floats:
    """From a lens' rays to the pixels of a pinhole camera, shape (3, 3)."""
    (fx, fy), (cx, cy) = lens.focal_px, lens.center_px
    return np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]])


def _leaning(view: FloorToPhoto, places_mm: Floats) -> Floats:
    """How far a point above each floor place seems to lie from it for each mm that it is high, shape (N, 2)."""
    x, y, height = camera_place(view)
    return np.asarray((places_mm - (x, y)) / height)


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
