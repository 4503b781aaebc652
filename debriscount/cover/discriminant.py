"""Cover of a pixel: its place on the line from floor to debris, in the metric of what disturbs it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from .floor import UNMATCHED
from .noise import FloorNoise

#: Shade takes between nothing and about two thirds of the light from a floor under broad lamps and room
#: light; evenly spread over that range its standard deviation is 0.65 / sqrt(12).
SHADE = 0.65 / np.sqrt(12)
#: Light that is left unmatched brightens a floor much less: a tenth of the light at most, evenly spread.
SHEEN = UNMATCHED / np.sqrt(12)
#: Share by which a channel may be off for reasons of its own: light thrown back by neighbours, white balance
#: across the photo, quantised colour (common practice, no source). It keeps a hue that floor and debris
#: nearly share from deciding.
TINT = 0.03
#: How far shade may change the hue of a floor, as a share of each channel: of two lamps of unlike colour one is
#: hidden from a shadow. Daylight beside a warm lamp changes a channel's share of the light by about a tenth.
SHADE_TINT = 0.1
#: Matrix by which `cv2.transform` adds up the channels.
_SUMMED = np.ones((1, 3), np.float32)
#: Largest weight of a channel: cover then changes by a hundred for one step of an 8-bit photo's darkest levels.
STEEPEST = np.float32(100 * 255 * 12.92)


@dataclass(frozen=True, slots=True, eq=False)
class Discriminant:
    """A linear filter that turns colour into cover.

    Cover = sum over channels of ``filter`` times (colour - floor): 0 on floor, 1 on debris.
    ``sigma`` is the standard deviation of that cover on bare floor by noise, ``misfit`` that by shade and by what else
    a channel may be off, which no averaging over a grain makes less. Shapes (H, W, 3), (H, W) and (H, W).
    """

    filter: NDArray[np.float32]
    sigma: NDArray[np.float32]
    misfit: NDArray[np.float32]


def fisher_discriminant(
    floor: NDArray[np.float32],
    debris: NDArray[np.float32],
    noise: FloorNoise,
    grain_covariance: NDArray[np.floating],
    shade: float,
    sheen: float = SHEEN,
) -> Discriminant:
    """Fisher's linear discriminant between floor and debris at every pixel.

    Parameters
    ----------
    floor, debris : ndarray of float32, shape (H, W, 3)
        Colour of bare floor and of debris in the light of that place, linear light.
    noise : FloorNoise
        Noise on bare floor.
    grain_covariance : ndarray, shape (3, 3)
        Covariance of the debris' own colour from grain to grain and over a grain.
    shade : float
        Standard deviation of the share of light that shade takes from the floor.
    sheen : float
        The same for debris lighter than the floor.

    Returns
    -------
    Discriminant

    Notes
    -----
    filter = S^-1 e / (e' S^-1 e) with e = debris - floor and S = noise + s^2 floor floor' +
    grain_covariance / 4 + TINT^2 diag(floor^2 + debris^2) [1]_. The second term marginalises over shade,
    which moves floor along its own colour: where debris differs from floor in hue, only hue then counts;
    where it differs in lightness alone, lightness does. Shade only darkens: for debris lighter than the
    floor it makes the cover negative, not positive, so there s is ``sheen``. The third is the grain's own
    spread at a pixel it half covers, where floor and debris must be told apart.

    References
    ----------
    .. [1] R. A. Fisher, The use of multiple measurements in taxonomic problems, Annals of Eugenics 7
       (1936) 179-188.
    """
    filters = np.empty_like(floor)
    sigmas, misfits = np.empty(floor.shape[:-1], np.float32), np.empty(floor.shape[:-1], np.float32)
    g = np.asarray(grain_covariance, np.float32) / 4
    m = np.asarray(noise.mix, np.float32)

    def work(rows: slice) -> None:
        f, p, n = (np.moveaxis(v[rows], -1, 0).copy() for v in (floor, debris, noise.sigma))
        e = p - f
        tint = np.float32(TINT**2) * (f * f + p * p)
        darker = (e * f).sum(axis=0) < 0
        f *= np.where(darker, np.float32(shade), np.float32(sheen))
        a = m[0, 0] * n[0] * n[0] + g[0, 0] + f[0] * f[0] + tint[0]
        b = m[0, 1] * n[0] * n[1] + g[0, 1] + f[0] * f[1]
        c = m[0, 2] * n[0] * n[2] + g[0, 2] + f[0] * f[2]
        d = m[1, 1] * n[1] * n[1] + g[1, 1] + f[1] * f[1] + tint[1]
        h = m[1, 2] * n[1] * n[2] + g[1, 2] + f[1] * f[2]
        i = m[2, 2] * n[2] * n[2] + g[2, 2] + f[2] * f[2] + tint[2]
        # Adjugate of the symmetric matrix [[a b c] [b d h] [c h i]]; its determinant cancels.
        aa, ab, ac = d * i - h * h, c * h - b * i, b * h - c * d
        bb, bc, cc = a * i - c * c, b * c - a * h, a * d - b * b
        solved = np.stack(
            [
                aa * e[0] + ab * e[1] + ac * e[2],
                ab * e[0] + bb * e[1] + bc * e[2],
                ac * e[0] + bc * e[1] + cc * e[2],
            ]
        )
        # Off 0 where debris has the floor's own colour.
        solved /= np.maximum((solved * e).sum(axis=0), 1e-30)
        # Debris of the floor's own colour has no filter: it stays finite, and its noise says that nothing is told.
        np.clip(solved, -STEEPEST, STEEPEST, out=solved)
        filters[rows] = np.moveaxis(solved, 0, -1)
        sigmas[rows] = np.sqrt((solved * solved * n * n).sum(axis=0))
        misfits[rows] = np.sqrt((solved * solved * tint).sum(axis=0) + (solved * f).sum(axis=0) ** 2)

    over_strips(work, *floor.shape[:2])
    return Discriminant(filters, sigmas, misfits)


def cover_of(discriminant: Discriminant, view: NDArray[np.float32], floor: NDArray[np.float32]) -> NDArray[np.float32]:
    """Cover of every pixel of a light-matched view, not clipped; shape (H, W)."""
    cover = np.empty(view.shape[:-1], np.float32)

    def work(rows: slice) -> None:
        along = view[rows] - floor[rows]
        along *= discriminant.filter[rows]
        cover[rows] = cv2.transform(along, _SUMMED)

    over_strips(work, *view.shape[:2])
    return cover


def departure(
    view: NDArray[np.float32], floor: NDArray[np.float32], noise: FloorNoise, shade: float
) -> NDArray[np.float32]:
    """Mahalanobis length of a view's difference from floor, given noise and shade; shape (H, W).

    By the Sherman-Morrison formula for (noise + s^2 floor floor')^-1, where s is ``shade`` for a difference
    that darkens the floor and SHEEN for one that does not.
    """
    inverse = np.linalg.inv(noise.mix).astype(np.float32)
    alone = np.array_equal(inverse, np.eye(3))  # channels that do not go together need no matrix
    length = np.empty(floor.shape[:-1], np.float32)

    def work(rows: slice) -> None:
        v, f, n = (np.moveaxis(a[rows], -1, 0).copy() for a in (view, floor, noise.sigma))
        length[rows] = _length(v, f, n, None if alone else inverse, shade)

    over_strips(work, *floor.shape[:2])
    return length


def _length(
    v: NDArray[np.float32],
    f: NDArray[np.float32],
    n: NDArray[np.float32],
    inverse: NDArray[np.float32] | None,
    s: float,
) -> NDArray[np.float32]:
    """`departure` of channels, each (3, H, W); ``inverse`` is the inverse of the mix, None for the unit matrix."""
    z, f = (v - f) / n, f / n
    whitened, reference = (z, f) if inverse is None else (np.tensordot(inverse, z, 1), np.tensordot(inverse, f, 1))
    along = (whitened * f).sum(axis=0)
    loose = np.where(along < 0, np.float32(1 / s**2), np.float32(1 / SHEEN**2))
    reach = loose + (reference * f).sum(axis=0)
    square = (whitened * z).sum(axis=0) - along * along / reach
    return np.asarray(np.sqrt(np.maximum(square, 0)), np.float32)


def from_shaded_floor(
    view: NDArray[np.float32], floor: NDArray[np.float32], sigma: NDArray[np.float32]
) -> NDArray[np.float32]:
    """How many standard deviations a view is from floor in any shade, coloured shade included; shape (H, W).

    ``sigma``, of shape (H, W, 3), is the noise of a channel, to which coloured shade adds where the view is darker.
    """
    length = np.empty(floor.shape[:-1], np.float32)

    def work(rows: slice) -> None:
        v, f, n = (np.moveaxis(a[rows], -1, 0).copy() for a in (view, floor, sigma))
        tint = np.float32(SHADE_TINT) * f * ((v - f).sum(axis=0) < 0)
        length[rows] = _length(v, f, np.sqrt(n * n + tint * tint), None, SHADE)

    over_strips(work, *view.shape[:2])
    return length
