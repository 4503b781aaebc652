"""Part touching grains: along the necks between them, and by what size a grain usually has."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Two humps of the distance map are as likely one grain as two when the saddle between them keeps this share of the
#: lower hump. Two equal discs keep it when their centres are closer than 1.2 radii: four fifths overlap.
SADDLE = 0.8
#: A saddle that keeps this much more or less makes the one e times as likely as the other: an unbroken grain (1) is
#: then twelve times as likely one as two, discs that half overlap (0.6) twelve times as likely two.
SADDLE_STEP = 0.08
#: Areas beyond this many standard deviations are no grain of the usual kind, but how far beyond decides no more than in
#: proportion: outlines are never so good.
BEYOND = 3.0
#: A piece smaller than usual by this many standard deviations is broken off: one grain in seven hundred is so small.
BROKEN = 3.0
#: Least standard deviation of the logarithm of a grain's area: blur and shade make outlines differ even between equal
#: grains.
LEAST_SPREAD = 0.12
#: What the area of one grain may be, in small and in large grains, when the usual area is learned from the pieces.
SINGLE = (0.33, 1.5)
#: What outlines may make of a grain's area: shading may hide half of it, blur adds less than a tenth to its width.
DRAWN = (0.5, 1.2)


def split_grains(
    mask: NDArray[np.bool_], size_px: tuple[float, float], parted: NDArray[np.bool_] | None = None
) -> NDArray[np.int32]:
    """Label grains of several pixels, touching ones apart.

    Parameters
    ----------
    mask : ndarray of bool, shape (H, W)
        Debris of one kind.
    size_px : (float, float)
        5th and 95th percentile of grain diameter, px.
    parted : ndarray of bool, shape (H, W), optional
        A part of the mask, drawn more tightly, in which touching grains hang together less.

    Returns
    -------
    ndarray of int32, shape (H, W)
        0 outside the mask, 1 to N inside; also 0 where a piece of the mask holds nothing of the tighter one.

    Notes
    -----
    Watershed on the distance to the outline. Basins are then joined again, from the highest saddle down, where one
    grain is likelier than two: by the saddle, since a long grain's ridge has many humps but no neck, and by area, since
    areas are log-normal with the spread that the sizes tell and the median that the mask itself shows. What is found in
    the tighter mask grows to fill the wider one, where pieces of one grain that shading broke up are joined in turn.
    """
    from skimage.segmentation import watershed  # takes long to load

    inner = mask if parted is None else parted
    height = _height(inner, size_px)
    peak = (height >= cv2.dilate(height, np.ones((3, 3), np.uint8))) & inner
    count, seeds = cv2.connectedComponents(peak.astype(np.uint8), connectivity=8)
    if count <= 1:
        return np.zeros(mask.shape, np.int32)
    labels = watershed(-height, seeds, mask=inner).astype(np.int32)  # type: ignore[no-untyped-call]
    labels = _join_likely(_pieces(labels, height), size_px)
    if parted is None:
        return labels
    height = _height(mask, size_px)
    labels = watershed(-height, labels, mask=mask).astype(np.int32)  # type: ignore[no-untyped-call]
    return _join_likely(_pieces(labels, height), size_px, broken=True)


def _height(mask: NDArray[np.bool_], size_px: tuple[float, float]) -> NDArray[np.float32]:
    """Distance to the outline, smoothed a little, 0 outside."""
    distance = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    # A twentieth of a grain: dents of single pixels are no necks.
    return np.asarray(cv2.GaussianBlur(distance, (0, 0), max(0.05 * size_px[0], 0.5)) * mask, np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    """Labels (H, W), each label's area and highest point, and the pairs that touch with the saddle between them."""

    labels: NDArray[np.int32]
    areas: NDArray[np.float64]
    tops: NDArray[np.float32]
    pairs: NDArray[np.int64]
    saddles: NDArray[np.float32]


def _pieces(labels: NDArray[np.int32], height: NDArray[np.float32]) -> _Pieces:
    areas = np.bincount(labels.ravel()).astype(float)
    tops = np.zeros(len(areas), np.float32)
    np.maximum.at(tops, labels[labels > 0], height[labels > 0])
    return _Pieces(labels, areas, tops, *_saddles(labels, height))


def _join_likely(pieces: _Pieces, size_px: tuple[float, float], broken: bool = False) -> NDArray[np.int32]:
    return _join(pieces, *_usual_log_area(pieces, size_px), broken)


def _usual_log_area(pieces: _Pieces, size_px: tuple[float, float]) -> tuple[float, float]:
    """Median and standard deviation of the logarithm of a grain's area, px.

    The median, by area, of all that necks alone leave whole and that may be a single grain; specks of noise are many
    but small. It is kept within what blur and shading can make of the sizes.
    """
    small, large = (np.pi / 4 * d**2 for d in size_px)
    # 5th and 95th percentile of a normal distribution are 3.29 standard deviations apart.
    spread = max(float(np.log(large / small)) / 3.29, LEAST_SPREAD)
    areas = np.sort(np.bincount(_join(pieces, 0.0, np.inf).ravel())[1:].astype(float))
    areas = areas[(areas > SINGLE[0] * small) & (areas < SINGLE[1] * large)]
    middle = float(np.log(small * large)) / 2
    if not len(areas):
        return middle, spread
    total = np.cumsum(areas)
    usual = float(np.log(areas[np.searchsorted(total, 0.5 * total[-1])]))
    return float(np.clip(usual, middle + np.log(DRAWN[0]), middle + np.log(DRAWN[1]))), spread


def _join(pieces: _Pieces, usual: float, spread: float, broken: bool = False) -> NDArray[np.int32]:
    """Join pieces where one grain is likelier than two; ``broken`` ones have been joined by their necks before."""
    areas, tops, pairs, saddles = pieces.areas.copy(), pieces.tops, pieces.pairs, pieces.saddles
    parent = np.arange(len(tops))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = int(parent[i])
        return i

    def likely(area: float) -> float:
        off = abs(np.log(area) - usual) / spread
        return float(-0.5 * off**2 if off < BEYOND else -BEYOND * (off - 0.5 * BEYOND))

    # From the highest saddle down, as water would join the basins of the turned-over landscape.
    for k in np.argsort(-saddles):
        a, b = root(int(pairs[k, 0])), root(int(pairs[k, 1]))
        if a == b:
            continue
        neck = (float(saddles[k] / min(tops[a], tops[b])) - SADDLE) / SADDLE_STEP
        if broken and (neck < 0 or min(areas[a], areas[b]) > np.exp(usual - BROKEN * spread)):
            continue
        if neck + likely(areas[a] + areas[b]) - likely(areas[a]) - likely(areas[b]) >= 0:
            low, high = (a, b) if tops[a] < tops[b] else (b, a)
            parent[low] = high
            areas[high] += areas[low]
    final = np.array([root(i) for i in range(len(tops))])
    final[areas == 0] = 0
    _, compact = np.unique(final, return_inverse=True)
    return compact[pieces.labels].astype(np.int32)


def _saddles(labels: NDArray[np.int32], height: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Pairs of touching labels and the highest point of the line between them."""
    pieces = []
    for a, b in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:-1], np.s_[1:]),
        (np.s_[:-1, :-1], np.s_[1:, 1:]),
        (np.s_[1:, :-1], np.s_[:-1, 1:]),
    ):
        touching = (labels[a] != labels[b]) & (labels[a] > 0) & (labels[b] > 0)
        first, second = labels[a][touching].astype(np.int64), labels[b][touching].astype(np.int64)
        pieces.append(
            (
                np.minimum(first, second),
                np.maximum(first, second),
                np.minimum(height[a][touching], height[b][touching]),
            )
        )
    low, high, level = (np.concatenate([p[i] for p in pieces]) for i in range(3))
    if not len(low):
        return np.zeros((0, 2), np.int64), np.zeros(0, np.float32)
    key = low * (int(labels.max()) + 1) + high
    unique, inverse = np.unique(key, return_inverse=True)
    saddles = np.zeros(len(unique), np.float32)
    np.maximum.at(saddles, inverse, level)
    return np.stack(np.divmod(unique, int(labels.max()) + 1), axis=-1), saddles
