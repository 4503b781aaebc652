"""The bare floor under the debris: known wherever any shot of the run shows it."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..photo.colour import linear_pixels, srgb_pixels

#: Blur of a sharp phone photo resampled once, standard deviation in px (common practice, no source); it only
#: sets how far out the cover of small grains is gathered and how high their peaks are expected.
BLUR_PX = 0.8
#: How far a grain's blurred rim reaches beyond its outline: two and a half times BLUR_PX.
RIM_PX = 2
#: Cover by which two shots must differ at a place before one of them is held to show the floor there: half
#: of what a grain's edge pixel differs by.
DIFFERS = 0.25


def local_floor(view: NDArray[np.float32], window_px: float) -> NDArray[np.float32]:
    """Median colour of a floor view's surroundings: what floor looks like hereabouts.

    Parameters
    ----------
    view : ndarray of float32, shape (H, W, 3)
        Linear light; debris may cover less than half of any window.
    window_px : float
        Side of the window; several grains.
    """
    height, width = view.shape[:2]
    factor = max(1, min(4, int(window_px / 10)))
    small = cv2.resize(view, (max(1, width // factor), max(1, height // factor)), interpolation=cv2.INTER_AREA)
    side = max(3, int(window_px / factor) | 1)
    median = linear_pixels(cv2.medianBlur(srgb_pixels(small), side))
    return cv2.resize(median, (width, height), interpolation=cv2.INTER_LINEAR)


def average_bare(
    views: Sequence[NDArray[np.float32]], covered: Sequence[NDArray[np.bool_]], grain_px: float
) -> NDArray[np.float32]:
    """Mean of all shots that show a place bare; from the surroundings where none does.

    Parameters
    ----------
    views : sequence of ndarray of float32, each of shape (H, W, 3)
        Light-matched views.
    covered : sequence of ndarray of bool, each of shape (H, W)
        Where each of them shows debris, or no floor.
    grain_px : float
        Diameter of a large grain: about as far as its cast shadow reaches.
    """
    total = np.zeros_like(views[0])
    count = np.zeros(covered[0].shape, np.float32)
    for view, mask in zip(views, covered, strict=True):
        rim = cv2.dilate(mask.astype(np.uint8), _disc(RIM_PX))
        shaded = cv2.dilate(rim, _disc(max(1, round(0.75 * grain_px))))
        # A place that may be shaded in one shot is taken from it only where no other shows it better.
        weight = np.where(rim > 0, 0, np.where(shaded > 0, 1e-3, 1)).astype(np.float32)
        total += view * weight[..., None]
        count += weight
    hidden = count == 0
    floor = total / np.where(hidden, 1, count)[..., None]
    if hidden.any():
        floor[hidden] = _from_surroundings(floor, ~hidden, max(0.3 * grain_px, 1.0))[hidden]
    return floor


def _from_surroundings(
    floor: NDArray[np.float32], known: NDArray[np.bool_], reach_px: float
) -> NDArray[np.float32]:
    weight = known.astype(np.float32)
    filled = np.zeros_like(floor)
    missing = np.ones(known.shape, bool)
    sigma = max(reach_px, 1.0)
    # Wider and wider, until the narrowest average that reaches known floor is found for every place.
    for _ in range(6):
        share = cv2.GaussianBlur(weight, (0, 0), sigma)
        blurred = cv2.GaussianBlur(floor * weight[..., None], (0, 0), sigma)
        here = missing & (share > 0.02)
        filled[here] = blurred[here] / share[here][:, None]
        missing &= ~here
        if not missing.any():
            break
        sigma *= 2
    return filled


def covered_places(
    covers: Sequence[Sequence[NDArray[np.float32]]], sizes_px: Sequence[tuple[float, float]]
) -> list[NDArray[np.bool_]]:
    """Where each shot shows debris, judged by comparing the shots with each other.

    Parameters
    ----------
    covers : sequence (shots) of sequence (kinds) of ndarray of float32, each of shape (H, W)
        Cover against the floor hereabouts, not clipped. On a patterned floor this is off by the
        pattern, but off alike in all shots.
    sizes_px : sequence of (float, float)
        5th and 95th percentile of each kind's grain diameter, px.

    Notes
    -----
    A place is covered in a shot that exceeds the least covered shot by DIFFERS, and in all shots where
    even the least covered stands out as a grain does: by half a grain's cover against what is left
    when everything narrower than a grain is taken away (top hat). Pattern wider than a grain is floor.
    """
    still = np.zeros(covers[0][0].shape, bool)
    moved = [np.zeros_like(still) for _ in covers]
    for k, (low, high) in enumerate(sizes_px):
        maps = [shot[k] for shot in covers]
        least = np.minimum.reduce(maps)
        peak = peak_cover(low)
        hat = cv2.morphologyEx(least, cv2.MORPH_TOPHAT, _disc(max(2, round(0.65 * high))))
        sample = hat[::5, ::5]
        level = max(0.5 * peak, float(np.median(sample) + 4 * 1.4826 * np.median(np.abs(sample - np.median(sample)))))
        still |= _not_smaller(hat > level, 0.3 * np.pi / 4 * low**2)
        for mask, cover in zip(moved, maps, strict=True):
            # Not every difference is debris: the other shot may have shade there. Debris is also nearer to
            # debris than to the floor hereabouts.
            mask |= (cover - least > min(0.5 * peak, DIFFERS)) & (cover > 0.5 * peak)
    return [mask | still for mask in moved]


def peak_cover(diameter_px: float) -> float:
    """Cover that the middle of a grain reaches after the photo's blur: 1 - exp(-r^2 / 2 s^2).

    A disc under a Gaussian blur of standard deviation s, in closed form at its centre.
    """
    return float(1 - np.exp(-((diameter_px / 2) ** 2) / (2 * BLUR_PX**2)))


def _disc(radius: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)), np.uint8)


def _not_smaller(mask: NDArray[np.bool_], least_px: float) -> NDArray[np.bool_]:
    if least_px <= 1:
        return mask
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return np.asarray(keep[labels])
