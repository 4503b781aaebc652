"""What comes and goes between the shots: the way to debris and floor when no shot is known to be bare."""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from .colours import ApartPixels, LearnedColour, apart_pixels, join_pixels, learn_colours
from .discriminant import SHADE, SHEEN, cover_of, departure, fisher_discriminant
from .floor import RIM_PX, average_bare, disc, from_surroundings, local_floor
from .kinds import KindHint
from .looks import FARTHEST, look_limit, looks_of, things_in, usual_look
from .membership import like_debris
from .noise import FEWEST, FloorNoise, learn_mix, learn_noise, sigma_map

#: Cover by which two shots must differ at a place before one of them is held to show the floor there: half
#: of what a grain's edge pixel differs by.
DIFFERS = 0.25
#: Every so many rows and columns the floor's colours are sampled.
SAMPLED = 7
#: Standard uncertainty of what lies still, looks little like debris and is called floor, as a share of that by which it
#: exceeds what the floor around shows: evenly anything from none to all of it.
EXCESS_U = 0.3


def changed_pixels(
    matched: Mapping[str, NDArray[np.float32]],
    around: NDArray[np.float32],
    pattern: FloorNoise,
    usable: NDArray[np.bool_],
    shade: float,
    grain_px: float = 1.0,
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
    grain_px : float
        Diameter of a small grain.

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
        parts.append(apart_pixels(view, last, np.where(first, changed, 0), usable, grain_px))
        parts.append(apart_pixels(last, view, np.where(first, 0, changed), usable, grain_px))
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
    matched: Mapping[str, NDArray[np.float32]],
    usable: NDArray[np.bool_],
    kinds: Sequence[KindHint],
    strewn: NDArray[np.bool_],
) -> tuple[NDArray[np.float32], tuple[LearnedColour, ...], float]:
    """First estimate of the floor, and of the debris' colours, when no shot is known to be bare.

    Parameters
    ----------
    matched : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Light-matched views in the order of the shots.
    usable : ndarray of bool, shape (H, W)
        Floor that all shots show.
    kinds : sequence of KindHint
        The kinds of debris.
    strewn : ndarray of bool, shape (H, W)
        Where debris was strewn; elsewhere the first shot shows bare floor.

    Returns
    -------
    floor : ndarray of float32, shape (H, W, 3)
    colours : tuple of LearnedColour
    doubt_px : float
        As `still_places` gives it.
    """
    views = list(matched.values())
    first, last = views[0], views[-1]
    smallest, largest = min(k.size_px[0] for k in kinds), max(k.size_px[1] for k in kinds)
    fine = not all(k.outlined for k in kinds)
    shade = SHEEN if fine else SHADE
    # In a window three large grains wide floor is the median; of finer grains fifteen pixels hold enough.
    around = local_floor(last, max(3 * largest, 15.0))
    pattern = pattern_noise(last, around, usable, None if fine else smallest)
    changed = changed_pixels(matched, around, pattern, usable, shade, smallest)
    some = np.s_[::SAMPLED, ::SAMPLED]
    colours = learn_colours(changed, kinds, usable.shape, last[some][usable[some]])
    if not any(c.samples for c in colours):  # nothing came or went: what lies still must tell
        apart = apart_pixels(first, around, departure(first, around, pattern, shade), usable & strewn, smallest)
        colours = learn_colours(apart, kinds, usable.shape, first[some][(usable & ~strewn)[some]])
    alike = _alike_in_all(views, colours, usable, strewn)
    if alike is not None:
        debris = cv2.dilate(alike[-1].astype(np.uint8), disc(RIM_PX)) > 0
        # The same window.
        around = _floor_beside(last, debris, usable, max(3 * largest, 15.0))
    # What lies still must stand out from the floor's pattern; what came or went, from the noise alone.
    plain = FloorNoise(sigma_map(learn_noise(first - last, last, usable), last), pattern.mix)
    still = _covers(views, around, pattern, kinds, colours, shade)
    moved = _covers(views, around, plain, kinds, colours, shade)
    came_or_went = changed_places(moved, kinds)
    lying, doubt = still_places(views, still, came_or_went, kinds, colours, usable, strewn)
    if alike is not None and not fine:  # in a heap what is not debris is its shade
        lying |= np.logical_and.reduce([mask | c for mask, c in zip(alike, came_or_went, strict=True)]) & usable
    floor, _ = average_bare(views, [lying | c for c in came_or_went], plain.sigma, largest)
    return floor, colours, doubt


def _alike_in_all(
    views: Sequence[NDArray[np.float32]],
    colours: Sequence[LearnedColour],
    usable: NDArray[np.bool_],
    strewn: NDArray[np.bool_],
) -> list[NDArray[np.bool_]] | None:
    """Where each shot has a colour likelier that of debris than the floor's own.

    None where no floor around the patch tells what the floor looks like, or no kind was seen.
    """
    some = np.s_[::SAMPLED, ::SAMPLED]
    bare = views[0][some][(usable & ~strewn)[some]]
    seen = np.array([c.mean for c in colours if c.samples])
    if len(bare) < FEWEST or not len(seen):
        return None
    return [like_debris(np.asarray(cv2.GaussianBlur(v, (0, 0), 1.0), np.float32), seen, bare) for v in views]


def _floor_beside(
    view: NDArray[np.float32], debris: NDArray[np.bool_], usable: NDArray[np.bool_], window_px: float
) -> NDArray[np.float32]:
    """The floor hereabouts without what is debris, which fills most of a window where it lies in heaps."""
    filled = np.where(debris[..., None], from_surroundings(view, usable & ~debris, window_px / 3), view)
    return local_floor(np.asarray(filled, np.float32), window_px)


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
    # A tenth of a grain is far below its outline's own blur; half a pixel is the least that averages.
    blurs = [max(0.1 * kind.size_px[0], 0.5) for kind in kinds]
    return [
        [
            np.asarray(cv2.GaussianBlur(cover_of(f, view, around), (0, 0), blur), np.float32)
            for f, blur in zip(filters, blurs, strict=True)
        ]
        for view in views
    ]


def changed_places(
    moved: Sequence[Sequence[NDArray[np.float32]]], kinds: Sequence[KindHint]
) -> list[NDArray[np.bool_]]:
    """Where each shot shows debris that another does not, judged by comparing the shots with each other.

    Parameters
    ----------
    moved : sequence (shots) of sequence (kinds) of ndarray of float32, each of shape (H, W)
        Cover against the floor hereabouts, not clipped. On a patterned floor it is off by the pattern, but off alike in
        all shots.
    kinds : sequence of KindHint
        The kinds of debris.

    Notes
    -----
    A place is covered in a shot that exceeds the least covered shot by DIFFERS and is nearer to debris than to the
    floor hereabouts (the other shot may have shade there). Shade is less than no cover, and what is one kind in one
    shot is hardly another kind in the next: so the kinds' covers are compared as one, from 0 up.
    """
    peak = min(kind.least_peak for kind in kinds)
    totals = [np.maximum.reduce([np.clip(cover, 0, 1) for cover in shot]) for shot in moved]
    least = np.minimum.reduce(totals)
    return [np.asarray((t - least > min(0.5 * peak, DIFFERS)) & (t > 0.5 * peak)) for t in totals]


def still_places(
    views: Sequence[NDArray[np.float32]],
    still: Sequence[Sequence[NDArray[np.float32]]],
    came_or_went: Sequence[NDArray[np.bool_]],
    kinds: Sequence[KindHint],
    colours: Sequence[LearnedColour],
    usable: NDArray[np.bool_],
    strewn: NDArray[np.bool_],
) -> tuple[NDArray[np.bool_], float]:
    """Where all shots show the same debris.

    Parameters
    ----------
    views : sequence of ndarray of float32, each of shape (H, W, 3)
        The shots.
    still : sequence (shots) of sequence (kinds) of ndarray of float32, each of shape (H, W)
        Cover against the floor hereabouts by a filter that is blind to the floor's pattern.
    came_or_went : sequence of ndarray of bool, each of shape (H, W)
        As `changed_places` gives them.
    kinds, colours : sequence
        The kinds of debris and their colours.
    usable : ndarray of bool, shape (H, W)
        Where debris may lie in all shots: behind a wall everything lies still, and only what comes or goes
        can be debris.
    strewn : ndarray of bool, shape (H, W)
        Where debris was strewn.

    Returns
    -------
    lying : ndarray of bool, shape (H, W)
    doubt_px : float
        Area that may have been called debris and is floor, or the other way round: what the floor around the patch
        makes expect of the former, and a part of what exceeds that among the things called floor.
    """
    lying = np.zeros(usable.shape, bool)
    patch_px, around_px = float((usable & strewn).sum()), float((usable & ~strewn).sum())
    doubt = 0.0
    for k, (kind, colour) in enumerate(zip(kinds, colours, strict=True)):
        # Less than a third of the smallest grain's disc is a rim or a speck.
        least_px = max(0.3 * np.pi / 4 * kind.size_px[0] ** 2, 1.0)
        mine = []
        for mask, shot, view in zip(came_or_went, still, views, strict=True):
            labels, count = things_in(mask & (shot[k] > 0.5 * kind.least_peak), least_px)
            mine.append(looks_of(labels, count, view).look)
        usual = usual_look(np.concatenate(mine), kind, colour)
        least = np.minimum.reduce([shot[k] for shot in still])
        labels, count = things_in((least > 0.5 * kind.least_peak) & usable, least_px)
        things = looks_of(labels, count, views[0])
        unlike = usual.unlike(things.look)
        there = strewn[things.row, things.column]
        limit = look_limit(unlike, things.area_px, there, patch_px, around_px)
        lying |= np.concatenate([[False], unlike < limit])[labels]
        expected = np.where(there, 0, patch_px / max(around_px, 1.0)) * things.area_px
        excess = np.where(there, things.area_px, 0) - expected
        doubt += float(expected[unlike < limit].sum())
        doubt += EXCESS_U * max(float(excess[(unlike >= limit) & (unlike < FARTHEST)].sum()), 0.0)
    return lying, doubt
