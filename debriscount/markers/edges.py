"""The edge between black and paper: where it runs, to a fraction of a pixel, and how wide blur has made it."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..photo.colour import linear_pixels, luminance
from ..stats.robust import SD_OVER_MAD, robust_sd

#: Pixels between the samples of a profile across an edge.
PROFILE_STEP = 0.5
#: Places along an edge at which profiles are taken, at least and at most.
FEWEST, MOST = 12, 160
#: How far to either side of an edge light is balanced, px.
BALANCED_PX = 1.0
#: Width of a bin of the edge spread function, px: a quarter, as ISO 12233 has it.
BIN_PX = 0.25
#: Least difference between paper and black that counts as an edge, linear light.
FAINTEST = 0.02
#: Luminance from which paper is taken to be burnt out: its true light is then unknown, and so is where half of it is.
BURNT = 0.98


@dataclass(frozen=True, slots=True, eq=False)
class LightCrop:
    """Part of a photo in linear light: its luminance of shape (H, W) and its colour of shape (H, W, 3).

    ``corner`` is the pixel (column, row) of the first element.
    """

    light: NDArray[np.float32]
    colour: NDArray[np.float32]
    corner: tuple[int, int]

    def at(self, places_px: NDArray[np.floating]) -> NDArray[np.float32]:
        """Luminance at pixels of shape (N, M, 2), shape (N, M); beyond the crop its rim goes on."""
        return self._sampled(self.light, places_px)

    def colour_at(self, places_px: NDArray[np.floating]) -> NDArray[np.float32]:
        """Linear red, green and blue at pixels of shape (N, M, 2), shape (N, M, 3)."""
        return self._sampled(self.colour, places_px)

    def _sampled(self, image: NDArray[np.float32], places_px: NDArray[np.floating]) -> NDArray[np.float32]:
        x, y = np.moveaxis((places_px - np.asarray(self.corner)).astype(np.float32), -1, 0)
        return np.asarray(cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def light_crop(pixels: NDArray[np.uint8], around_px: NDArray[np.floating], rim_px: float) -> LightCrop:
    """Crop a photo of shape (H, W, 3) around places of shape (N, 2), with a rim; at least a pixel of it."""
    height, width = pixels.shape[:2]
    low = np.floor(around_px.min(axis=0) - rim_px).astype(int)
    high = np.ceil(around_px.max(axis=0) + rim_px).astype(int) + 1
    left, top = (int(v) for v in np.clip(low, 0, (width - 1, height - 1)))
    right, bottom = (int(v) for v in np.clip(high, (left + 1, top + 1), (width, height)))
    colour = linear_pixels(np.ascontiguousarray(pixels[top:bottom, left:right]))
    return LightCrop(np.asarray(luminance(colour), np.float32), colour, (left, top))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Edge:
    """A straight edge fitted to the border of something dark.

    ``along`` and ``outward`` are unit vectors, the latter from dark to light; the edge is at ``start`` + t
    ``along`` + (``intercept`` + ``slope`` t) ``outward`` for t from 0 to ``length`` px. ``seen`` is the share of its
    length on which it was found, ``sigma_px`` the standard uncertainty of its place at the worse end; ``t``, ``dark``
    and ``light``, shape (N,), say how dark and light it is where it was found.
    """

    start: Floats
    along: Floats
    outward: Floats
    length: float
    slope: float
    intercept: float
    sigma_px: float
    seen: float
    t: Floats
    dark: Floats
    light: Floats


def fit_edge(crop: LightCrop, start: Floats, end: Floats, reach_px: float) -> Edge | None:
    """Fit a line to the edge near a stretch between two places, dark on its right hand as seen in the photo.

    Parameters
    ----------
    crop : LightCrop
        The photo around it.
    start, end : ndarray of shape (2,)
        Going clockwise round what is dark.
    reach_px : float
        How far to either side the edge is looked for.

    Returns
    -------
    Edge or None
        None where fewer than three profiles show an edge. Points are taken where luminance is half way: in linear
        light a symmetric blur leaves that where the edge is; on encoded values black would come out about half a
        pixel too small on every side.
    """
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    # Near the corners the neighbouring side's blur is felt.
    t = np.linspace(0.1, 0.9, int(np.clip(length, FEWEST, MOST))) * length
    offsets = np.arange(-reach_px, reach_px + PROFILE_STEP / 2, PROFILE_STEP)
    profiles = crop.at(start + t[:, None, None] * along + offsets[None, :, None] * outward)
    place, dark, light, valid = half_way(profiles, offsets)
    if valid.sum() < 3:
        return None
    slope, intercept, scatter = robust_line(t[valid], place[valid])
    near = valid & (np.abs(place - slope * t - intercept) < 3 * scatter + PROFILE_STEP)
    if near.sum() < 3:
        return None
    sigma = scatter * _end_share(t[near], (place - slope * t - intercept)[near], length)
    share = float(near.mean())
    return Edge(
        start=start,
        along=along,
        outward=outward,
        length=length,
        slope=slope,
        intercept=intercept,
        sigma_px=sigma,
        seen=share,
        t=t[near],
        dark=dark[near],
        light=light[near],
    )


def _end_share(t: Floats, off: Floats, length: float) -> float:
    """Standard uncertainty of a line at its worse end, over that of one of the points ``off`` it at ``t``.

    Neighbouring points share blur, noise reduction and dirt; with a correlation r between them N of them are worth
    N (1 - r) / (1 + r) (first-order autoregression, *published*: Bartlett 1946).
    """
    # Off 0 for a line without scatter.
    shared = float((off[1:] * off[:-1]).sum() / max(float((off**2).sum()), 1e-12))
    # At 0.95 forty points are worth one; beyond, so few points do not tell it.
    shared = min(max(shared, 0.0), 0.95)
    alone = len(t) * (1 - shared) / (1 + shared)
    # Off 0 where all points lie at one place.
    reach = max(t.mean(), length - t.mean()) / max(float(t.std()), 1e-9)
    return float(np.sqrt((1 + reach**2) / alone))


def half_way(profiles: NDArray[np.float32], offsets: Floats) -> tuple[Floats, Floats, Floats, Mask]:
    """Where each profile, dark to light, crosses half way between its two ends.

    Parameters
    ----------
    profiles : ndarray of float32, shape (N, M)
        Luminance across the edge.
    offsets : ndarray of shape (M,)
        Where, px.

    Returns
    -------
    place, dark, light : ndarray of shape (N,)
        The crossing, px, and both levels.
    valid : ndarray of bool, shape (N,)
        False where there is little contrast or more than one crossing: a covered or smeared stretch; and where a
        lamp's reflection has burnt out part of the paper.
    """
    third = len(offsets) // 3
    # Paper is read where it is brightest, next to the edge: farther out the white rim may already end.
    dark = np.median(profiles[:, :third], axis=1)
    light = np.max(profiles[:, third:], axis=1)
    level = 0.5 * (dark + light)[:, None]
    above = profiles >= level
    upward = above[:, 1:] & ~above[:, :-1]
    crossing = np.argmax(upward, axis=1)
    rows = np.arange(len(profiles))
    low, high = profiles[rows, crossing], profiles[rows, crossing + 1]
    step = np.divide(level[:, 0] - low, high - low, out=np.zeros_like(low), where=high > low)
    contrast = light - dark
    # With less than two fifths of the usual contrast something else covers the edge.
    valid = (upward.sum(axis=1) == 1) & (contrast > 0.4 * np.median(contrast)) & (contrast > FAINTEST)
    if (light > BURNT).mean() < 0.5:
        valid &= light <= BURNT
    place = offsets[crossing] + step * (offsets[1] - offsets[0])
    place += _balance(profiles, offsets, place, dark, light)
    return place, np.asarray(dark, float), np.asarray(light, float), valid


def _balance(
    profiles: NDArray[np.float32],
    offsets: Floats,
    place: Floats,
    dark: NDArray[np.floating],
    light: NDArray[np.floating],
) -> Floats:
    """How far crossings must shift for as much light to be missing outside them as there is inside, px, shape (N,).

    Pixels that an edge cuts are not symmetric about it, and a sharp edge has but one; the light within a pixel on
    either side is what it should be wherever the pixels' borders lie.
    """
    step = offsets[1] - offsets[0]
    contrast = np.maximum(light - dark, FAINTEST)[:, None]
    # Sharpening overshoots by a tenth or two of the step; what lies farther out is dirt.
    risen = np.clip((profiles - dark[:, None]) / contrast, -0.3, 1.3)
    far = offsets - place[:, None]
    sharp = np.clip(far / step + 0.5, 0, 1)
    near = np.clip((BALANCED_PX - np.abs(far)) / step + 0.5, 0, 1)
    return np.asarray(step * ((sharp - risen) * near).sum(axis=1), float)


def robust_line(t: Floats, d: Floats) -> tuple[float, float, float]:
    """Slope, intercept and scatter of d over t, whatever lies on less than half of it.

    Least median of squares [1]_ over the lines through pairs of points, then least squares on what is near.

    References
    ----------
    .. [1] P. J. Rousseeuw, Least median of squares regression, J. Am. Stat. Assoc. 79 (1984) 871-880.
    """
    # 190 pairs of 20 points: that none of them are two good ones is next to impossible while half are good; 60 points
    # tell a median.
    some, more = (np.unique(np.linspace(0, len(t) - 1, n).astype(int)) for n in (20, 60))
    first, second = (some[i] for i in np.triu_indices(len(some), 1))
    slopes = (d[second] - d[first]) / (t[second] - t[first])
    intercepts = d[first] - slopes * t[first]
    misses = np.median(np.abs(d[more] - slopes[:, None] * t[more] - intercepts[:, None]), axis=1)
    best = int(misses.argmin())
    slope, intercept = float(slopes[best]), float(intercepts[best])
    # Off 0: no edge is placed to a thousandth of a pixel.
    scatter = SD_OVER_MAD * float(misses[best]) + 1e-3
    for _ in range(3):
        keep = np.abs(d - (slope * t + intercept)) < 3 * scatter
        slope, intercept = (float(v) for v in np.polyfit(t[keep], d[keep], 1))
        off = (d - (slope * t + intercept))[keep]
        scatter = robust_sd(off, 0.0) + 1e-3
    return slope, intercept, scatter


def crossing(a: Edge, b: Edge) -> Floats | None:
    """Where two edges' lines meet, shape (2,); None for parallel ones."""
    directions = [edge.along + edge.slope * edge.outward for edge in (a, b)]
    matrix = np.column_stack([directions[0], -directions[1]])
    # Sides that meet at less than a twentieth of a degree.
    if abs(np.linalg.det(matrix)) < 1e-3:
        return None
    feet = [edge.start + edge.intercept * edge.outward for edge in (a, b)]
    steps = np.linalg.solve(matrix, feet[1] - feet[0])
    return np.asarray(feet[0] + steps[0] * directions[0])


def edge_spread_px(crop: LightCrop, edge: Edge, spans: Sequence[tuple[float, float]], module_px: float) -> float | None:
    """How wide an edge is: the distance over which light rises from 10 to 90 % of its step, px.

    Parameters
    ----------
    crop : LightCrop
        The photo around it.
    edge : Edge
        The edge.
    spans : sequence of tuple
        Stretches of its length, px, with black for two modules on one side and paper for one on the other.
    module_px : float
        Width of a module there.

    Returns
    -------
    float or None
        None where blur reaches across a module, so that neither black nor paper is seen pure.

    Notes
    -----
    Every pixel near a slanted edge is a reading at its own distance from it, so that the edge spread function comes
    finer than the pixels, as for the slanted edge of ISO 12233 [1]_. A Gaussian blur of standard deviation s makes the
    width 2 × 1.2816 s; the pixels' own aperture adds 1/12 px² to s². Sharpening that overshoots steepens the edge, and
    the width comes out smaller: levels are read away from it.

    References
    ----------
    .. [1] ISO 12233, Photography -- Electronic still picture imaging -- Resolution and spatial frequency responses
       (from memory).
    """
    # Black is a module wide, and the pattern begins behind it; paper is white for a module at least.
    t, distance, light = _strip(crop, edge, 1.5 * module_px, 0.8 * module_px)
    readings = []
    for low, high in spans:
        here = (t >= low) & (t < high)
        d, v = distance[here], light[here]
        # Levels are read half a module off the edge and farther, where its blur has ended; of the paper a little
        # nearer, for there is less of it.
        black, paper = v[d < -0.6 * module_px], v[d > 0.45 * module_px]
        if min(len(black), len(paper)) < 4:
            continue
        floor, step = float(np.median(black)), float(np.median(paper) - np.median(black))
        if step > FAINTEST:
            readings.append(np.stack([d, (v - floor) / step]))
    if not readings:
        return None
    d, risen = np.concatenate(readings, axis=1)
    # The width from 10 to 90 % of a step is what ISO 12233 calls its rise.
    low, high = _rises_to(d, risen, (0.1, 0.9))
    width = high - low
    # At 0.64 modules the standard deviation is a quarter of one: 1 % of the step is missing at the plateaus.
    return float(width) if 0 < width < 0.64 * module_px else None


def _strip(
    crop: LightCrop, edge: Edge, inside_px: float, outside_px: float
) -> tuple[Floats, Floats, NDArray[np.float32]]:
    """Place along the edge, distance outwards from it and luminance of the pixels near it, each of shape (N,)."""
    height, width = crop.light.shape
    x = np.arange(width) + (crop.corner[0] - edge.start[0])
    y = np.arange(height)[:, None] + (crop.corner[1] - edge.start[1])
    t = x * edge.along[0] + y * edge.along[1]
    across = x * edge.outward[0] + y * edge.outward[1]
    distance = (across - edge.intercept - edge.slope * t) / np.hypot(1.0, edge.slope)
    near = (distance > -inside_px) & (distance < outside_px) & (t > 0) & (t < edge.length)
    return t[near], distance[near], crop.light[near]


def _rises_to(distance: Floats, risen: Floats, levels: Sequence[float]) -> Floats:
    """Where the readings' mean rises to each level, px.

    Means of bins, made to rise monotonically [1]_ so that noise on either side of the edge does not cross the levels.

    References
    ----------
    .. [1] R. E. Barlow et al., Statistical Inference under Order Restrictions, Wiley 1972: the max-min formula of
       isotonic regression.
    """
    index = np.floor((distance - distance.min()) / BIN_PX).astype(int)
    count, total, place = (np.bincount(index, weights) for weights in (None, risen, distance))
    some = count > 0
    sums = [np.concatenate([[0.0], np.cumsum(v[some])]) for v in (count, total)]
    n, value = (v[None, 1:] - v[:-1, None] for v in sums)  # row: first bin, column: last
    means = np.divide(value, n, out=np.full_like(value, np.inf), where=n > 0)
    least = np.minimum.accumulate(means[:, ::-1], axis=1)[:, ::-1]
    rising = np.where(n > 0, least, -np.inf).max(axis=0)
    return np.asarray(np.interp(levels, rising, place[some] / count[some]), float)
