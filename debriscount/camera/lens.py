"""A lens: where a pinhole camera's pixels really appear, and back."""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats

#: Where a radial polynomial squeezes lengths along the radius to this share of what they are in the middle, it is about
#: to turn back; no lens does that inside its picture.
SQUEEZED = 0.1
#: Steps at most; they end once no point is off by more than ``_CLOSE`` focal lengths, far ones by that share.
_STEPS, _CLOSE = 100, 1e-14
#: A polynomial that holds that many focal lengths from the centre holds everywhere.
_FARTHEST = 1e4


@dataclass(frozen=True, slots=True)
class Lens:
    """A camera's inner geometry in the pixels of one photo; pixel centres lie at whole numbers.

    What a pinhole camera sees at (x, y) = (pixel - centre) / focal length, r from the centre, is moved to

    x (1 + k1 r² + k2 r⁴ + k3 r⁶) + 2 p1 x y + p2 (r² + 2 x²),
    y (1 + k1 r² + k2 r⁴ + k3 r⁶) + p1 (r² + 2 y²) + 2 p2 x y:

    radial and decentering distortion after Brown [1]_, as OpenCV's ``projectPoints`` has them. ``radial`` is k1, k2
    and k3, ``tangential`` p1 and p2.

    Notes
    -----
    The polynomial turns back somewhere, and two places would share a pixel. ``reach`` is the radius up to which it is
    used, in focal lengths, shortly before; beyond, the radius grows on at the same slope, so that every place has a
    pixel of its own.

    References
    ----------
    .. [1] D. C. Brown, Close-range camera calibration, Photogrammetric Engineering 37 (1971) 855-866.
    """

    center_px: tuple[float, float]
    focal_px: tuple[float, float]
    radial: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tangential: tuple[float, float] = (0.0, 0.0)
    reach: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Work out how far the polynomial carries."""
        k1, k2, k3 = self.radial
        # The first radius at which the slope 1 + 3 k1 r² + 5 k2 r⁴ + 7 k3 r⁶ has fallen that far, by t = 1 / r².
        if k2 == k3 == 0:  # most lenses, of which a fit makes hundreds
            t = -3 * k1 / (1 - SQUEEZED)
        else:
            roots = np.roots([1 - SQUEEZED, 3 * k1, 5 * k2, 7 * k3])
            t = float(roots.real[np.abs(roots.imag) <= 1e-9 * np.abs(roots)].max(initial=0.0))
        object.__setattr__(self, "reach", t**-0.5 if t > _FARTHEST**-2 else np.inf)

    @property
    def k1(self) -> float:
        """The first radial term."""
        return self.radial[0]

    def distort(self, flat_px: NDArray[np.floating]) -> Floats:
        """Pixels of the photo for those of a pinhole camera, shape (..., 2)."""
        return np.asarray(self.center_px + self.focal_px * self._moved(self._rays(flat_px)))

    def undistort(self, photo_px: NDArray[np.floating]) -> Floats:
        """Pixels of a pinhole camera for those of the photo, shape (..., 2): the inverse of `distort`.

        The radius is undone by Newton's method between bounds, the small tangential part by repetition. NaN where
        that does not converge, which takes tangential terms that no lens has.
        """
        seen = self._rays(photo_px)
        u = self._undone_along_radius(seen)
        if self.tangential != (0.0, 0.0):
            with np.errstate(over="ignore", invalid="ignore"):
                for _ in range(_STEPS):
                    last, u = u, self._undone_along_radius(seen - self._sideways(u))
                    if not (np.abs(u - last) > 100 * _CLOSE * (1 + np.abs(u))).any():
                        break
                u[~(np.abs(u - last) < 1e-9 * (1 + np.abs(u))).all(axis=-1)] = np.nan
        return np.asarray(self.center_px + self.focal_px * u)

    def slopes(self, flat_px: NDArray[np.floating]) -> Floats:
        """Derivatives of `distort` by both coordinates, shape (..., 2, 2)."""
        focal = np.array(self.focal_px)
        return np.asarray(self._slopes(self._rays(flat_px)) * focal[:, None] / focal)

    def turned(self, clockwise_deg: int, size_px: tuple[int, int]) -> "Lens":
        """The lens of a photo of width and height ``size_px`` once that is turned by quarters of a circle."""
        lens, (width, height) = self, size_px
        for _ in range(clockwise_deg // 90 % 4):
            (x, y), (fx, fy), (p1, p2) = lens.center_px, lens.focal_px, lens.tangential
            # Column x, row y comes to column height - 1 - y, row x.
            lens = Lens((height - 1 - y, x), (fy, fx), lens.radial, (p2, -p1))
            width, height = height, width
        return lens

    def scaled(self, share: float) -> "Lens":
        """The lens of the same photo made larger or smaller."""
        x, y = ((c + 0.5) * share - 0.5 for c in self.center_px)
        fx, fy = (f * share for f in self.focal_px)
        return replace(self, center_px=(x, y), focal_px=(fx, fy))

    def _rays(self, pixels: NDArray[np.floating]) -> Floats:
        return np.asarray((np.asarray(pixels, float) - self.center_px) / self.focal_px)

    def _radius_after(self, r: Floats) -> tuple[Floats, Floats]:
        """Where the radial part moves a radius to, and its slope."""
        k1, k2, k3 = self.radial
        s = np.minimum(r, self.reach) ** 2
        slope = 1 + s * (3 * k1 + s * (5 * k2 + s * 7 * k3))
        inner = np.minimum(r, self.reach) * (1 + s * (k1 + s * (k2 + s * k3)))
        return inner + slope * np.maximum(r - self.reach, 0) if np.isfinite(self.reach) else inner, slope

    def _radius_before(self, moved: Floats) -> Floats:
        """Undo `_radius_after`, which ascends: Newton's method, halving bounds where that leaves them or is slow."""
        low, high = np.zeros_like(moved), moved / SQUEEZED
        r, last = moved, high
        for _ in range(_STEPS):
            there, slope = self._radius_after(r)
            off = there - moved
            if not (np.abs(off) > _CLOSE * (1 + moved)).any():
                break
            high, low = np.where(off > 0, r, high), np.where(off > 0, low, r)
            ahead = r - off / slope
            halved = (ahead < low) | (ahead > high) | (np.abs(ahead - r) > last / 2)
            ahead = np.where(halved & (off != 0), (low + high) / 2, ahead)
            r, last = ahead, np.abs(ahead - r)
        return r

    def _undone_along_radius(self, moved: Floats) -> Floats:
        far = np.hypot(moved[..., 0], moved[..., 1])
        return moved * np.divide(self._radius_before(far), far, out=np.ones_like(far), where=far > 0)[..., None]

    def _moved(self, u: Floats) -> Floats:
        r = np.hypot(u[..., 0], u[..., 1])
        share = np.divide(self._radius_after(r)[0], r, out=np.ones_like(r), where=r > 0)
        return np.asarray(u * share[..., None] + self._sideways(u))

    def _sideways(self, u: Floats) -> Floats:
        """The tangential part; beyond ``reach`` it is what it is there."""
        u, _ = self._within_reach(u)
        x, y = u[..., 0], u[..., 1]
        p1, p2 = self.tangential
        square = x * x + y * y
        return np.stack(
            [2 * p1 * x * y + p2 * (square + 2 * x * x), p1 * (square + 2 * y * y) + 2 * p2 * x * y], axis=-1
        )

    def _within_reach(self, u: Floats) -> tuple[Floats, Floats]:
        """Points drawn in along the radius to ``reach`` at most, and their distances before that."""
        r = np.hypot(u[..., 0], u[..., 1])
        return u * np.divide(self.reach, r, out=np.ones_like(r), where=r > self.reach)[..., None], r

    def _slopes(self, u: Floats) -> Floats:
        """Derivatives of `_moved`, shape (..., 2, 2)."""
        v, r = self._within_reach(u)
        after, slope = self._radius_after(r)
        share = np.divide(after, r, out=np.ones_like(r), where=r > 0)
        along = np.divide(u, r[..., None], out=np.zeros_like(u), where=r[..., None] > 0)
        radial = along[..., :, None] * along[..., None, :]
        x, y = v[..., 0], v[..., 1]
        p1, p2 = self.tangential
        crossed = 2 * (p1 * x + p2 * y)
        rows = [[2 * p1 * y + 6 * p2 * x, crossed], [crossed, 6 * p1 * y + 2 * p2 * x]]
        sideways = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
        beyond = r > self.reach
        drawn_in = np.eye(2) - beyond[..., None, None] * radial
        drawn_in = drawn_in * np.divide(self.reach, r, out=np.ones_like(r), where=beyond)[..., None, None]
        along_both = share[..., None, None] * np.eye(2) + (slope - share)[..., None, None] * radial
        return np.asarray(along_both + sideways @ drawn_in)
