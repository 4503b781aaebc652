"""Grains that have an inside: the outline runs at half of each grain's own level."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.colours import APART
from ..cover.floor import RIM_PX
from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from .labelled import Labelled
from .split import split_grains

#: What the smoothing below leaves of a photo's noise: 0.40 of white noise (0.7 px; 1 / (2 sqrt(pi) s)), and a photo's
#: noise is smoother than white.
CALM_PX, CALMED = 0.7, 0.5
#: A tighter colour limit that is tried, as a share of full cover.
TIGHTER = 0.1
#: Grains are told apart at this share of the way from the floor around to their own level: higher than the outline,
#: where the blur that fills narrow gaps is gone, but below the top, where a grain's own shading breaks it up.
PARTED = 0.7
#: How far from a grain's outline its inside still bears upon where the outline runs: the blurred rim is RIM_PX wide,
#: and twice that holds enough of the inside.
LEVEL_PX = 2 * RIM_PX
#: Departure from floor, in standard deviations, that no shade, pattern or chance makes: twice what sets pixels apart.
SURELY_APART = 2 * APART
#: Lowest outline, as a share of a grain's level: a quarter is what blur leaves a pixel beyond the half-level outline.
LOWEST = 0.25
#: Width of a small grain, px, from which on a pattern within it can be seen: the way from one outline to the other is
#: several times as far as the inside bears upon the outline. In smaller grains the spread is mostly blur's.
PATTERNED_PX = 4 * LEVEL_PX
#: Largest hole within a grain, a highlight or a crease, as a share of a small grain's area. Three equal discs that
#: touch leave a gap of 0.05 of a disc's area between them.
HOLE = 0.05
#: A third of a small grain's area, or less than this many pixels, is no grain of its kind.
LEAST_SHARE, LEAST_PX = 0.33, 4.0
#: Mean departure from shaded floor, in standard deviations, that a grain must have, and at most as a share of what its
#: kind usually has: debris that is darker than the floor and little else is as near to shaded floor as shade is.
NO_SHADE, HALF_WAY = 2.5, 0.5
#: Gaps between grains do not get down to the floor's level: blur and shade fill them. What is lowest just beyond
#: the reach of a grain's own blur is their ground, but never more than this share of a grain's level. A dip of a
#: quarter of the level, half of what a grain's edge must reach, is a gap.
GROUND_PX, MOST_GROUND, GAP = RIM_PX + 1, 0.7, 0.25


def outlined_grains(
    cover: NDArray[np.float32], shot: ShotCover, kind: KindHint, spread: float, usual_apart: float = np.inf
) -> Labelled:
    """Grains of a kind whose small grains are several pixels across.

    Parameters
    ----------
    cover : ndarray of float32, shape (H, W)
        Cover by the kind alone.
    shot : ShotCover
        Its noise and distance from shaded floor.
    kind : KindHint
        The kind.
    spread : float
        Standard deviation of cover over pixels that the kind hides wholly.
    usual_apart : float
        How far the kind usually is from shaded floor, in standard deviations.

    Returns
    -------
    Labelled
    """
    raster = _heights(cover, shot, kind)
    outline, parting = 0.5, PARTED
    if kind.size_px[0] >= PATTERNED_PX:
        # Where a grain's own pattern is so strong that half its level would cut it up, the outline runs lower.
        outline = max(min(outline, 1 - 2 * spread), LOWEST)
        parting = max(min(parting, 1 - 1.5 * spread), outline)
    most_hole = HOLE * np.pi / 4 * kind.size_px[0] ** 2
    mask = _fill_holes((raster.smooth > outline) & raster.seen, most_hole)
    parted = _fill_holes((raster.smooth > parting) & mask, most_hole)
    labels = split_grains(mask, kind.size_px, parted)
    sizes = np.bincount(labels.ravel())
    # Coloured shade looks like a little debris all over, but no part of it is far from shaded floor.
    shade = np.bincount(labels.ravel(), shot.apart.ravel()) < min(NO_SHADE, HALF_WAY * usual_apart) * sizes
    none = (sizes < least_area_px(kind)) | shade
    none[0] = True
    labels = np.where(none[labels], 0, labels).astype(np.int32)
    mask = labels > 0
    # Soft edge: a pixel counts from a quarter of the level below the outline to a quarter above it, so that the sum has
    # the outline's area without its steps.
    inside = cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    soft, tight = (
        np.where(inside, np.float32(1), np.clip((raster.sharp - outline + 0.25 - tighter) / 0.5, 0, 1))
        for tighter in (0.0, TIGHTER)
    )
    return Labelled(mask, _with_rim(labels), soft, tight)


@dataclass(frozen=True, slots=True, eq=False)
class _Heights:
    """How far each pixel is from ground (0) to its grain's own level (1), sharp and smoothed, and if it stands out."""

    sharp: NDArray[np.float32]
    smooth: NDArray[np.float32]
    seen: NDArray[np.bool_]


def _heights(cover: NDArray[np.float32], shot: ShotCover, kind: KindHint) -> _Heights:
    smooth = np.asarray(cv2.GaussianBlur(cover, (0, 0), CALM_PX), np.float32)
    noise = APART * CALMED * shot.sigma
    level = _own_level(smooth, noise, kind)
    ground = _ground(smooth, level)
    span = level - ground
    sharp, height, seen = (cover - ground) / span, (smooth - ground) / span, smooth > noise
    if kind.size_px[0] < PATTERNED_PX:
        return _Heights(sharp, height, seen)
    # Gloss and odd colours are no more like the kind than the floor is, but they are no floor.
    unlike = _unlike_floor(np.where(cover != 0, shot.apart, np.float32(0)))
    more = unlike.smooth > height
    return _Heights(np.where(more, unlike.sharp, sharp), np.where(more, unlike.smooth, height), seen | unlike.seen)


def least_area_px(kind: KindHint) -> float:
    """Area of the smallest thing that is taken for a grain with an outline, px."""
    return float(max(LEAST_SHARE * np.pi / 4 * kind.size_px[0] ** 2, LEAST_PX))


def _unlike_floor(apart: NDArray[np.float32]) -> _Heights:
    """Departure from floor in any shade as a share of its highest value hereabouts; 0 where it does not stand out."""
    smooth = cv2.GaussianBlur(apart, (0, 0), CALM_PX)
    top = cv2.dilate(smooth, np.ones((2 * LEVEL_PX + 1, 2 * LEVEL_PX + 1), np.uint8))
    seen = smooth > SURELY_APART
    shares = (np.where(seen, height / np.maximum(top, SURELY_APART), np.float32(0)) for height in (apart, smooth))
    return _Heights(next(shares), next(shares), seen)


def _own_level(smooth: NDArray[np.float32], noise: NDArray[np.float32], kind: KindHint) -> NDArray[np.float32]:
    """Cover of the inside of the grain hereabouts: one in the shade or with a pale side has a level of its own.

    The mean of what comes near the highest cover within half a grain, or within LEVEL_PX where grains are large.
    """
    side = 2 * int(min(0.5 * kind.size_px[0], LEVEL_PX)) + 1
    top = cv2.dilate(smooth, np.ones((side, side), np.uint8))
    # Four fifths of the highest is the inside of a grain, a fifth its rim; what exceeds full cover by a tenth is gloss.
    inside = (smooth > np.maximum(0.8 * np.minimum(top, 1.1), noise)).astype(np.float32)
    share = cv2.blur(inside, (side, side))
    # Gloss counts as full cover and a fifth at most. Below two fifths of it no inside of a grain lies, even in shade.
    level = cv2.blur(np.minimum(smooth, 1.2) * inside, (side, side)) / np.maximum(share, 1e-3)
    return np.asarray(np.clip(np.where(share > 1e-3, level, top), 0.4, 1), np.float32)


def _ground(smooth: NDArray[np.float32], level: NDArray[np.float32]) -> NDArray[np.float32]:
    """Cover of the gap hereabouts between grains; 0 beside open floor and within a grain.

    A gap has something higher on both sides, so a closing fills it.
    """
    window = np.ones((2 * GROUND_PX + 1, 2 * GROUND_PX + 1), np.uint8)
    lowest = cv2.blur(cv2.erode(smooth, window), window.shape)
    depth = cv2.morphologyEx(smooth, cv2.MORPH_CLOSE, window) - lowest
    ground = lowest * np.clip(depth / (GAP * level), 0, 1)
    return np.asarray(np.clip(ground, 0, MOST_GROUND * level), np.float32)


def _fill_holes(mask: NDArray[np.bool_], most_px: float) -> NDArray[np.bool_]:
    """Close holes of up to ``most_px`` pixels: gaps between touching grains are larger and stay open."""
    _, labels = cv2.connectedComponents((~mask).astype(np.uint8), connectivity=4)
    small = np.bincount(labels.ravel()) <= most_px
    small[0] = False
    return np.asarray(mask | small[labels]) if small.any() else mask


def _with_rim(labels: NDArray[np.int32]) -> NDArray[np.int32]:
    """Labels grown by a pixel."""
    wider = cv2.dilate(labels.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
    return np.asarray(np.where(labels > 0, labels, wider), np.int32)
