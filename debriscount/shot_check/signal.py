"""How clearly a grain stands out from noise and from what compression drops."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..cover.discriminant import SHADE, SHEEN, TINT
from ..inputs.debris import DebrisKind
from ..photo.colour import srgb_to_linear

#: Reflectance of plain paper in linear light (from memory); it only scales how bright debris is expected.
PAPER = 0.8
#: Encoded colour from luma and the two colour differences, red, green and blue by row (ITU-T T.871, JFIF).
FROM_LUMA = np.array([[1, 0, 1.402], [1, -0.344136, -0.714136], [1, 1.772, 0]])


def debris_light(kind: DebrisKind, paper: float | None) -> Floats:
    """Linear light of a kind of debris where paper shows ``paper``, shape (3,)."""
    return np.asarray(srgb_to_linear(np.array(kind.color_srgb) / 255) * (1.0 if paper is None else paper / PAPER))


def step_of_light(light: Floats) -> Floats:
    """Change of linear light by one step of the encoded 8-bit value, any shape (IEC 61966-2-1)."""
    low = light <= 0.0031308
    # Derivative of the curve's inverse; from 0.0031308 on 2.4 / 1.055 × (1.055 l^(1/2.4))^(1.4/1) / 1.055^1.4.
    slope = np.where(low, 1 / 12.92, 2.4 / 1.055 * np.maximum(light, 0.0031308) ** (1.4 / 2.4))
    return np.asarray(slope / 255)


def compression_variance(steps: NDArray[np.floating], grain_px: float, *, halved_colour: bool = True) -> Floats:
    """Variance that a JPEG's rounding adds to a pixel of luma and of the two colour differences, shape (3,).

    Parameters
    ----------
    steps : ndarray of shape (1 or 2, 8, 8)
        Quantisation steps of the discrete cosine transform, of luma and of colour.
    grain_px : float
        Diameter of a grain.
    halved_colour : bool
        Colour is kept for every second pixel in either direction.

    Notes
    -----
    A coefficient rounded to steps of q is off by q² / 12. The transform keeps the sum of squares (ITU-T T.81 A.3.3), so
    what reaches a pixel is their mean; a grain is seen through a filter of its own size, so each coefficient
    counts by exp(-(π d f)² / 8), f = k / 16 cycles a pixel in either direction, the spectrum of a Gaussian of the
    disc's own second moment, d / 4.
    """
    variance = np.empty(3)
    k = np.arange(8)
    for channel in range(3):
        coarse = 2 if channel and halved_colour else 1
        f = k / (16 * coarse)
        share = np.exp(-((2 * math.pi * f * grain_px / 4) ** 2))
        weight = share[:, None] * share
        table = steps[min(channel, 1, len(steps) - 1)]
        variance[channel] = float((weight * table**2).sum() / weight.sum() / 12)
    return variance


@dataclass(frozen=True, slots=True, eq=False)
class Telling:
    """How one colour is told from another: cover = ``weight`` · (colour - floor), shape (3,).

    ``spread`` is the standard deviation of that cover on bare floor from all that disturbs it: noise, shade and tint.
    """

    weight: Floats
    spread: float


def telling(floor: Floats, debris: Floats, noise: Floats) -> Telling:
    """Weigh the colours as `debriscount.cover.discriminant` does, so that what shade could make counts for little.

    ``floor`` and ``debris`` are linear light of shape (3,), ``noise`` of shape (3, 3) the covariance of a floor pixel.
    """
    away = debris - floor
    shade = SHADE if away @ floor < 0 else SHEEN
    disturbs = noise + shade**2 * np.outer(floor, floor) + TINT**2 * np.diag(floor**2 + debris**2)
    weight = np.linalg.solve(disturbs, away)
    length = max(float(weight @ away), 1e-30)
    return Telling(weight / length, 1 / math.sqrt(length))


def cover_a_pixel(weight: Floats, noise: Floats, grain_px: float, blur_px: float) -> float:
    """Standard deviation of a grain pixel's cover from noise, for a grain that blur has spread.

    Parameters
    ----------
    weight : ndarray of shape (3,)
        As `telling` gives it.
    noise : ndarray of shape (3, 3)
        Covariance of a pixel's noise.
    grain_px, blur_px : float
        Diameter of the grain and standard deviation of the blur.

    Notes
    -----
    A disc of area A under a blur s keeps about the share A / (A + 4 π s²) of its sum of squares.
    """
    area = math.pi / 4 * grain_px**2
    kept = area / (area + 4 * math.pi * blur_px**2)
    return math.sqrt(float(weight @ noise @ weight) / kept)
