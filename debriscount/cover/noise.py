"""How much a bare floor pixel wanders between shots: the noise against which debris must stand out."""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from ..stats.robust import SD_OVER_MAD
from .floor import brightness
from .light import FAINTEST

BINS = 12
#: Fewest readings from which a bin's spread is taken; the median deviation of 200 is good to 8 %.
FEWEST = 200
#: Classes of brightness and of contrast for which tails are learned, the share of bare floor beyond the quantile taken,
#: and that quantile of a normal distribution, both sides.
TAIL_BINS, TAIL, TAIL_Z = 6, 0.005, 2.807
#: How many pixels tell how the channels go together: ten thousand grains of 10 px, so that a covariance is good to 1 %.
#: Of a larger picture bands of so many rows are looked at.
ENOUGH_PIXELS, BAND = 1_000_000, 256


@dataclass(frozen=True, slots=True, eq=False)
class NoiseModel:
    """Variance of a channel by the floor's brightness and its contrast with the neighbouring pixels.

    Brightness brings the sensor's noise, contrast what the alignment leaves: ``variance`` of shape
    (3, BINS, BINS) is indexed by channel, brightness bin, contrast bin.
    """

    brightness: NDArray[np.float32]
    contrast: NDArray[np.float32]
    variance: NDArray[np.float32]


def _brightness_and_contrast(floor: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Mean of the channels and how far it changes towards the next pixels; shape (H, W, 3) to twice (H, W).

    The length of the gradient or, in the middle of a thin line, which is level and still changes most when two views
    lie a little beside each other, how far it stands out.
    """
    grey = brightness(floor)
    # Scharr's weights give 32 for a change of 1 from pixel to pixel.
    gx = cv2.Scharr(grey, cv2.CV_32F, 1, 0, scale=1 / 32)
    gy = cv2.Scharr(grey, cv2.CV_32F, 0, 1, scale=1 / 32)
    return grey, np.maximum(cv2.magnitude(gx, gy), np.abs(grey - cv2.blur(grey, (3, 3))))


def learn_noise(difference: NDArray[np.float32], floor: NDArray[np.float32], usable: NDArray[np.bool_]) -> NoiseModel:
    """Learn the noise from the difference of two light-matched views of the same floor.

    Parameters
    ----------
    difference, floor : ndarray of float32, shape (H, W, 3)
        View less floor, and the floor, linear light.
    usable : ndarray of bool, shape (H, W)
        Floor seen in both. Debris may lie on less than half of it: spreads are medians.
    """
    # So many leave thousands for each bin of brightness and contrast.
    stride = max(1, int(np.sqrt(usable.sum() / 400_000)))
    chosen = np.zeros_like(usable)
    chosen[::stride, ::stride] = usable[::stride, ::stride]
    grey, slope = _brightness_and_contrast(floor)
    brightness, contrast = grey[chosen], slope[chosen]
    off = np.abs(difference[chosen].T, order="C")  # a channel's readings beside one another, as medians go through them
    inner = np.linspace(0, 1, BINS + 1)[1:-1]
    edges_b = np.quantile(brightness, inner).astype(np.float32)
    edges_c = np.quantile(contrast, inner).astype(np.float32)
    code = _bins(edges_b, brightness) * np.uint8(BINS) + _bins(edges_c, contrast)
    overall = (SD_OVER_MAD * np.median(off, axis=1)) ** 2
    off = off[:, np.argsort(code, kind="stable")]
    bounds = np.append(0, np.cumsum(np.bincount(code, minlength=BINS * BINS)))
    table = np.empty((BINS * BINS, 3))
    for i, (start, end) in enumerate(pairwise(bounds)):
        table[i] = (SD_OVER_MAD * np.median(off[:, start:end], axis=1)) ** 2 if end - start >= FEWEST else overall
    # No photo of 8 bits is better than half a step of its darkest levels.
    table = np.maximum(table, (FAINTEST / 2) ** 2)
    variance = table.reshape(BINS, BINS, 3).transpose(2, 0, 1)
    return NoiseModel(edges_b, edges_c, np.ascontiguousarray(variance, np.float32))


@dataclass(frozen=True, slots=True, eq=False)
class FloorNoise:
    """Noise of every pixel of a floor view at the scale of a grain.

    ``sigma`` of shape (H, W, 3) is a channel's standard deviation, ``mix`` of shape (3, 3) how the
    channels go together: the covariance is diag(sigma) mix diag(sigma).
    """

    sigma: NDArray[np.float32]
    mix: NDArray[np.float64]


def _bins(edges: NDArray[np.float32], values: NDArray[np.float32]) -> NDArray[np.uint8]:
    """What `np.searchsorted` finds: with so few edges, counting those below every value is several times as quick."""
    result = np.zeros(values.shape, np.uint8)
    for edge in edges:
        result += values > edge
    return result


def sigma_map(model: NoiseModel, floor: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of every pixel and channel of a floor view, shape (H, W, 3)."""
    grey, slope = _brightness_and_contrast(floor)
    table = np.ascontiguousarray(np.sqrt(model.variance.reshape(3, -1).T), np.float32)
    sigma = np.empty_like(floor)

    def work(rows: slice) -> None:
        code = _bins(model.brightness, grey[rows]) * np.uint8(BINS) + _bins(model.contrast, slope[rows])
        sigma[rows] = table.take(code, axis=0)

    over_strips(work, *floor.shape[:2])
    return sigma


def tail_factor(
    z: NDArray[np.float32], floor: NDArray[np.float32], bare: NDArray[np.bool_], clean: bool
) -> NDArray[np.float32] | None:
    """By how much the tails of what bare floor shows exceed a normal distribution's, shape (H, W).

    Parameters
    ----------
    z : ndarray of float32, shape (H, W)
        What is measured, in units of its standard deviation.
    floor : ndarray of float32, shape (H, W, 3)
        The floor, linear light.
    bare : ndarray of bool, shape (H, W)
        Where nothing was strewn.
    clean : bool
        Whether nothing lies there at all; otherwise what a machine flung there may stand out, but to one side only.

    Returns
    -------
    ndarray of float32 or None
        At least 1; None where too little bare floor is seen to tell.

    Notes
    -----
    The quantile of |z| that one in two hundred exceeds (of -z that one in four hundred exceeds, where debris may lie),
    over the 2.81 that it is for a normal distribution, among places of like brightness and contrast: a pattern that
    lies a fraction of a pixel beside itself is quiet in most places and loud at its edges.
    """
    if int(bare.sum()) < TAIL_BINS**2 * FEWEST:
        return None
    grey, slope = _brightness_and_contrast(floor)
    inner = np.linspace(0, 1, TAIL_BINS + 1)[1:-1]
    codes = np.zeros(floor.shape[:2], np.uint8)
    for values in (grey, slope):
        codes = codes * np.uint8(TAIL_BINS) + _bins(np.quantile(values[bare], inner).astype(np.float32), values)
    table = np.ones(TAIL_BINS**2, np.float32)
    code, size = codes[bare], np.abs(z[bare]) if clean else -z[bare]
    tail = TAIL if clean else TAIL / 2
    order = np.argsort(code, kind="stable")
    bounds = np.searchsorted(code[order], np.arange(TAIL_BINS**2 + 1))
    for i in range(TAIL_BINS**2):
        members = order[bounds[i] : bounds[i + 1]]
        if len(members) >= FEWEST:
            table[i] = max(1.0, float(np.quantile(size[members], 1 - tail)) / TAIL_Z)
    return table[codes]


def learn_mix(
    difference: NDArray[np.float32], sigma: NDArray[np.float32], usable: NDArray[np.bool_], grain_px: float
) -> NDArray[np.float64]:
    """How the channels' noise goes together once averaged over a grain.

    Parameters
    ----------
    difference, sigma : ndarray of float32, shape (H, W, 3)
        Difference of two views of the same floor and its standard deviation per pixel.
    usable : ndarray of bool, shape (H, W)
        Floor seen in both.
    grain_px : float
        Diameter of a small grain, px.

    Returns
    -------
    ndarray of shape (3, 3)
        Scaled so that its diagonal sums to 3. The unit matrix for noise that is independent from pixel to pixel and
        channel to channel.

    Notes
    -----
    A photo's colour noise comes in blocks (chroma subsampling, JPEG) that do not average out over a
    grain as its brightness noise does, so colour deserves less trust than single pixels suggest.
    """
    height, width = usable.shape
    every = max(1, round(height * width / ENOUGH_PIXELS))
    rows = BAND if every > 1 else height
    bands = [slice(top, min(top + rows, height)) for top in range(0, height, rows * every)]
    sample = np.concatenate([_calm(difference[b], sigma[b], usable[b], grain_px) for b in bands])
    if len(sample) < FEWEST:
        return np.eye(3)
    sample = sample - np.median(sample, axis=0)
    keep = np.ones(len(sample), bool)
    covariance = np.eye(3)
    for _ in range(3):
        # A ridge far below the noise, whose variance is about 1 here; kept is what lies within three deviations.
        covariance = np.cov(sample[keep].T) + 1e-6 * np.eye(3)
        distance = np.einsum("ni,ij,nj->n", sample, np.linalg.inv(covariance), sample)
        keep = distance < 9
    return np.asarray(3 * covariance / np.trace(covariance))


def _calm(
    difference: NDArray[np.float32], sigma: NDArray[np.float32], usable: NDArray[np.bool_], grain_px: float
) -> NDArray[np.float32]:
    """Noise in its standard deviations, averaged over a grain, clear of debris: a sample of shape (N, 3)."""
    z, extreme = np.empty_like(difference), np.empty(usable.shape, np.float32)

    def work(rows: slice) -> None:
        np.divide(difference[rows], sigma[rows], out=z[rows])
        red, green, blue = cv2.split(np.abs(z[rows]))
        extreme[rows] = (cv2.max(cv2.max(red, green), blue) > 4) | ~usable[rows]
        np.clip(z[rows], -4, 4, out=z[rows])

    over_strips(work, *usable.shape[:2])
    reach = max(1, round(0.5 * grain_px))
    # Keep clear of debris: its blurred rim and its shade are no noise.
    busy = cv2.blur(extreme, (4 * reach + 1, 4 * reach + 1)) > 0.02
    smooth = cv2.GaussianBlur(z, (0, 0), max(0.25 * grain_px, 0.5))
    return np.asarray(smooth[::3, ::3][~busy[::3, ::3]])
