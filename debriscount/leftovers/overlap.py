"""How much of a shot's grains lies where another shot shows debris: in place, and where chance alone would put it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..grains.find import FoundGrains

#: Cover is counted up to this much: a grain brighter than its kind's mean is no two grains.
MOST_COVER = 1.5
#: A grain whose cover sums up to less than this share of its outline was seen by its shade, and is compared by outline.
FAINT = 0.3
#: Where chance is looked for: distances in grain diameters, far enough to be clear of the grain itself and what touches
#: it, near enough to be as densely strewn; and directions at each.
RINGS, DIRECTIONS = (2.0, 3.0, 4.5), 8


@dataclass(frozen=True, slots=True, eq=False)
class SeenGrains:
    """A shot's grains with the cover, of shape (H, W), that they were found in."""

    found: FoundGrains
    cover: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Overlaps:
    """Share of each grain that the other shot covers: 1 for one that lies still, 0 on what is bare there.

    ``here`` has shape (N,); ``by_chance`` of shape (M, N) is the same for the grains put ``offsets_px`` of shape (M, 2)
    beside, columns and rows. ``faint`` of shape (N,) are grains seen by their shade alone.
    """

    here: Floats
    by_chance: Floats
    offsets_px: NDArray[np.int_]
    faint: Mask


def overlaps(grains: SeenGrains, other: SeenGrains) -> Overlaps:
    """Compare the grains of a shot with the debris of another.

    Parameters
    ----------
    grains, other : SeenGrains
        Two shots on one raster; offsets are drawn from the first one's usual grain size.

    Returns
    -------
    Overlaps

    Notes
    -----
    A matched filter whose template is the grain as it is seen: sum of the other's cover over the grain's outline,
    over the sum of its own. A grain put down at random, independently of earlier debris of cover c, has c on average,
    which is what the offsets measure where it lies.
    """
    labels = np.where(grains.found.kind_map > 0, grains.found.labels, 0)
    rows, columns = np.nonzero(labels)
    number, count = labels[rows, columns] - 1, len(grains.found)
    pixels = np.bincount(number, minlength=count)
    own = np.bincount(number, _counted(grains.cover[rows, columns]), count)
    faint = own < FAINT * np.maximum(pixels, 1)
    height, width = other.cover.shape
    covered = other.found.kind_map > 0

    def shares(dx: int, dy: int) -> Floats:
        r, c = np.clip(rows + dy, 0, height - 1), np.clip(columns + dx, 0, width - 1)
        # Off 0.
        cover = np.bincount(number, _counted(other.cover[r, c]), count) / np.maximum(own, 1e-9)
        if not faint.any():
            return np.asarray(cover)
        outline = np.bincount(number, covered[r, c].astype(float), count) / np.maximum(pixels, 1)
        return np.where(faint, outline, cover)

    offsets = _offsets_px(2 * np.sqrt(np.median(grains.found.area_px) / np.pi)) if count else np.zeros((0, 2), int)
    chance = np.array([shares(int(dx), int(dy)) for dx, dy in offsets]).reshape(len(offsets), count)
    return Overlaps(shares(0, 0), chance, offsets, faint)


def _counted(cover: NDArray[np.float32]) -> Floats:
    return np.clip(cover, 0, MOST_COVER).astype(float)


def _offsets_px(diameter_px: float) -> NDArray[np.int_]:
    """Places around, turned from ring to ring so that no direction of a regular layout is met each time."""
    found = []
    for turn, ring in enumerate(RINGS):
        angles = 2 * np.pi * (np.arange(DIRECTIONS) + turn / len(RINGS)) / DIRECTIONS
        found.append(ring * diameter_px * np.stack([np.cos(angles), np.sin(angles)], axis=-1))
    return np.rint(np.concatenate(found)).astype(int)
