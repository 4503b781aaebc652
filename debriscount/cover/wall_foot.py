"""The foot of a wall where it shows beside its place: a row so long and thin is no debris."""

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Mask
from .floor import disc
from .kinds import KindHint

#: How far the foot of a wall may show from its place, px, and how many large grains long a row along it is the foot.
FOOT_PX, FOOT_ROW = 5, 3.0
#: Gaps that noise makes in a foot that hardly shows, px: as far as noise goes together, and a pixel.
DASHES_PX = 5


def wall_foot(covers: Iterable[NDArray[np.float32]], kinds: Sequence[KindHint], shown: Mask, usable: Mask) -> Mask:
    """Where a wall's foot is taken for debris in one of the shots.

    Parameters
    ----------
    covers : iterable of ndarray of float32, shape (H, W)
        Cover of every shot.
    kinds : sequence of KindHint
        The debris, for the size of its grains.
    shown, usable : ndarray of bool, shape (H, W)
        The floor that all shots show, with and without what is close behind walls.

    Returns
    -------
    ndarray of bool, shape (H, W)

    Notes
    -----
    A row along the foot counts if it is unbroken for three large grains. On the very line where floor and wall meet,
    which grains hardly reach, it also counts if it is broken by noise alone.
    """
    behind = (shown & ~usable).astype(np.uint8)
    foot = np.zeros_like(behind)
    if not behind.any():
        return foot > 0
    near, line = (cv2.dilate(behind, kernel) > 0 for kernel in (disc(FOOT_PX), np.ones((3, 3), np.uint8)))
    length = round(FOOT_ROW * max(*(k.size_px[1] for k in kinds), FOOT_PX))
    level = 0.5 * min(k.least_peak for k in kinds)
    for cover in covers:
        row = ((np.abs(cover) > level) & near).astype(np.uint8)
        for along in ((1, 0), (0, 1)):
            gap, run = (np.ones([(size - 1) * a + 1 for a in along], np.uint8) for size in (DASHES_PX, length))
            for seen in (row, cv2.morphologyEx(row * line, cv2.MORPH_CLOSE, gap)):
                foot |= np.asarray(cv2.morphologyEx(seen, cv2.MORPH_OPEN, run), np.uint8)
    return np.asarray(cv2.dilate(foot, np.ones((3, 3), np.uint8)) > 0)
