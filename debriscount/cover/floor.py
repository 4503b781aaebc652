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
    views: Sequence[NDArray[np.float32]],
    covered: Sequence[NDArray[np.bool_]],
    sigma: NDArray[np.float32],
    grain_px: float,
) -> NDArray[np.float32]:
    """Mean of all shots that show a place bare and in full light; from the surroundings where none does.

    Parameters
    ----------
    views : sequence of ndarray of float32, each of shape (H, W, 3)
        Light-matched views.
    covered : sequence of ndarray of bool, each of shape (H, W)
        Where each of them shows debris, or no floor.
    sigma : ndarray of float32, shape (H, W, 3)
        Noise of a channel on bare floor.
    grain_px : float
        Diameter of a large grain: about as far as its cast shadow reaches.
    """
    noise = 2 * sigma.mean(axis=-1)
    rims = [cv2.dilate(mask.astype(np.uint8), _disc(RIM_PX)) for mask in covered]
    greys = [cv2.blur(view.mean(axis=-1), (3, 3)) for view in views]
    brightest = np.maximum.reduce([np.where(rim > 0, -1, grey) for rim, grey in zip(rims, greys, strict=True)])
    total = np.zeros_like(views[0])
    count = np.zeros(covered[0].shape, np.float32)
    for view, rim, grey in zip(views, rims, greys, strict=True):
        shaded = cv2.dilate(rim, _disc(max(1, round(0.75 * grain_px))))
        # A place that may be shaded in one shot is taken from it only where no other shows it better.
        weight = np.where(shaded > 0, np.float32(1e-3), np.float32(1))
        weight[(rim > 0) | (grey < brightest - noise)] = 0
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
    still: Sequence[Sequence[NDArray[np.float32]]],
    moved: Sequence[Sequence[NDArray[np.float32]]],
    sizes_px: Sequence[tuple[float, float]],
    usable: NDArray[np.bool_],
) -> list[NDArray[np.bool_]]:
    """Where each shot shows debris, judged by comparing the shots with each other.

    Parameters
    ----------
    still, moved : sequence (shots) of sequence (kinds) of ndarray of float32, each of shape (H, W)
        Cover against the floor hereabouts, not clipped, by a filter that is blind to the floor's pattern
        and by one that need not be. On a patterned floor both are off by the pattern, but off alike
        in all shots.
    sizes_px : sequence of (float, float)
        5th and 95th percentile of each kind's grain diameter, px.
    usable : ndarray of bool, shape (H, W)
        Where debris may lie in all shots.

    Notes
    -----
    A place is covered in a shot that exceeds the least covered shot by DIFFERS and is nearer to debris
    than to the floor hereabouts (the other shot may have shade there); and in all shots where even
    the least covered stands out as a grain does: by half a grain's cover against what is left when
    everything narrower than a grain is taken away (top hat). Pattern wider than a grain is floor.
    """
    lying = np.zeros(still[0][0].shape, bool)
    for k, (low, high) in enumerate(sizes_px):
        least = np.minimum.reduce([shot[k] for shot in still])
        hat = cv2.morphologyEx(least, cv2.MORPH_TOPHAT, _disc(max(2, round(0.65 * high))))
        sample = hat[::5, ::5]
        spread = 1.4826 * float(np.median(np.abs(sample - np.median(sample))))
        level = max(0.5 * peak_cover(low), float(np.median(sample)) + 4 * spread)
        lying |= _not_smaller((hat > level) & usable, 0.3 * np.pi / 4 * low**2)
    # Shade is less than no cover, and what is one kind in one shot is hardly another kind in the next: so
    # the kinds' covers are compared as one, from 0 up.
    peak = min(peak_cover(low) for low, _ in sizes_px)
    totals = [np.maximum.reduce([np.clip(cover, 0, 1) for cover in shot]) for shot in moved]
    least = np.minimum.reduce(totals)
    return [lying | ((t - least > min(0.5 * peak, DIFFERS)) & (t > 0.5 * peak)) for t in totals]


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
