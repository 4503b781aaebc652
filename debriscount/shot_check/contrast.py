"""How clearly each kind of debris stands out: steps of the scale, noise, compression."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..cover.discriminant import TINT
from ..inputs.debris import DebrisKind
from ..photo.colour import linear_to_srgb
from ..stats.robust import robust_sd
from .allowance import LEFT, allowance_percent, allowed_area_error, middle_mm
from .focus import SPREAD_OF_SIGMA
from .look import ShotLook
from .records import USUAL_WANT, Finding, at_least, at_most, told
from .signal import FROM_LUMA, compression_variance, cover_a_pixel, debris_light, step_of_light, telling

#: Share of the leftovers' area that noise moves when one shot has more of it, by cover's standard deviation a pixel:
#: as in simulated shots whose sensors held 80 to 4,200 electrons.
OTHER_NOISE = 2.0
#: Share of the leftovers' area that a doubling of the JPEG's steps moves: the middle of simulated shots of quality 6
#: to 92 whose debris differs from the floor in hue alone.
OTHER_STEPS = 0.05
#: JPEG steps below which a photo's own noise hides them, 8-bit levels.
FINE_STEP = 3.0
#: Cover's standard deviation a pixel from rounded coefficients up to which grains were found whole in simulated shots,
#: at the usual accuracy.
ROUNDED = 0.1


#: Standard deviation of a bare pixel's cover from all that disturbs it up to which half cover, where grains end, is two
#: of them away.
APART = 0.25


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Clarity:
    """How one kind stands out in one shot.

    ``steps`` is the largest difference to the floor in steps of the 8-bit scale, at the patch's darkest; ``spread`` the
    standard deviation of a bare pixel's cover from noise, shade and tint together; ``noise`` and ``rounded`` that from
    noise alone and from the JPEG's rounding, the latter None for other files; ``pattern`` that of the floor at the size
    of a grain; ``coarse`` the coarsest step of the JPEG at that size, 8-bit levels, or None. What cannot be known is
    None.
    """

    steps: float
    spread: float
    noise: float | None
    pattern: float | None
    rounded: float | None
    coarse: float | None


def clarity(
    look: ShotLook,
    kind: DebrisKind,
    mm_per_px: float,
    *,
    paper: float | None,
    spread_px: float | None,
    jpeg_steps: NDArray[np.floating] | None,
) -> Clarity:
    """Work out how a kind of debris stands out.

    Parameters
    ----------
    look : ShotLook
        The shot.
    kind : DebrisKind
        Its colour in daylight and the middle size of its grains count.
    mm_per_px : float
        Scale.
    paper : float, optional
        Linear light of the markers' paper, which tells how bright debris is in this light.
    spread_px : float, optional
        10 to 90 % width of edges.
    jpeg_steps : ndarray of shape (1 or 2, 8, 8), optional
        The JPEG's quantisation tables.
    """
    floor, debris = look.floor, debris_light(kind, paper)
    dim = _dimmest(look, floor)
    steps = 255 * float(np.abs(linear_to_srgb(dim * debris) - linear_to_srgb(dim * floor)).max())
    grain_px = middle_mm(kind) / mm_per_px
    blur_px = (spread_px or SPREAD_OF_SIGMA) / SPREAD_OF_SIGMA
    one_step = step_of_light(floor)
    covariance = np.diag(one_step**2 / 12) + (0 if look.noise is None else look.noise)
    told_by = telling(floor, debris, covariance)
    noise = pattern = rounded = coarse = None
    if look.noise is not None:
        noise = cover_a_pixel(told_by.weight, covariance, grain_px, blur_px)
        pattern = pattern_cover(look.tiles, told_by.weight, grain_px)
    if jpeg_steps is not None:
        variance = compression_variance(np.asarray(jpeg_steps, float), grain_px)
        to_light = one_step[:, None] * FROM_LUMA
        rounding = to_light @ np.diag(variance) @ to_light.T
        rounded = cover_a_pixel(telling(floor, debris, rounding).weight, rounding, grain_px, blur_px)
        coarse = math.sqrt(12 * float(variance.max()))
    return Clarity(steps=steps, spread=told_by.spread, noise=noise, pattern=pattern, rounded=rounded, coarse=coarse)


def pattern_cover(tiles: NDArray[np.float32], weight: Floats, grain_px: float) -> float:
    """Robust standard deviation of cover in tiles of floor once averaged over a grain; shape (T, H, W, 3)."""
    cover = np.asarray(tiles @ weight.astype(np.float32), np.float32)
    side = int(np.clip(round(grain_px), 1, cover.shape[1] // 3))
    mean = np.stack([cv2.blur(tile, (side, side)) for tile in cover])
    mean -= np.median(mean, axis=(1, 2), keepdims=True)
    return robust_sd(mean, 0.0)


def _dimmest(look: ShotLook, floor: Floats) -> float:
    """Light of the darkest twentieth of the cells over that of the middle one."""
    if not look.inside.any():
        return 1.0
    green = look.light[1][look.inside][:, 1]
    return float(min(np.quantile(green, 0.05) / max(floor[1], 1e-6), 1.0))


def clarity_findings(kind: str, seen: Clarity, want: float) -> list[Finding]:
    """Judge how one kind stands out in a shot by itself."""
    scale = math.sqrt(want / USUAL_WANT)
    found = [
        at_least(
            f"steps from floor to {kind}",
            seen.steps,
            "of 255",
            1 / (TINT * math.sqrt(12)),
            "rounding then stays below what a channel may be off",
            f"{kind} can hardly be told from the floor in this light: expose more, or choose another debris or floor.",
            "faint",
        )
    ]
    found.append(
        at_most(
            f"{kind} not told from the floor",
            100 * seen.spread,
            "% cover",
            100 * APART * scale,
            "half cover, where grains end, is then two standard deviations away",
            f"{kind} and the floor are too much alike: choose debris of another colour, or another floor.",
            "too-alike",
        )
    )
    if seen.noise is not None:
        found.append(
            at_most(
                f"noise a pixel, {kind}",
                100 * seen.noise,
                "% cover",
                100 * TINT * scale,
                "as much as a channel may be off",
                "Use more light and a lower ISO.",
                "noisy",
            )
        )
    if seen.rounded is not None:
        found.append(
            at_most(
                f"JPEG rounding a pixel, {kind}",
                100 * seen.rounded,
                "% cover",
                100 * ROUNDED * scale,
                "grains were found whole up to there in simulated shots",
                "Give the photo as the camera made it, at best quality, not one sent by a messenger.",
                "compressed",
            )
        )
    return found


def pattern_finding(kind: str, seen: Clarity) -> Finding:
    """Tell how much the floor's pattern looks like a kind: a note, since a photo of the clean floor takes it away."""
    like = seen.pattern is not None and seen.pattern > APART / 2
    return told(
        f"floor's pattern as {kind}",
        None if seen.pattern is None else 100 * seen.pattern,
        "% cover",
        "at the size of a grain; joints and specks not counted",
        f"The floor's pattern looks like {kind}: measure with a photo of the clean floor (--blank)." if like else "",
    )


def change_findings(kind: str, seen: Clarity, other: Clarity, want: float) -> list[Finding]:
    """Judge whether noise and compression are as in the other shot."""
    allowed = allowed_area_error(want)
    cost = f"{allowance_percent(want):.2f} points with {100 * LEFT:.0f} % left"
    found = []
    if seen.noise is not None and other.noise is not None:
        found.append(
            at_most(
                f"noise against the other shot, {kind}",
                100 * abs(seen.noise - other.noise),
                "% cover",
                100 * allowed / OTHER_NOISE,
                cost,
                "Use the same light, exposure and ISO for all shots.",
                "noise-differs",
            )
        )
    if seen.coarse is not None and other.coarse is not None:
        steps = [max(c, FINE_STEP) for c in (seen.coarse, other.coarse)]
        found.append(
            at_most(
                f"JPEG steps against the other shot, {kind}",
                max(steps) / min(steps),
                "times",
                2 ** (allowed / OTHER_STEPS),
                cost,
                "Save all shots at the same quality.",
                "compression-differs",
            )
        )
    elif (seen.coarse is None) != (other.coarse is None):
        found.append(told("kinds of file", None, "", "", "One shot is JPEG, the other is not: use one kind for all."))
    return found
