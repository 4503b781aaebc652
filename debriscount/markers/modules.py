"""Read a square's modules, say which marker it is, and whether it looks printed."""

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from .edges import LightCrop
from .square import MODULES

#: Modules a side with the ring of white paper around the black square.
READ = MODULES + 2
#: Least difference between paper and black around a module, as a share of the paper: printer's black reflects a
#: twentieth of what paper does, and glare that lifts both by the paper's own light still leaves a half.
LEAST_CONTRAST = 0.3
#: Least and most light of the code's white modules and of its black ones, the border's black being 0 and the paper
#: around the square 1: blur may take a third from a single module, and a shadow's edge lie beside it.
WHITE, BLACK = (0.5, 1.6), (-0.35, 0.45)
#: Most that the code's white differs from the paper around in its colour: red, green and blue, as a factor. Print in
#: simulated photos: 1.12; grains are coloured.
TINT = 1.4
#: Least difference between paper and black by which a channel tells colours, linear light.
FAINTEST = 0.005
#: Neighbours, in modules, from which a module's own light is known.
_NEAR = 1.5
#: Modules of the code, of the black border, of the paper around it.
CODE, BORDER, RING = range(3)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Reading:
    """A square read as a marker.

    ``turns`` is how many corners its own top left comes after the first one given. ``code``, ``border`` and ``ring``
    count modules that are not as the marker has them: of 16, 20 and 28. ``printed`` is the share of
    the code's white that is the paper around it, or of its black that is the border's, whichever is less.
    """

    id: int
    turns: int
    code: int
    border: int
    ring: int
    printed: float

    @property
    def wrong(self) -> int:
        """Number of modules that are not as the marker has them, of 64."""
        return self.code + self.border + self.ring


def read_marker(crop: LightCrop, corners_px: Floats, wanted: Collection[int]) -> Reading:
    """Compare a square's modules with the markers of the dictionary.

    Parameters
    ----------
    crop : LightCrop
        The photo around the square and its white rim.
    corners_px : ndarray of shape (4, 2)
        Corners of the black square, clockwise.
    wanted : collection of int
        Markers it may be.

    Returns
    -------
    Reading
        The marker that fits best.

    Notes
    -----
    What is white and what is black is told from each module's neighbours, as a marker has them, so that a shadow's
    edge or a lamp's reflection across the square does no harm.
    """
    numbers = sorted(wanted)
    white, near = np.concatenate([_patterns()[4 * n : 4 * n + 4] for n in numbers]), _nearness()
    places = _places(corners_px)
    light = crop.at(places).reshape(READ, 3, READ, 3).mean(axis=(1, 3), dtype=float).ravel()
    paper = (white * light) @ near / (white @ near)
    ink = (~white * light) @ near / (~white @ near)
    clear = paper - ink > LEAST_CONTRAST * paper
    right = clear & np.where(white, light > (paper + ink) / 2, light < (paper + ink) / 2)
    best = int((~right).sum(axis=1).argmin())
    code, border, ring = (int((~right[best] & (_parts() == part)).sum()) for part in (CODE, BORDER, RING))
    colour = crop.colour_at(places).reshape(READ, 3, READ, 3, 3).mean(axis=(1, 3), dtype=float).reshape(-1, 3)
    return Reading(
        id=numbers[best // 4],
        turns=best % 4,
        code=code,
        border=border,
        ring=ring,
        printed=_printed(colour, white[best]),
    )


def may_be_marker(crop: LightCrop, corners_px: Floats) -> bool:
    """Whether a square placed coarsely has a border darker than what is around it, and something bright inside.

    Every marker of the dictionary has four white modules or more; two are asked for.
    """
    light = crop.at(_places(corners_px)).reshape(READ, 3, READ, 3).mean(axis=(1, 3), dtype=float).ravel()
    ring, border = (float(np.median(light[_parts() == part])) for part in (RING, BORDER))
    bright = light[_parts() == CODE] > (ring + border) / 2
    # Paper reflects ten times as much as ink; a third more is left in glare or deep shade.
    return ring > 1.3 * border and int(bright.sum()) >= 2


def black_behind(number: int, turns: int) -> list[list[bool]]:
    """For each side of a square, clockwise, which of its six modules have black behind the border."""
    inner = ~_patterns()[4 * number + turns].reshape(READ, READ)[1:-1, 1:-1]
    sides = (inner[1], inner[:, -2], inner[-2, ::-1], inner[::-1, 1])
    return [[bool(dark) for dark in side] for side in sides]


def pattern(number: int) -> Mask:
    """White modules of a marker and of the paper around it, shape (8, 8)."""
    return np.asarray(_patterns()[4 * number].reshape(READ, READ))


def _printed(colour: Floats, white: Mask) -> float:
    """Share of the code's white that is the paper around it, or of its black that is the border's if that is less.

    ``colour`` is that of the modules, shape (64, 3). 0 where the code's white has another colour than the paper.
    """
    part, near, inside = _parts(), _nearness(), _parts() == CODE
    paper, ink = (
        near[part == where].T @ colour[part == where] / near[part == where].sum(axis=0)[:, None]
        for where in (RING, BORDER)
    )
    # Off 0.
    step = np.maximum(paper - ink, 1e-6)[inside]
    level, bright = (colour - ink)[inside] / step, white[inside]
    middle = np.median(level[bright], axis=0)[np.median(step, axis=0) > FAINTEST]
    if len(middle) == 0 or middle.max() > TINT * max(float(middle.min()), 0.0):
        return 0.0
    grey = np.median(level, axis=1)
    low, high = (np.where(bright, one, other) for one, other in zip(WHITE, BLACK, strict=True))
    alike = (grey > low) & (grey < high)
    return float(min(alike[bright].mean(), alike[~bright].mean()))


def _places(corners_px: Floats) -> Floats:
    """Pixels of three by three places in the middle of each module and of the ring around them, shape (24, 24, 2)."""
    unit = np.array([[0, 0], [MODULES, 0], [MODULES, MODULES], [0, MODULES]], np.float32)
    to_photo = np.asarray(cv2.getPerspectiveTransform(unit, corners_px.astype(np.float32)), float)
    # A fifth of a module to either side of its middle: clear of its neighbours' blur.
    inner = ((np.arange(READ) - 0.5)[:, None] + np.array([-0.2, 0, 0.2])).ravel()
    places = np.stack(np.meshgrid(inner, inner), axis=-1)
    return np.asarray(cv2.perspectiveTransform(places.reshape(1, -1, 2), to_photo).reshape(places.shape), float)


@cache
def _patterns() -> Mask:
    """White modules of each marker in each of its four turns, shape (200, 64)."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    # The dictionary has fifty; black is 0 and white 255.
    upright = [cv2.aruco.generateImageMarker(dictionary, n, MODULES) > 127 for n in range(50)]
    turned = [np.rot90(one, -k) for one in upright for k in range(4)]
    return np.array([np.pad(one, 1, constant_values=True).ravel() for one in turned])


@cache
def _parts() -> NDArray[np.int_]:
    """What each module belongs to, shape (64,)."""
    part = np.full((READ, READ), RING)
    part[1:-1, 1:-1], part[2:-2, 2:-2] = BORDER, CODE
    return part.ravel()


@cache
def _nearness() -> Floats:
    """Weight of each module in what is expected of another, shape (64, 64); 0 for itself."""
    place = np.stack(np.meshgrid(np.arange(READ), np.arange(READ)), axis=-1).reshape(-1, 2)
    far = ((place[:, None] - place[None]) ** 2).sum(axis=-1)
    return np.asarray(np.exp(-far / (2 * _NEAR**2)) * (far > 0))
