"""Grains that only their shade gives away: of the floor's own colour, they are seen by what they darken."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.colours import APART
from ..cover.kinds import KindHint
from ..stats.robust import robust_sd
from .outlined import least_area_px

#: Standard deviations by which usual shade must darken the floor for any to be sought: more than the APART at which a
#: single shade counts.
USUALLY_DARKER = 5.0
#: Share of the usual shade's depth at which shade begins.
HALF = 0.5
#: Shade belongs to a grain where, seen from its middle, at least this share of what is most usual is shade.
USUAL = 0.15
#: Most area of a shade in large grains: a patch larger than two is not cast by one.
MOST = 2.0
#: Grains whose surroundings are looked at to learn where shade lies.
SAMPLE = 4000


@dataclass(frozen=True, slots=True, eq=False)
class Shades:
    """Shades that no found grain casts: ``x_px`` and ``y_px`` of their middles.

    ``labels`` of shape (H, W) is 1 + a shade's entry where it lies, 0 elsewhere.
    """

    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    labels: NDArray[np.int32]


def unclaimed_shades(
    light: NDArray[np.float32],
    debris: NDArray[np.bool_],
    x_px: NDArray[np.float64],
    y_px: NDArray[np.float64],
    kind: KindHint,
) -> Shades:
    """Find shades like those of the grains found, where no grain was found.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W)
        How much brighter a pixel is than the floor, as a share of the floor's brightness; 0 where unknown.
    debris : ndarray of bool, shape (H, W)
        Grains found.
    x_px, y_px : ndarray, shape (N,)
        Their middles.
    kind : KindHint
        The kind whose grains may be of the floor's colour.

    Returns
    -------
    Shades

    Notes
    -----
    What the shade of a grain is like, how deep, how large and to which side, is learned from the grains found; so it
    goes for any lamp. Soft shadows of people are larger than a grain's and not found. Where the grains found cast no
    shade that stands out, nothing is.
    """
    nothing = Shades(np.zeros(0), np.zeros(0), np.zeros(light.shape, np.int32))
    reach = round(kind.size_px[1])
    height, width = light.shape
    column, row = np.rint(x_px).astype(int), np.rint(y_px).astype(int)
    inner = np.flatnonzero(
        (np.minimum(column, row) > reach) & (column < width - reach - 1) & (row < height - reach - 1)
    )
    inner = inner[:: max(1, len(inner) // SAMPLE)]
    if not len(inner):
        return nothing
    # Calms single pixels; a grain's shade stays.
    smooth = cv2.GaussianBlur(light, (0, 0), 0.7)
    known = smooth[::3, ::3][light[::3, ::3] != 0]
    noise = robust_sd(known, 0.0) if len(known) else 0.0
    side = 2 * round(0.5 * kind.size_px[1]) + 1
    darkest = cv2.erode(np.where(debris, np.float32(0), smooth), np.ones((side, side), np.uint8))
    usual = -float(np.median(darkest[row[inner], column[inner]]))
    if usual <= USUALLY_DARKER * noise:
        return nothing
    shade = (smooth < -max(HALF * usual, APART * noise)) & ~debris
    # Two pixels around debris are its own blurred rim.
    beside = cv2.dilate(debris.astype(np.uint8), np.ones((5, 5), np.uint8))
    claimed = np.maximum(_claimed(shade, column, row, inner, reach), beside)
    _, labels, stats, middles = cv2.connectedComponentsWithStats(shade.astype(np.uint8), connectivity=8)
    area = stats[:, cv2.CC_STAT_AREA]
    ours = np.bincount(labels.ravel(), claimed.ravel(), len(area)) > 0.5 * area
    cast = area[1:][ours[1:] & (area[1:] >= 4)]
    least = max(least_area_px(kind), HALF * float(np.median(cast)) if len(cast) else 0.0)
    alone = ~ours & (area > least) & (area < MOST * np.pi / 4 * kind.size_px[1] ** 2)
    alone[0] = False
    return Shades(middles[alone, 0], middles[alone, 1], (np.cumsum(alone) * alone).astype(np.int32)[labels])


def _claimed(
    shade: NDArray[np.bool_],
    column: NDArray[np.int_],
    row: NDArray[np.int_],
    inner: NDArray[np.int_],
    reach: int,
) -> NDArray[np.uint8]:
    """Where the grains found usually throw shade, as seen from their middles."""
    around = np.zeros((2 * reach + 1, 2 * reach + 1))
    for i in inner:
        around += shade[row[i] - reach : row[i] + reach + 1, column[i] - reach : column[i] + reach + 1]
    around /= len(inner)
    anywhere = float(shade.mean())
    usual = (around > anywhere + USUAL * (around.max() - anywhere)).astype(np.uint8)
    middles = np.zeros(shade.shape, np.uint8)
    middles[np.clip(row, 0, shade.shape[0] - 1), np.clip(column, 0, shade.shape[1] - 1)] = 1
    return np.asarray(cv2.dilate(middles, np.ascontiguousarray(usual[::-1, ::-1])), np.uint8)
