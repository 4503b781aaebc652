"""Find the patch's printed squares in a photo and place their corners to a fraction of a pixel."""

from collections.abc import Collection
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..photo.colour import linear_pixels, luminance

#: Sides of a 4x4 marker's black square in modules: four of code and a black border on either side.
MODULES = 6
#: A side whose edge is seen over less than this share of its length is taken as found coarsely.
LEAST_SEEN = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class SeenMarker:
    """A marker in a photo.

    ``corners_px`` of shape (4, 2) is top left, then clockwise as the marker is read; pixel centres
    lie at whole numbers. ``sigma_px`` is the standard uncertainty of a corner.
    """

    id: int
    corners_px: NDArray[np.float64]
    sigma_px: float


def find_markers(pixels: NDArray[np.uint8], wanted: Collection[int]) -> dict[int, SeenMarker]:
    """Find markers of DICT_4X4_50 and refine their corners.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        sRGB photo.
    wanted : collection of int
        Marker numbers of the patch; others are passed over. The search goes from a small copy of
        the photo to larger ones and ends as soon as all are found.

    Returns
    -------
    dict
        The wanted markers that were seen, by number.
    """
    grey = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    coarse = _detect(grey, wanted)
    return {number: _refine(pixels, number, *found) for number, found in sorted(coarse.items())}


def _detect(grey: NDArray[np.uint8], wanted: Collection[int]) -> dict[int, tuple[NDArray[np.float64], int]]:
    """Corners in pixels of the photo, and how many of them made a pixel of the copy they were found in."""
    parameters = cv2.aruco.DetectorParameters()
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(dictionary, parameters)
    found: dict[int, tuple[NDArray[np.float64], int]] = {}
    for reduction in (4, 2, 1):
        # Photos of a megapixel or less are searched at full size only: a quarter of them holds too little.
        if reduction > 1 and min(grey.shape) / reduction < 450:
            continue
        small = (
            grey
            if reduction == 1
            else cv2.resize(grey, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
        )
        corners, ids, _ = detector.detectMarkers(small)
        if ids is None:
            continue
        for number, quad in zip(np.ravel(ids), corners, strict=True):
            if int(number) in wanted and int(number) not in found:
                # A pixel of the small copy is centred between pixels of the photo.
                found[int(number)] = (np.reshape(quad, (4, 2)).astype(float) + 0.5) * reduction - 0.5, reduction
        if len(found) == len(wanted):
            break
    return found


def _refine(pixels: NDArray[np.uint8], number: int, corners: NDArray[np.float64], reduction: int) -> SeenMarker:
    """Fit a line to each side's edge points in linear light and intersect neighbouring lines.

    In linear light a symmetric blur leaves the half-way level where the printed edge is; on the
    encoded values black would come out about half a pixel too small on every side.
    """
    # Unrefined corners are good to about half a pixel of the copy they were found in.
    coarse = SeenMarker(number, corners, sigma_px=0.5 + 0.5 * reduction)
    for _ in range(2):
        lines = [_fit_side(pixels, corners, k) for k in range(4)]
        good = [line for line in lines if line is not None]
        if len(good) < 4:
            return coarse
        refined = np.array([_intersect(good[k - 1], good[k]) for k in range(4)])
        if np.abs(refined - corners).max() > 0.5 * _side_px(corners) / MODULES + 2:
            return coarse
        corners = refined
    scatter = float(np.sqrt(np.mean([line.sigma_px**2 for line in good])))
    return SeenMarker(number, corners, sigma_px=scatter)


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    point: NDArray[np.float64]
    direction: NDArray[np.float64]
    sigma_px: float


def _side_px(corners: NDArray[np.float64]) -> float:
    return float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).mean())


def _fit_side(pixels: NDArray[np.uint8], corners: NDArray[np.float64], side: int) -> _Line | None:
    start, end = corners[side], corners[(side + 1) % 4]
    along = end - start
    length = float(np.linalg.norm(along))
    along = along / length
    outward = np.array([along[1], -along[0]])
    # Stay clear of the corners and within the black border: one module wide.
    reach = max(0.7 * length / MODULES, 3.0)
    count = int(np.clip(length, 12, 160))
    fractions = np.linspace(0.1, 0.9, count)
    offsets = np.arange(-reach, reach + 0.25, 0.5)
    feet = start + fractions[:, None] * (end - start)
    samples = feet[:, None, :] + offsets[None, :, None] * outward
    profiles = _sample(pixels, samples)
    if profiles is None:
        return None
    position, valid = _half_way(profiles, offsets)
    if valid.mean() < LEAST_SEEN:
        return None
    t, d = fractions[valid] * length, position[valid]
    slope, intercept, scatter = _robust_line(t, d)
    point = start + outward * intercept
    direction = along + outward * slope
    return _Line(point, direction, max(scatter * 2 / np.sqrt(len(t)), 0.02))


def _sample(pixels: NDArray[np.uint8], places: NDArray[np.float64]) -> NDArray[np.float32] | None:
    """Luminance at places of shape (N, M, 2), or None if they leave the photo."""
    low = np.floor(places.min(axis=(0, 1))).astype(int) - 2
    high = np.ceil(places.max(axis=(0, 1))).astype(int) + 3
    if (low < 0).any() or high[0] > pixels.shape[1] or high[1] > pixels.shape[0]:
        return None
    crop = luminance(linear_pixels(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]])))
    local = (places - low).astype(np.float32)
    return np.asarray(cv2.remap(crop, local[..., 0], local[..., 1], cv2.INTER_LINEAR), np.float32)


def _half_way(
    profiles: NDArray[np.float32], offsets: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Where each profile, dark to light, crosses half way between its two ends."""
    third = len(offsets) // 3
    # The paper's level is read next to the edge: farther out the quiet zone may already end.
    dark = np.median(profiles[:, :third], axis=1)
    light = np.max(profiles[:, third:], axis=1)
    level = 0.5 * (dark + light)[:, None]
    above = profiles >= level
    crossing = np.argmax(above[:, 1:] & ~above[:, :-1], axis=1)
    rows = np.arange(len(profiles))
    low, high = profiles[rows, crossing], profiles[rows, crossing + 1]
    step = np.divide(level[:, 0] - low, high - low, out=np.zeros_like(low), where=high > low)
    position = offsets[crossing] + step * (offsets[1] - offsets[0])
    contrast = light - dark
    # A covered or smeared stretch has little contrast, or more than one crossing.
    once = (above[:, 1:] & ~above[:, :-1]).sum(axis=1) == 1
    return position, once & (contrast > 0.4 * np.median(contrast)) & (contrast > 0.02)


def _robust_line(t: NDArray[np.float64], d: NDArray[np.float64]) -> tuple[float, float, float]:
    """Slope, intercept and scatter of d over t, whatever lies on less than half of it.

    Least median of squares [1]_ over the lines through pairs of points, then least squares on what is near.

    References
    ----------
    .. [1] P. J. Rousseeuw, Least median of squares regression, J. Am. Stat. Assoc. 79 (1984) 871-880.
    """
    some = np.unique(np.linspace(0, len(t) - 1, 24).astype(int))
    first, second = (some[i] for i in np.triu_indices(len(some), 1))
    slopes = (d[second] - d[first]) / (t[second] - t[first])
    intercepts = d[first] - slopes * t[first]
    misses = np.median(np.abs(d - slopes[:, None] * t - intercepts[:, None]), axis=1)
    best = int(misses.argmin())
    slope, intercept = float(slopes[best]), float(intercepts[best])
    scatter = 1.4826 * float(misses[best]) + 1e-3
    for _ in range(3):
        keep = np.abs(d - (slope * t + intercept)) < 3 * scatter
        slope, intercept = (float(v) for v in np.polyfit(t[keep], d[keep], 1))
        off = (d - (slope * t + intercept))[keep]
        scatter = 1.4826 * float(np.median(np.abs(off))) + 1e-3
    return slope, intercept, scatter


def _intersect(a: _Line, b: _Line) -> NDArray[np.float64]:
    steps = np.linalg.solve(np.column_stack([a.direction, -b.direction]), b.point - a.point)
    return np.asarray(a.point + steps[0] * a.direction)
