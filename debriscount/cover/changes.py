"""What comes and goes between the shots: the way to debris and floor when no shot is known to be bare."""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from .colours import ApartPixels, LearnedColour, apart_pixels, join_pixels, learn_colours
from .discriminant import SHADE, SHEEN, cover_of, departure, fisher_discriminant
from .floor import average_bare, disc, local_floor
from .joints import floor_joints
from .kinds import KindHint
from .noise import FloorNoise, learn_mix, learn_noise, sigma_map

#: Cover by which two shots must differ at a place before one of them is held to show the floor there: half
#: of what a grain's edge pixel differs by.
DIFFERS = 0.25


def changed_pixels(
    matched: Mapping[str, NDArray[np.float32]],
    around: NDArray[np.float32],
    pattern: FloorNoise,
    usable: NDArray[np.bool_],
    shade: float,
) -> ApartPixels:
    """Pixels that are debris in one shot and floor in another.

    Parameters
    ----------
    matched : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Light-matched views; each is compared with the last.
    around : ndarray of float32, shape (H, W, 3)
        Floor as it looks hereabouts.
    pattern : FloorNoise
        How far the floor strays from that.
    usable : ndarray of bool, shape (H, W)
        Where to look.
    shade : float
        As `fisher_discriminant` takes it.

    Notes
    -----
    That a place changed is told by two shots alone, where the floor's pattern cancels; which of them
    shows debris, by which is less like the floor hereabouts. What one shot merely shades of the other is
    no change.
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


def pattern_noise(
    view: NDArray[np.float32], around: NDArray[np.float32], usable: NDArray[np.bool_], grain_px: float | None
) -> FloorNoise:
    """How far a floor with its pattern strays from its surroundings' median.

    ``grain_px`` is the diameter of a small grain, or None to take channels as independent.
    """
    sigma = sigma_map(learn_noise(view - around, around, usable), around)
    return FloorNoise(sigma, np.eye(3) if grain_px is None else learn_mix(view - around, sigma, usable, grain_px))


def floor_without_blank(
    matched: Mapping[str, NDArray[np.float32]], usable: NDArray[np.bool_], kinds: Sequence[KindHint]
) -> NDArray[np.float32]:
    """First estimate of the floor when no shot is known to be bare.

    Parameters
    ----------
    matched : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Light-matched views in the order of the shots.
    usable : ndarray of bool, shape (H, W)
        Floor that all shots show.
    kinds : sequence of KindHint
        The kinds of debris.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
    """
    views = list(matched.values())
    first, last = views[0], views[-1]
    smallest, largest = min(k.size_px[0] for k in kinds), max(k.size_px[1] for k in kinds)
    fine = not all(k.outlined for k in kinds)
    shade = SHEEN if fine else SHADE
    around = local_floor(last, max(3 * largest, 15.0))
    pattern = pattern_noise(last, around, usable, None if fine else smallest)
    colours = learn_colours(changed_pixels(matched, around, pattern, usable, shade), kinds, usable.shape)
    # What lies still must stand out from the floor's pattern; what came or went, from the noise alone.
    plain = FloorNoise(sigma_map(learn_noise(first - last, last, usable), last), pattern.mix)
    still = _covers(views, around, pattern, kinds, colours, shade)
    moved = _covers(views, around, plain, kinds, colours, shade)
    floor, _ = average_bare(views, covered_places(still, moved, kinds, usable), plain.sigma, largest)
    return floor


def _covers(
    views: Sequence[NDArray[np.float32]],
    around: NDArray[np.float32],
    noise: FloorNoise,
    kinds: Sequence[KindHint],
    colours: Sequence[LearnedColour],
    shade: float,
) -> list[list[NDArray[np.float32]]]:
    # A shot with shade and one without must not look like floor and debris, so here brightness counts as little
    # for light debris as for dark.
    shape = around.shape[:2]
    filters = [fisher_discriminant(around, c.over(shape), noise, c.covariance, shade, shade) for c in colours]
    blurs = [max(0.1 * kind.size_px[0], 0.5) for kind in kinds]
    return [
        [
            np.asarray(cv2.GaussianBlur(cover_of(f, view, around), (0, 0), blur), np.float32)
            for f, blur in zip(filters, blurs, strict=True)
        ]
        for view in views
    ]


def covered_places(
    still: Sequence[Sequence[NDArray[np.float32]]],
    moved: Sequence[Sequence[NDArray[np.float32]]],
    kinds: Sequence[KindHint],
    usable: NDArray[np.bool_],
) -> list[NDArray[np.bool_]]:
    """Where each shot shows debris, judged by comparing the shots with each other.

    Parameters
    ----------
    still, moved : sequence (shots) of sequence (kinds) of ndarray of float32, each of shape (H, W)
        Cover against the floor hereabouts, not clipped, by a filter that is blind to the floor's pattern
        and by one that need not be. On a patterned floor both are off by the pattern, but off alike
        in all shots.
    kinds : sequence of KindHint
        The kinds of debris.
    usable : ndarray of bool, shape (H, W)
        Where debris may lie in all shots: behind a wall everything lies still, and only what comes or goes
        can be debris.

    Notes
    -----
    A place is covered in a shot that exceeds the least covered shot by DIFFERS and is nearer to debris
    than to the floor hereabouts (the other shot may have shade there); and in all shots where even
    the least covered stands out as a grain does: by half a grain's cover against what is left when
    everything narrower than a grain is taken away (top hat). Pattern wider than a grain is floor, and so
    are long thin joints.
    """
    lying = np.zeros(still[0][0].shape, bool)
    for k, kind in enumerate(kinds):
        low, high = kind.size_px
        least = np.minimum.reduce([shot[k] for shot in still])
        hat = cv2.morphologyEx(least, cv2.MORPH_TOPHAT, disc(max(2, round(0.65 * high))))
        sample = hat[::5, ::5]
        middle = float(np.median(sample))
        spread = 1.4826 * float(np.median(np.abs(sample - middle)))
        level = max(0.5 * kind.least_peak, middle + 4 * spread)
        stands_out = (hat > level) & usable
        lying |= _not_smaller(stands_out & ~floor_joints(stands_out, high, 1.5 * high), 0.3 * np.pi / 4 * low**2)
    # Shade is less than no cover, and what is one kind in one shot is hardly another kind in the next: so
    # the kinds' covers are compared as one, from 0 up.
    peak = min(kind.least_peak for kind in kinds)
    totals = [np.maximum.reduce([np.clip(cover, 0, 1) for cover in shot]) for shot in moved]
    least = np.minimum.reduce(totals)
    return [lying | ((t - least > min(0.5 * peak, DIFFERS)) & (t > 0.5 * peak)) for t in totals]


def _not_smaller(mask: NDArray[np.bool_], least_px: float) -> NDArray[np.bool_]:
    if least_px <= 1:
        return mask
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] >= least_px
    keep[0] = False
    return np.asarray(keep[labels])
