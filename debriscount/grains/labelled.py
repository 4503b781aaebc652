"""Pixels labelled by grain, and the sums over them."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """A kind's grains in a floor view; all arrays have shape (H, W).

    ``mask`` is what is drawn as debris, ``labels`` 0 on floor and the number of the grain to which a pixel's debris
    belongs (a rim beyond the mask included), ``weight`` how much of the pixel counts, and ``tight`` how much would at a
    tighter colour limit.
    """

    mask: NDArray[np.bool_]
    labels: NDArray[np.int32]
    weight: NDArray[np.float32]
    tight: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """One entry a grain: centre and area in px, the area at the tighter limit, numbers of its clump and its label."""

    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    area_px: NDArray[np.float64]
    tight_px: NDArray[np.float64]
    clump: NDArray[np.int32]
    label: NDArray[np.int32]


def sum_grains(found: Labelled) -> Sums:
    """Centre and area of every grain; a clump is what hangs together in the mask."""
    rows, columns = np.nonzero(found.labels)
    number = found.labels[rows, columns]
    weight = found.weight[rows, columns].astype(float)
    count = int(number.max()) + 1 if len(number) else 1
    area = np.asarray(np.bincount(number, weight, count)[1:], float)
    tight = np.asarray(np.bincount(number, found.tight[rows, columns].astype(float), count)[1:], float)
    # Off 0, so that every grain has a middle.
    plain = np.maximum(weight, 1e-6)
    total = np.bincount(number, plain, count)[1:]
    with np.errstate(invalid="ignore"):
        x = np.bincount(number, plain * columns, count)[1:] / total
        y = np.bincount(number, plain * rows, count)[1:] / total
    _, clumps = cv2.connectedComponents(found.mask.astype(np.uint8), connectivity=8)
    clump = np.zeros(count, np.int32)
    inside = clumps[rows, columns] > 0
    clump[number[inside]] = clumps[rows[inside], columns[inside]]
    there = (total > 0) & (area > 0)
    label = np.flatnonzero(there).astype(np.int32) + 1
    return Sums(x[there], y[there], area[there], tight[there], clump[1:][there], label)
