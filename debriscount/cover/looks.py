"""How debris looks, and what of the floor looks like it: what lies still may be either.

What came or went is debris; what it looks like tells how debris looks in these photos. Around the patch nothing was
strewn, so that whatever looks like debris there is floor. Held against both, a thing that lies still is debris if
things that look as much like it are more often met in the patch than the floor around makes them.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..stats.robust import SD_OVER_MAD, robust_sd
from .colours import LearnedColour
from .floor import RIM_PX, brightness, disc
from .kinds import KindHint
from .light import FAINTEST
from .membership import colour_places

Floats = NDArray[np.float64]

#: Least deviations that are believed of what came or went: three of colour, then of the logarithms of inner radius,
#: area, how stringy a thing is, and contrast.
LEAST_SD = np.array([0.06, 0.08, 0.08, 0.15, 0.3, 0.4, 0.25])
#: Logarithm of a contrast that no photo shows: of a kind of which nothing came or went no contrast is expected.
NO_CONTRAST = -20.0
#: Share of what came or went with the least contrast, and how many standard deviations below the mean that is if
#: contrast is normally distributed: on a pale tile a pale grain has little, so the lower side alone tells the spread.
FAINT_SHARE, FAINT_Z = 0.1, 1.282
#: Things that came or went from which their usual look is learned; fewer, and the kind's colour and size tell it.
FEWEST = 12
#: How many standard deviations the hue of what came or went may be from the kind's learned colour.
NEAR = 2.5
#: How many standard deviations less contrast than usual make a thing faint: of a thousand grains one has so little.
FAINT = 3.0
#: Beyond this many deviations in all a thing is not like the kind, whatever the floor around shows.
FARTHEST = 8.0
#: Share of the strewn floor that the floor around must have to tell what the floor shows.
LEAST_AROUND = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """How labelled things look, one entry a thing.

    ``look`` of shape (N, 7) holds three coordinates of mean colour and the logarithms of the inner radius, of the area,
    of the area over that of the inscribed circle and of Michelson's contrast of the brightest with the darkest place in
    it and its rim; ``row`` and ``column`` are a place within each.
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
    look = np.concatenate([colour_places(colour), shape, _log_contrast(labels, count, view)[:, None]], axis=1)
    if not len(rows):
        return Looks(area, look, np.zeros(count, np.int64), np.zeros(count, np.int64))
    return Looks(area, look, rows[place[1:]], columns[place[1:]])


def _log_contrast(labels: NDArray[np.int32], count: int, view: NDArray[np.float32]) -> Floats:
    """Logarithm of Michelson's contrast (brightest less darkest over their sum) in each thing and its rim, (count,)."""
    size = 2 * RIM_PX + 1
    grown = cv2.dilate(labels.astype(np.float32), np.ones((size, size), np.uint8)).astype(np.int32)
    smooth = _smooth_brightness(view)
    place = grown > 0
    label, values = grown[place], smooth[place]
    bright, dark = np.zeros(count + 1), np.full(count + 1, np.inf)
    np.maximum.at(bright, label, values)
    np.minimum.at(dark, label, values)
    return _log_michelson(bright[1:], dark[1:])


def _smooth_brightness(view: NDArray[np.float32]) -> NDArray[np.float32]:
    # Calms single pixels; the ends of a grain's contrast stay.
    return np.asarray(cv2.GaussianBlur(brightness(view), (0, 0), 0.7), np.float32)


def _log_michelson(bright: NDArray[Any], dark: NDArray[Any]) -> Floats:
    bright = np.maximum(bright, FAINTEST)
    dark = np.clip(dark, 0, bright)
    return np.asarray(np.log(np.maximum((bright - dark) / (bright + dark), np.exp(NO_CONTRAST))))


def floor_contrasts(view: NDArray[np.float32], bare: NDArray[np.bool_], kind: KindHint) -> Floats:
    """Logarithm of Michelson's contrast in places of bare floor as large as a usual grain and its rim.

    Parameters
    ----------
    view : ndarray of float32, shape (H, W, 3)
        Linear light.
    bare : ndarray of bool, shape (H, W)
        Floor without debris; places that reach beyond it are left out.
    kind : KindHint
        The kind whose grains the places are as large as.

    Returns
    -------
    ndarray of shape (M,)
    """
    window = disc(round(0.5 * float(np.sqrt(kind.size_px[0] * kind.size_px[1]))) + RIM_PX) > 0
    whole = _in_tiles(bare, window).all(axis=-1)
    values = _in_tiles(_smooth_brightness(view), window)[whole]
    if not len(values):
        return np.zeros(0)
    return _log_michelson(values.max(axis=-1), values.min(axis=-1))


def _in_tiles(values: NDArray[Any], window: NDArray[np.bool_]) -> NDArray[Any]:
    """What a window, laid tile by tile, shows of values of shape (H, W): one row a tile."""
    side = len(window)
    rows, columns = (size // side for size in values.shape)
    tiles = values[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return tiles.transpose(0, 2, 1, 3)[..., window].reshape(rows * columns, -1)


def things_in(mask: NDArray[np.bool_], least_px: float) -> tuple[NDArray[np.int32], int]:
    """Label what hangs together in a mask and has at least ``least_px`` pixels; the labels and their number."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return (np.cumsum(keep) * keep).astype(np.int32)[labels], int(keep.sum())


@dataclass(frozen=True, slots=True, eq=False)
class UsualLook:
    """Mean and standard deviation of a kind's look, both of shape (7,)."""

    mean: Floats
    sd: Floats

    def unlike(self, look: Floats) -> Floats:
        """How many standard deviations things are from it in all, shape (N,).

        Larger and thicker than usual is a heap, which is as good as a grain; more compact, or of more contrast, is no
        fault either.
        """
        z = (look - self.mean) / self.sd
        # Columns as in `Looks`: radius and area, then how stringy, then contrast.
        z[:, 3:5] = np.minimum(z[:, 3:5], 0)
        z[:, 5] = np.maximum(z[:, 5], 0)
        z[:, 6] = np.minimum(z[:, 6], 0)
        return np.asarray(np.sqrt((z**2).sum(axis=1)))

    def faint(self, look: Floats, floor: Floats) -> NDArray[np.bool_]:
        """Which things have far less contrast than is usual, and one that bare floor is likelier to show, shape (N,).

        ``floor`` holds what `floor_contrasts` gives. A blot of a camera's colour noise has the colour of pale debris,
        but neither its lit side nor its dark one.
        """
        if len(floor) < FEWEST:
            return np.zeros(len(look), bool)
        middle, sd = np.median(floor), max(robust_sd(floor), LEAST_SD[6])
        z, of_floor = (look[:, 6] - self.mean[6]) / self.sd[6], (look[:, 6] - middle) / sd
        likelier = 0.5 * of_floor**2 + np.log(sd) < 0.5 * z**2 + np.log(self.sd[6])
        return np.asarray((z < -FAINT) & likelier)


def usual_look(changed: Floats, kind: KindHint, colour: LearnedColour) -> UsualLook:
    """How a kind looks: as what came or went (N, 7), or by its colour and size where that is too little.

    Of what came or went only things near the kind's learned colour count: light and shade come and go as well.
    """
    small, large = kind.size_px
    usual = float(np.sqrt(small * large))
    # A lone grain's: radius a little below half a diameter, a disc's area, a third longer than wide.
    shape = np.log([0.4 * usual, np.pi / 4 * usual**2, 1.3])
    # Deviations are rough: the file's colour and sizes are hints, and no contrast is expected.
    start = UsualLook(
        np.concatenate([colour_places(colour.mean[None])[0], shape, [NO_CONTRAST]]),
        np.array([0.15, 0.2, 0.2, 0.3, 0.4, 0.5, 1.0]),
    )
    hue = np.abs((changed - start.mean) / start.sd)[:, :2].max(axis=1) < NEAR if len(changed) else np.zeros(0, bool)
    if hue.sum() < FEWEST:
        return UsualLook(start.mean, np.maximum(start.sd, LEAST_SD))
    mean = np.median(changed[hue], axis=0)
    sd = SD_OVER_MAD * np.median(np.abs(changed[hue] - mean), axis=0)
    sd[6] = (mean[6] - np.quantile(changed[hue, 6], FAINT_SHARE)) / FAINT_Z
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
