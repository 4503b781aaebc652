"""The cover stage as a whole: from aligned floor views to cover maps of every shot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .colours import APART, ApartPixels, LearnedColour, apart_pixels, join_pixels, learn_colours
from .discriminant import SHADE, SHEEN, TINT, Discriminant, cover_of, departure, fisher_discriminant
from .floor import average_bare, covered_places, local_floor, peak_cover
from .light import stiff_gain, supple_gain
from .noise import FloorNoise, NoiseModel, learn_mix, learn_noise, sigma_map

#: Grains at least this many pixels across have an outline to measure; smaller ones are all edge, and only
#: the sum of their cover is right.
OUTLINED_PX = 5.0
#: Standard deviation of a grain's shading over its own mean brightness: a matt ball under one lamp (Lambert) has
#: 0.47 over its lit half.
SHADING = 0.5
#: Cover above which a pixel is kept out of what is averaged as bare floor or light.
NOT_BARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class ShotCover:
    """Cover in one shot: the fraction of each pixel that its likeliest kind hides, not clipped.

    ``cover`` and ``sigma`` (its standard deviation on bare floor) have shape (H, W); ``kind`` of the
    same shape indexes the kinds.
    """

    cover: NDArray[np.float32]
    sigma: NDArray[np.float32]
    kind: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class CoverMaps:
    """What the cover stage found: light-matched views, bare floor, kinds' colours and cover a shot."""

    floor: NDArray[np.float32]
    matched: dict[str, NDArray[np.float32]]
    colours: tuple[LearnedColour, ...]
    shots: dict[str, ShotCover]


def cover_maps(
    views: Mapping[str, NDArray[np.float32]],
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    hints: Sequence[NDArray[np.floating]],
    sizes_px: Sequence[tuple[float, float]],
) -> CoverMaps:
    """Turn aligned floor views of one run into cover maps.

    Parameters
    ----------
    views : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Linear light, in the order of the shots; the one called "blank", if any, shows bare floor.
    usable : ndarray of bool, shape (H, W)
        Floor that all shots show: no marker, no wall. Light, noise and colours are learned there.
    shown : ndarray of bool, shape (H, W)
        The same with what is close behind a wall's foot, where grains may appear.
    hints : sequence of ndarray of shape (3,)
        Linear colours of the kinds from their files; empty if none is known.
    sizes_px : sequence of (float, float)
        5th and 95th percentile of each kind's grain diameter, px; one entry if no kind is known.

    Returns
    -------
    CoverMaps
        Views are in the light of the blank or, without one, of the last shot.
    """
    names = list(views)
    reference = "blank" if "blank" in views else names[-1]
    matched = {
        name: view if name == reference else view * stiff_gain(view, views[reference], usable)
        for name, view in views.items()
    }
    dirty = [name for name in names if name != "blank"]
    smallest, largest = min(s[0] for s in sizes_px), max(s[1] for s in sizes_px)
    limit = min(NOT_BARE, 0.5 * peak_cover(smallest))
    pair = (matched[dirty[-1]], matched["blank" if "blank" in views else dirty[0]])
    model = learn_noise(pair[0] - pair[1], pair[1], usable)
    # Grains of a few pixels are narrower than the photo's colour blocks: their colour is smeared, their
    # brightness is not, and their own shade is too small to be told from them.
    fine = smallest < OUTLINED_PX
    shade = SHEEN if fine else SHADE
    mix = np.eye(3) if fine else learn_mix(pair[0] - pair[1], sigma_map(model, pair[1]), usable, smallest)
    if "blank" in views:
        floor = matched["blank"]
    else:
        floor = _floor_without_blank(matched, usable, hints, sizes_px, shade)
    noise = FloorNoise(sigma_map(model, floor), mix)
    filters, colours = _learn_filters(matched, floor, noise, usable, hints, sizes_px, dirty, shade)
    covered = {}
    for name in names:
        covers = [cover_of(f, matched[name], floor) for f in filters]
        apart = [c > np.maximum(limit, 3 * f.sigma) for c, f in zip(covers, filters, strict=True)]
        covered[name] = np.logical_or.reduce(apart)
    for name in names:
        if name != reference:
            busy = covered[name] | covered[reference] | ~usable
            both = cv2.dilate(busy.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
            gain = supple_gain(matched[name], matched[reference], both, max(2 * largest, 24.0))
            matched[name] = matched[name] * gain
    floor = average_bare([matched[n] for n in names], [covered[n] for n in names], noise.sigma, largest)
    noise = FloorNoise(sigma_map(model, floor), mix)
    filters, colours = _learn_filters(matched, floor, noise, usable, hints, sizes_px, dirty, shade, covered)
    shots = {n: _shot_cover(matched[n], floor, filters, colours, noise, usable, shown, largest) for n in names}
    return CoverMaps(floor, matched, colours, shots)


def _learn_filters(
    matched: Mapping[str, NDArray[np.float32]],
    floor: NDArray[np.float32],
    noise: FloorNoise,
    usable: NDArray[np.bool_],
    hints: Sequence[NDArray[np.floating]],
    sizes_px: Sequence[tuple[float, float]],
    dirty: Sequence[str],
    shade: float,
    covered: Mapping[str, NDArray[np.bool_]] | None = None,
) -> tuple[list[Discriminant], tuple[LearnedColour, ...]]:
    parts = []
    for name in dirty:
        departing = departure(matched[name], floor, noise, shade)
        if covered is not None:
            # Once grains are known, all of their pixels tell their colour, not only those that stand out most.
            departing = np.where(covered[name], np.maximum(departing, 2 * APART), 0)
        parts.append(apart_pixels(matched[name], floor, departing, usable))
    colours = learn_colours(join_pixels(parts), hints, [peak_cover(float(np.sqrt(s[0] * s[1]))) for s in sizes_px], usable.shape)
    filters = [fisher_discriminant(floor, c.over(usable.shape), noise, c.covariance, shade) for c in colours]
    return filters, colours


def _floor_without_blank(
    matched: Mapping[str, NDArray[np.float32]],
    usable: NDArray[np.bool_],
    hints: Sequence[NDArray[np.floating]],
    sizes_px: Sequence[tuple[float, float]],
    shade: float,
) -> NDArray[np.float32]:
    """First estimate of the floor when no shot is known to be bare."""
    names = list(matched)
    last = matched[names[-1]]
    largest = max(s[1] for s in sizes_px)
    around = local_floor(last, max(3 * largest, 15.0))
    model = learn_noise(last - around, around, usable)
    sigma = sigma_map(model, around)
    fine = shade == SHEEN
    smallest = min(s[0] for s in sizes_px)
    pattern = FloorNoise(sigma, np.eye(3) if fine else learn_mix(last - around, sigma, usable, smallest))
    pixels = _changed_pixels(matched, around, pattern, usable, shade)
    colours = learn_colours(pixels, hints, [peak_cover(float(np.sqrt(s[0] * s[1]))) for s in sizes_px], usable.shape)
    # What lies still must stand out from the floor's pattern; what came or went, from the noise alone. In
    # both a shot with shade and one without must not look like floor and debris, so brightness counts as
    # little for light debris as for dark.
    plain = FloorNoise(_pair_sigma(matched, usable), pattern.mix)
    still, moved = (
        [
            [_smoothed(cover_of(f, matched[n], around), s[0]) for f, s in zip(filters, sizes_px, strict=True)]
            for n in names
        ]
        for filters in (
            [fisher_discriminant(around, c.over(usable.shape), noise, c.covariance, shade, shade) for c in colours]
            for noise in (pattern, plain)
        )
    )
    # Behind a wall everything lies still; only what comes or goes can be debris there.
    covered = covered_places(still, moved, sizes_px, usable)
    return average_bare([matched[n] for n in names], covered, plain.sigma, largest)


def _pair_sigma(matched: Mapping[str, NDArray[np.float32]], usable: NDArray[np.bool_]) -> NDArray[np.float32]:
    first, last = (matched[n] for n in (list(matched)[0], list(matched)[-1]))
    return sigma_map(learn_noise(first - last, last, usable), last)


def _smoothed(cover: NDArray[np.float32], diameter_px: float) -> NDArray[np.float32]:
    return np.asarray(cv2.GaussianBlur(cover, (0, 0), max(0.1 * diameter_px, 0.5)))


def _changed_pixels(
    matched: Mapping[str, NDArray[np.float32]],
    around: NDArray[np.float32],
    pattern: FloorNoise,
    usable: NDArray[np.bool_],
    shade: float,
) -> ApartPixels:
    """Pixels that are debris in one shot and floor in another.

    That a place changed is told by the two shots alone, where the floor's pattern cancels; which of
    them shows debris, by which is less like the floor hereabouts. What one shot merely shades of the
    other is no change.
    """
    names = list(matched)
    last = matched[names[-1]]
    parts = []
    for name in names[:-1]:
        view = matched[name]
        model = learn_noise(view - last, last, usable)
        noise = FloorNoise(sigma_map(model, last), np.eye(3))
        changed = np.minimum(departure(view, last, noise, shade), departure(last, view, noise, shade))
        first = departure(view, around, pattern, shade) > departure(last, around, pattern, shade)
        parts.append(apart_pixels(view, last, np.where(first, changed, 0), usable))
        parts.append(apart_pixels(last, view, np.where(first, 0, changed), usable))
    return join_pixels(parts)


def _but_for_shading(
    left: NDArray[np.float32], debris: NDArray[np.float32], variance: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Squared Mahalanobis length of what a kind leaves unexplained, its own shading allowed for.

    A dome under a lamp goes from dark to light, so a grain's brightness may be anything between none and
    twice its mean: a standard deviation of SHADING along its own colour (Sherman-Morrison).
    """
    whitened = left / variance
    along = (whitened * debris).sum(axis=-1)
    reach = 1 / SHADING**2 + (debris * debris / variance).sum(axis=-1)
    return np.asarray((whitened * left).sum(axis=-1) - along * along / reach)


def _shot_cover(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    filters: Sequence[Discriminant],
    colours: Sequence[LearnedColour],
    noise: FloorNoise,
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    grain_px: float,
) -> ShotCover:
    covers = [cover_of(f, view, floor) for f in filters]
    kind = np.zeros(usable.shape, np.uint8)
    if len(filters) > 1:
        difference = view - floor
        side = max(3, int(0.3 * grain_px) | 1)
        misfits = []
        for cover, colour in zip(covers, colours, strict=True):
            debris = colour.over(usable.shape)
            share = np.clip(cover, 0, 1)[..., None]
            left = difference - share * (debris - floor)
            spread = noise.sigma**2 + np.float32(TINT**2) * debris * debris
            misfits.append(cv2.blur(_but_for_shading(left, share * debris, spread), (side, side)))
        kind = np.argmin(misfits, axis=0).astype(np.uint8)
    cover = np.choose(kind, covers)
    sigma = np.choose(kind, [f.sigma for f in filters])
    # The filter's own sigma takes channels as independent; the photo says how far that is wrong.
    sample = (cover[usable] / sigma[usable])[::7]
    factor = np.float32(1.4826 * np.median(np.abs(sample - np.median(sample))))
    return ShotCover(np.where(shown, cover, 0), sigma * factor, kind)
