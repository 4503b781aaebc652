"""The bare floor under the debris: known wherever any shot of the run shows it."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips
from ..photo.colour import linear_pixels, srgb_pixels
from .kinds import BLUR_PX

#: How far a grain's blurred rim reaches beyond its outline: two and a half times the blur.
RIM_PX = round(2.5 * BLUR_PX)
#: By how much light that is left unmatched may brighten a floor (common practice, no source).
UNMATCHED = 0.1
#: Weight of a shot at a grain's rim, where blur mixes floor and debris: it counts only where no shot shows the place
#: clear of debris.
IN_RIM = np.float32(1e-6)


def disc(radius: int) -> NDArray[np.uint8]:
    """Round structuring element of shape (2 radius + 1, 2 radius + 1)."""
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)), np.uint8)


def brightness(view: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mean of the channels, shape (H, W, 3) to (H, W)."""
    return np.asarray(cv2.transform(view, np.full((1, 3), 1 / 3, np.float32)), np.float32)


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
    # Ten pixels across tell a median, and at a quarter of the size it takes a sixteenth of the time.
    factor = max(1, min(4, int(window_px / 10)))
    small = cv2.resize(view, (max(1, width // factor), max(1, height // factor)), interpolation=cv2.INTER_AREA)
    side = max(3, int(window_px / factor) | 1)
    encoded = cv2.medianBlur(srgb_pixels(np.asarray(small, np.float32)), side)
    median = linear_pixels(np.asarray(encoded, np.uint8))
    return np.asarray(cv2.resize(median, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def average_bare(
    views: Sequence[NDArray[np.float32]],
    covered: Sequence[NDArray[np.bool_]],
    sigma: NDArray[np.float32],
    grain_px: float,
    before: NDArray[np.float32] | None = None,
    blank: NDArray[np.float32] | None = None,
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Mean of all shots that show a place bare and in full light; from the surroundings where none does.

    Parameters
    ----------
    views : sequence of ndarray of float32, each of shape (H, W, 3)
        Light-matched views.
    covered : sequence of ndarray of bool, each of shape (H, W)
        Where each of them shows debris.
    sigma : ndarray of float32, shape (H, W, 3)
        Noise of a channel on bare floor.
    grain_px : float
        Diameter of a large grain: about as far as its cast shadow reaches.
    before : ndarray of float32, shape (H, W, 3), optional
        What the floor was held to be until now, which stays where no shot shows it.
    blank : ndarray of float32, shape (H, W, 3), optional
        The one of the views that shows bare floor everywhere: what is paler in another and no larger than a grain is
        debris that is not known yet.

    Returns
    -------
    floor : ndarray of float32, shape (H, W, 3)
    hidden : ndarray of bool, shape (H, W)
        Where no shot shows the floor.
    """
    noise = 2 * brightness(sigma)
    bare = None if blank is None else _smooth_grey(blank)
    # Shot by shot, and a grey made twice rather than kept: a run may have ten passes.
    rims, brightest = [], np.full(noise.shape, -np.inf, np.float32)
    for view, mask in zip(views, covered, strict=True):
        rim, grey = np.asarray(cv2.dilate(mask.astype(np.uint8), disc(RIM_PX)), np.uint8), _smooth_grey(view)
        if bare is not None:
            rim = np.maximum(rim, _paler(grey, bare, noise, grain_px))
        np.maximum(brightest, np.where(rim > 0, np.float32(-1), grey), out=brightest)
        rims.append(rim)
    lit = brightest - noise
    still = cv2.dilate(np.logical_and.reduce(covered).astype(np.uint8), disc(RIM_PX)) > 0
    total = np.zeros_like(views[0])
    count = np.zeros(covered[0].shape, np.float32)
    for view, mask, rim in zip(views, covered, rims, strict=True):
        # Grains lie flat, so that shade seldom reaches farther than three quarters of their width.
        shaded = cv2.dilate(rim, disc(max(1, round(0.75 * grain_px))))
        # A place that may be shaded in one shot is taken from it only where no other shows it better.
        weight = np.where(shaded > 0, np.float32(1e-3), np.float32(1))
        weight[_smooth_grey(view) < lit] = 0
        weight[rim > 0] = IN_RIM
        weight[mask | (still & (rim > 0))] = 0
        _add(total, view, weight)
        count += weight
    hidden = count == 0
    floor = np.zeros_like(total)
    _add(floor, total, np.reciprocal(np.where(hidden, np.float32(1), count)))
    if hidden.any():
        # A third of a grain is as near as floor beside a grain is.
        known = from_surroundings(floor, ~hidden, max(0.3 * grain_px, 1.0)) if before is None else before
        floor[hidden] = known[hidden]
    return floor, hidden


def _add(total: NDArray[np.float32], view: NDArray[np.float32], weight: NDArray[np.float32]) -> None:
    """Add a view of shape (H, W, 3) by the weight of each pixel, shape (H, W)."""

    def work(rows: slice) -> None:
        total[rows] += view[rows] * weight[rows][..., None]

    over_strips(work, *weight.shape)


def _smooth_grey(view: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(cv2.blur(brightness(view), (3, 3)), np.float32)


def _paler(
    grey: NDArray[np.float32], bare: NDArray[np.float32], noise: NDArray[np.float32], grain_px: float
) -> NDArray[np.uint8]:
    """Where a view is paler than bare floor, over no more than a grain: glare reaches farther."""
    brighter = np.asarray(grey - (1 + UNMATCHED) * bare, np.float32)
    wide = cv2.morphologyEx(brighter, cv2.MORPH_OPEN, disc(max(1, round(0.5 * grain_px))))
    return np.asarray(brighter - np.maximum(wide, 0) > noise, np.uint8)


def from_surroundings(view: NDArray[np.float32], known: NDArray[np.bool_], reach_px: float) -> NDArray[np.float32]:
    """Mean colour of the known floor around every pixel, as narrow a mean as reaches any; shape (H, W, 3)."""
    height, width = known.shape
    # A third of the reach is as fine as a mean over it needs.
    factor = max(1, int(reach_px / 3))
    size = (max(1, width // factor), max(1, height // factor))
    full = known.astype(np.float32)
    total = np.asarray(cv2.resize(view * full[..., None], size, interpolation=cv2.INTER_AREA), np.float32)
    weight = np.asarray(cv2.resize(full, size, interpolation=cv2.INTER_AREA), np.float32)
    filled = np.zeros_like(total)
    missing = np.ones(weight.shape, bool)
    sigma = max(reach_px, 1.0) / factor
    # Wider and wider, until the narrowest average that reaches known floor is found for every place.
    for _ in range(6):
        share = cv2.GaussianBlur(weight, (0, 0), sigma)
        blurred = cv2.GaussianBlur(total, (0, 0), sigma)
        # A fiftieth of the mean's weight tells a colour.
        here = missing & (share > 0.02)
        filled[here] = blurred[here] / share[here][:, None]
        missing &= ~here
        if not missing.any():
            break
        sigma *= 2
    if missing.any() and known.any():
        filled[missing] = view[known].mean(axis=0)
    if factor == 1:
        return filled
    return np.asarray(cv2.resize(filled, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
