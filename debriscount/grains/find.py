"""From a cover map to grains: where they lie and how much floor each hides."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cover.floor import RIM_PX, disc
from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from .split import split_grains

#: Standard deviations of cover by which a pixel must stand out: see cover.colours.APART. The smoothing below takes 0.40
#: (0.7 px) and 0.56 (0.5 px) of white noise's standard deviation, 1 / (2 sqrt(pi) s); a photo's noise is smoother than
#: white, so a half and three quarters are reckoned with.
STANDS_OUT = 4.0

#: A tighter colour limit that is tried, as a share of full cover, and the standard uncertainty of the limit in the same
#: unit. The latter, like FINE_LIMIT_U, was set by hand with 80 simulated runs and the rendered photo sets in view, and
#: checked on other simulated runs (tests/benchmarks/coverage.py).
TIGHTER, LIMIT_U = 0.1, 0.01
#: The same for grains without an outline, as a share of the limit itself.
FINE_TIGHTER, FINE_LIMIT_U = 0.5, 0.15
#: Largest hole within a grain, a highlight or a crease, as a share of a small grain's area. Three equal discs that
#: touch leave a gap of 0.05 of a disc's area between them.
HOLE = 0.05
#: Mean departure from shaded floor, in standard deviations, that a grain must have.
NO_SHADE = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class FoundGrains:
    """Grains of one shot in pixels of the floor view.

    ``kind``, ``x_px``, ``y_px`` and ``area_px`` hold one entry a grain; ``limit_px`` is what the area loses when the
    shot's colour limit is tighter by its standard uncertainty. ``kind_map`` of shape (H, W) is 0 on floor and 1 + kind
    on debris.
    """

    kind: NDArray[np.int16]
    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    area_px: NDArray[np.float64]
    limit_px: NDArray[np.float64]
    kind_map: NDArray[np.uint8]


def find_grains(shot: ShotCover, kinds: Sequence[KindHint]) -> FoundGrains:
    """Find the grains of every kind in a shot.

    Parameters
    ----------
    shot : ShotCover
        Cover, its noise and the likeliest kind of each pixel.
    kinds : sequence of KindHint
        The kinds of debris, as the cover stage took them.

    Returns
    -------
    FoundGrains
    """
    kind_map = np.zeros(shot.cover.shape, np.uint8)
    parts = []
    for k, kind in enumerate(kinds):
        cover = shot.cover if len(kinds) == 1 else np.where(shot.kind == k, shot.cover, np.float32(0))
        find = _outlined if kind.outlined else _gathered
        mask, labels, weight, tight = find(cover, shot, kind)
        kind_map[mask] = k + 1
        x, y, area, tight_area = _collect(labels, weight, tight)
        step = LIMIT_U / TIGHTER if kind.outlined else FINE_LIMIT_U / FINE_TIGHTER
        parts.append((np.full(len(x), k, np.int16), x, y, area, step * (area - tight_area)))
    number, x, y, area, limit = (np.concatenate([p[i] for p in parts]) for i in range(5))
    return FoundGrains(number, x, y, area, limit, kind_map)


def _collect(
    labels: NDArray[np.int32], weight: NDArray[np.float32], tight: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    rows, columns = np.nonzero(labels)
    number = labels[rows, columns]
    w = weight[rows, columns].astype(float)
    count = int(number.max()) + 1 if len(number) else 1
    area = np.asarray(np.bincount(number, w, count)[1:], float)
    tight_area = np.asarray(np.bincount(number, tight[rows, columns].astype(float), count)[1:], float)
    plain = np.maximum(w, 1e-6)
    total = np.bincount(number, plain, count)[1:]
    with np.errstate(invalid="ignore"):
        x = np.bincount(number, plain * columns, count)[1:] / total
        y = np.bincount(number, plain * rows, count)[1:] / total
    there = (total > 0) & (area > 0)
    return x[there], y[there], area[there], tight_area[there]


# Mask of debris, label of each pixel's grain, the share of the pixel that counts, and that at a tighter limit.
_Found = tuple[NDArray[np.bool_], NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]]


def _outlined(cover: NDArray[np.float32], shot: ShotCover, kind: KindHint) -> _Found:
    """Grains with an inside: the outline runs at half of each grain's own level."""
    size, sigma = kind.size_px, shot.sigma
    smooth = cv2.GaussianBlur(cover, (0, 0), 0.7)
    # A grain in the shade or with a pale side has a level of its own: the mean of what comes near the highest
    # cover within a grain's width.
    side = 2 * int(0.5 * size[0]) + 1
    top = cv2.dilate(smooth, np.ones((side, side), np.uint8))
    inside = (smooth > np.maximum(0.8 * np.minimum(top, 1.1), STANDS_OUT * 0.5 * sigma)).astype(np.float32)
    share = cv2.blur(inside, (side, side))
    level = cv2.blur(np.minimum(smooth, 1.2) * inside, (side, side)) / np.maximum(share, 1e-3)
    level = np.clip(np.where(share > 1e-3, level, top), 0.4, 1)
    mask = (smooth > 0.5 * level) & (smooth > STANDS_OUT * 0.5 * sigma)
    mask = _fill_holes(mask, HOLE * np.pi / 4 * size[0] ** 2)
    labels = split_grains(mask, 0.1 * size[0])
    sizes = np.bincount(labels.ravel())
    # A third of the smallest usual grain's area is no grain of this kind.
    small = sizes < max(0.33 * np.pi / 4 * size[0] ** 2, 4)
    # Coloured shade looks like a little debris all over, but no part of it is far from shaded floor.
    shade = np.bincount(labels.ravel(), shot.apart.ravel()) < NO_SHADE * sizes
    small = small | shade
    small[0] = True
    labels = np.where(small[labels], 0, labels).astype(np.int32)
    mask = labels > 0
    # Soft edge: a pixel counts from a quarter to three quarters of the level, so that the sum has the
    # half-level outline's area without its steps.
    grown = _grow_labels(labels, 1)
    inside = cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    soft, tight = (
        np.where(inside, np.float32(1), np.clip((cover / level - start) / 0.5, 0, 1))
        for start in (0.25, 0.25 + TIGHTER)
    )
    return mask, grown, soft, tight


def _gathered(cover: NDArray[np.float32], shot: ShotCover, kind: KindHint) -> _Found:
    """Grains that are all edge: cover is gathered in a grown outline, less the floor's own around it."""
    sigma = shot.sigma
    smooth = cv2.GaussianBlur(cover, (0, 0), 0.5)
    limit = np.maximum(0.5 * kind.least_peak, STANDS_OUT * 0.75 * sigma)
    mask = smooth > limit
    seeds = mask & (smooth >= cv2.dilate(smooth, np.ones((3, 3), np.uint8)))
    near = cv2.dilate(mask.astype(np.uint8), disc(RIM_PX)).astype(bool)
    if not seeds.any():
        return mask, np.zeros(mask.shape, np.int32), cover, cover
    _, nearest = cv2.distanceTransformWithLabels(
        (~seeds).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_CCOMP
    )
    labels = np.where(near, nearest, 0).astype(np.int32)
    far = cv2.dilate(near.astype(np.uint8), disc(RIM_PX)) == 0
    own = cover - _around(cover, far, max(15.0, 4 * kind.size_px[1]))
    weight = np.clip(own, -2 * sigma, 1.5)
    sure = np.zeros(int(labels.max()) + 1, bool)
    sure[labels[seeds & (smooth > (1 + FINE_TIGHTER) * limit)]] = True
    return mask, labels, weight, np.where(sure[labels], weight, np.float32(0))


def _fill_holes(mask: NDArray[np.bool_], most_px: float) -> NDArray[np.bool_]:
    """Close holes of up to ``most_px`` pixels: gaps between touching grains are larger and stay open."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats((~mask).astype(np.uint8), connectivity=4)
    hole = stats[:, cv2.CC_STAT_AREA] <= most_px
    hole[0] = False
    return np.asarray(mask | hole[labels])


def _around(cover: NDArray[np.float32], bare: NDArray[np.bool_], reach_px: float) -> NDArray[np.float32]:
    """Mean cover of the bare floor around: what the floor itself shows as debris there."""
    weight = bare.astype(np.float32)
    side = 2 * int(reach_px) + 1
    total = cv2.blur(cover * weight, (side, side))
    share = cv2.blur(weight, (side, side))
    return np.where(share > 0.05, total / np.maximum(share, 0.05), 0)


def _grow_labels(labels: NDArray[np.int32], steps: int) -> NDArray[np.int32]:
    grown = labels
    for _ in range(steps):
        wider = cv2.dilate(grown.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
        grown = np.where(grown > 0, grown, wider)
    return grown
