"""How debris looks, and what of the floor looks like it: what lies still may be either.

What came or went is debris; what it looks like tells how debris looks in these photos. Around the patch nothing was
strewn, so that whatever looks like debris there is floor. Held against both, a thing that lies still is debris if
things that look as much like it are more often met in the patch than the floor around makes them.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .colours import LearnedColour
from .kinds import KindHint
from .membership import colour_places

Floats = NDArray[np.float64]

#: Least deviations that are believed of what came or went: three of colour, then of the logarithms of inner radius,
#: area and how stringy a thing is.
LEAST_SD = np.array([0.06, 0.08, 0.08, 0.15, 0.3, 0.4])
#: Things that came or went from which their usual look is learned; fewer, and the kind's colour and size tell it.
FEWEST = 12
#: How many standard deviations the hue of what came or went may be from the kind's learned colour.
NEAR = 2.5
#: Beyond this many deviations in all a thing is not like the kind, whatever the floor around shows.
FARTHEST = 8.0
#: Share of the strewn floor that the floor around must have to tell what the floor shows.
LEAST_AROUND = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """How labelled things look, one entry a thing.

    ``look`` of shape (N, 6) holds three coordinates of mean colour and the logarithms of the inner radius, of the area
    and of the area over that of the inscribed circle; ``row`` and ``column`` are a place within each.
    """

    area_px: Floats
    look: Floats
    row: NDArray[np.int64]
    column: NDArray[np.int64]


def looks_of(labels: NDArray[np.int32], count: int, view: NDArray[np.float32]) -> Looks:
    """How the things labelled 1 to ``count`` look in a view of linear light, shape (H, W, 3).

    Things without a pixel have an area of 0.
    """
    rows, columns = np.nonzero(labels)
    label = labels[rows, columns]
    depth = cv2.distanceTransform((labels > 0).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)[rows, columns]
    radius = np.zeros(count + 1)
    np.maximum.at(radius, label, depth)
    inner = depth >= 0.5 * radius[label]
    total = np.bincount(label[inner], minlength=count + 1).astype(float)
    colour = np.stack(
        [np.bincount(label[inner], view[rows[inner], columns[inner], c], count + 1) for c in range(3)], axis=-1
    )
    area = np.bincount(label, minlength=count + 1).astype(float)
    place = np.zeros(count + 1, np.int64)
    place[label] = np.arange(len(label))
    colour, area, radius = colour[1:] / np.maximum(total[1:, None], 1), area[1:], np.maximum(radius[1:], 0.5)
    shape = np.log(np.stack([radius, np.maximum(area, 1), np.maximum(area, 1) / (np.pi * radius**2)], axis=-1))
    look = np.concatenate([colour_places(colour), shape], axis=1)
    if not len(rows):
        return Looks(area, look, np.zeros(count, np.int64), np.zeros(count, np.int64))
    return Looks(area, look, rows[place[1:]], columns[place[1:]])


def things_in(mask: NDArray[np.bool_], least_px: float) -> tuple[NDArray[np.int32], int]:
    """Label what hangs together in a mask and has at least ``least_px`` pixels; the labels and their number."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return (np.cumsum(keep) * keep).astype(np.int32)[labels], int(keep.sum())


@dataclass(frozen=True, slots=True, eq=False)
class UsualLook:
    """Mean and standard deviation of a kind's look, both of shape (6,)."""

    mean: Floats
    sd: Floats

    def unlike(self, look: Floats) -> Floats:
        """How many standard deviations things are from it in all, shape (N,).

        Larger and thicker than usual is a heap, which is as good as a grain; more compact is no fault either.
        """
        z = (look - self.mean) / self.sd
        z[:, 3:5] = np.minimum(z[:, 3:5], 0)
        z[:, 5] = np.maximum(z[:, 5], 0)
        return np.asarray(np.sqrt((z**2).sum(axis=1)))


def usual_look(changed: Floats, kind: KindHint, colour: LearnedColour) -> UsualLook:
    """How a kind looks: as what came or went (N, 6), or by its colour and size where that is too little.

    Of what came or went only things near the kind's learned colour count: light and shade come and go as well.
    """
    small, large = kind.size_px
    usual = float(np.sqrt(small * large))
    shape = np.log([0.4 * usual, np.pi / 4 * usual**2, 1.3])
    start = UsualLook(
        np.concatenate([colour_places(colour.mean[None])[0], shape]), np.array([0.15, 0.2, 0.2, 0.3, 0.4, 0.5])
    )
    hue = np.abs((changed - start.mean) / start.sd)[:, :2].max(axis=1) < NEAR if len(changed) else np.zeros(0, bool)
    if hue.sum() < FEWEST:
        return UsualLook(start.mean, np.maximum(start.sd, LEAST_SD))
    mean = np.median(changed[hue], axis=0)
    sd = 1.4826 * np.median(np.abs(changed[hue] - mean), axis=0)
    return UsualLook(mean, np.maximum(sd, LEAST_SD))


def look_limit(unlike: Floats, area_px: Floats, strewn: NDArray[np.bool_], floor_px: float, around_px: float) -> float:
    """How unlike debris a thing may look.

    Parameters
    ----------
    unlike : ndarray of shape (N,)
        How unlike debris each thing looks.
    area_px : ndarray of shape (N,)
        Their areas.
    strewn : ndarray of bool, shape (N,)
        Whether each lies where debris was strewn; the others lie on the floor around.
    floor_px, around_px : float
        Area of the floor where debris was strewn, and of that around, px.

    Returns
    -------
    float
        The limit up to which things where debris was strewn exceed twice what the floor around makes expect by most
        area: beyond it more of what is met is floor than debris. 0 if they never do; FARTHEST where too little of the
        floor around is seen to tell.
    """
    if around_px < LEAST_AROUND * floor_px:
        return FARTHEST
    order = np.argsort(unlike, kind="stable")
    gain = np.cumsum(np.where(strewn[order], area_px[order], -2 * floor_px / around_px * area_px[order]))
    gain = gain[unlike[order] < FARTHEST]
    if not len(gain) or gain.max() <= 0:
        return 0.0
    best = int(gain.argmax())
    return FARTHEST if best == len(gain) - 1 else float(unlike[order[best]])
