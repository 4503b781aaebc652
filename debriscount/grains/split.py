"""Part touching grains along the necks between them."""

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.segmentation import watershed

#: Two humps of the distance map are one grain when the saddle between them keeps this share of the lower
#: hump. Two equal discs keep it when their centres are closer than 1.2 radii: four fifths overlap.
SADDLE = 0.8


def split_grains(mask: NDArray[np.bool_], smooth_px: float) -> NDArray[np.int32]:
    """Label grains of several pixels, touching ones apart.

    Parameters
    ----------
    mask : ndarray of bool, shape (H, W)
        Debris of one kind.
    smooth_px : float
        Standard deviation of the smoothing of the distance map, about a tenth of a grain.

    Returns
    -------
    ndarray of int32, shape (H, W)
        0 outside the mask, 1 to N inside.

    Notes
    -----
    Watershed on the distance to the outline; basins whose saddle is nearly as high as their humps
    are joined again, so that a long grain, whose ridge has many humps, stays one.
    """
    distance = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    height = np.asarray(cv2.GaussianBlur(distance, (0, 0), max(smooth_px, 0.5)) * mask, np.float32)
    peak = (height >= cv2.dilate(height, np.ones((3, 3), np.uint8))) & mask
    count, seeds = cv2.connectedComponents(peak.astype(np.uint8), connectivity=8)
    if count <= 1:
        return np.zeros(mask.shape, np.int32)
    labels = watershed(-height, seeds, mask=mask).astype(np.int32)  # type: ignore[no-untyped-call]
    tops = np.zeros(count, np.float32)
    np.maximum.at(tops, labels[peak], height[peak])
    return _join(labels, height, tops)


def _join(labels: NDArray[np.int32], height: NDArray[np.float32], tops: NDArray[np.float32]) -> NDArray[np.int32]:
    pairs, saddles = _saddles(labels, height)
    parent = np.arange(len(tops))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = int(parent[i])
        return i

    tops = tops.copy()
    # From the highest saddle down, as water would join the basins of the turned-over landscape.
    for k in np.argsort(-saddles):
        a, b = root(int(pairs[k, 0])), root(int(pairs[k, 1]))
        if a != b and saddles[k] >= SADDLE * min(tops[a], tops[b]):
            low, high = (a, b) if tops[a] < tops[b] else (b, a)
            parent[low] = high
    final = np.array([root(i) for i in range(len(tops))])
    _, compact = np.unique(final, return_inverse=True)
    return compact[labels].astype(np.int32)


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
