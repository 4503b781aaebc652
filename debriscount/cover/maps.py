"""The cover stage as a whole: from aligned floor views to cover maps of every shot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from .alone import floor_around, likely_floor, pattern_around
from .assign import likeliest_kind
from .changes import floor_without_blank
from .colours import LearnedColour, apart_pixels, core_pixels, join_pixels, learn_colours
from .discriminant import SHADE, SHEEN, Discriminant, cover_of, departure, fisher_discriminant
from .floor import RIM_PX, average_bare, brightness, disc, local_floor
from .kinds import KindHint
from .light import FAINTEST, stiff_gain, supple_gain
from .noise import FloorNoise, learn_mix, learn_noise, sigma_map
from .strips import over_strips

#: How far shade may change the hue of a floor, as a share of each channel: of two lamps of unlike colour one is
#: hidden from a shadow. Daylight beside a warm lamp changes a channel's share of the light by about a tenth.
SHADE_TINT = 0.1
#: Cover above which a pixel is kept out of what is averaged as bare floor or light.
NOT_BARE = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class ShotCover:
    """Cover in one shot: the fraction of each pixel that its likeliest kind hides, not clipped.

    ``cover`` and ``sigma`` (its standard deviation on bare floor) have shape (H, W); ``kind`` of the
    same shape indexes the kinds. ``apart``, also (H, W), is how many standard deviations the pixel is from
    floor in any shade, coloured shade included; ``light`` how much brighter it is than the floor, as a share of the
    floor's brightness, and 0 where the floor is not shown. ``spread`` is, for each kind, the standard deviation of
    cover over pixels that it hides wholly: its grains' shading and pattern.
    """

    cover: NDArray[np.float32]
    sigma: NDArray[np.float32]
    kind: NDArray[np.uint8]
    apart: NDArray[np.float32]
    light: NDArray[np.float32]
    spread: tuple[float, ...]

    def mirrored(self) -> "ShotCover":
        """The same with floor's departures turned round: chance takes bare floor as often to one side as the other."""
        return replace(self, cover=-self.cover, light=-self.light)


@dataclass(frozen=True, slots=True, eq=False)
class CoverMaps:
    """What the cover stage found: light-matched views, bare floor, kinds' colours and cover a shot.

    ``blind_share`` is, for each kind, the share of the floor on which noise could pass for half a grain.
    """

    floor: NDArray[np.float32]
    matched: dict[str, NDArray[np.float32]]
    colours: tuple[LearnedColour, ...]
    shots: dict[str, ShotCover]
    blind_share: tuple[float, ...]


def cover_maps(
    views: Mapping[str, NDArray[np.float32]],
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    kinds: Sequence[KindHint],
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
    kinds : sequence of KindHint
        The kinds of debris.

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
    smallest, largest = min(k.size_px[0] for k in kinds), max(k.size_px[1] for k in kinds)
    # Grains of a few pixels are narrower than the photo's colour blocks: their colour is smeared, their
    # brightness is not, and their own shade is too small to be told from them.
    fine = not all(k.outlined for k in kinds)
    shade = SHEEN if fine else SHADE
    if len(views) == 1:
        view = views[reference]
        floor, bare = likely_floor(view, usable, kinds)
        noise = pattern_around(view, floor, bare, None if fine else smallest)
    else:
        other = matched["blank" if "blank" in views else dirty[0]]
        difference = matched[dirty[-1]] - other
        model = learn_noise(difference, other, usable)
        mix = np.eye(3) if fine else learn_mix(difference, sigma_map(model, other), usable, smallest)
        floor = matched["blank"] if "blank" in views else floor_without_blank(matched, usable, kinds)
        noise = FloorNoise(sigma_map(model, floor), mix)
    parts = [apart_pixels(matched[n], floor, departure(matched[n], floor, noise, shade), usable) for n in dirty]
    colours = learn_colours(join_pixels(parts), kinds, usable.shape)
    filters = _filters(floor, colours, noise, shade)
    limit = min(NOT_BARE, 0.5 * min(k.least_peak for k in kinds))
    covered = {n: _covered(matched[n], floor, filters, limit) for n in names}
    for name in names:
        if name != reference:
            busy = covered[name] | covered[reference] | ~usable
            both = cv2.dilate(busy.astype(np.uint8), disc(RIM_PX)) == 0
            reach = max(2 * largest, 24.0)
            matched[name] = matched[name] * supple_gain(matched[name], matched[reference], both, reach)
    if len(views) == 1:
        bare = usable & ~covered[reference]
        floor = floor_around(view, bare, largest)
        noise = pattern_around(view, floor, bare, None if fine else smallest)
    else:
        floor, hidden = average_bare([matched[n] for n in names], [covered[n] for n in names], noise.sigma, largest)
        noise = FloorNoise(sigma_map(model, floor), mix)

    # Now that grains are known, all of their pixels tell their colour, not only those that stand out most.
    parts = [core_pixels(matched[n], floor, covered[n] & usable) for n in dirty]
    colours = learn_colours(join_pixels(parts), kinds, usable.shape)
    filters = _filters(floor, colours, noise, shade)
    if len(views) > 1 and hidden.any():
        # There the floor has its pattern as well, of which the surroundings' mean tells nothing.
        around = np.asarray(cv2.blur(floor, (2 * int(largest) + 1, 2 * int(largest) + 1)), np.float32)
        pattern = pattern_around(floor, around, usable & ~hidden, None if fine else smallest)
        _refilter(filters, hidden, floor, colours, pattern, shade)
    # Beside a dark joint, shade must be darker than the joint: shots lie on each other to about a pixel.
    smooth = cv2.GaussianBlur(brightness(floor), (0, 0), 0.7)
    bright = np.asarray(cv2.erode(smooth, np.ones((3, 3), np.uint8)), np.float32)
    if "blank" not in views:
        # Without a blank light debris that was overlooked in one shot is floor that looks shaded in the next: shade
        # must be darker than the floor hereabouts as well.
        bright = np.minimum(bright, brightness(local_floor(floor, max(3 * largest, 15.0))))
    shots = {n: _shot_cover(matched[n], floor, bright, filters, colours, noise, usable, shown, largest) for n in names}
    blind = tuple(
        float((2 * f.sigma[usable] > 0.5 * kind.usual_peak).mean()) for f, kind in zip(filters, kinds, strict=True)
    )
    return CoverMaps(floor, matched, colours, shots, blind)


def _filters(
    floor: NDArray[np.float32], colours: Sequence[LearnedColour], noise: FloorNoise, shade: float
) -> list[Discriminant]:
    filters = []
    for c in colours:
        debris = c.over(floor.shape[:2])
        sheen = shade if _hue_tells(floor, debris, noise, c, shade) else SHEEN
        filters.append(fisher_discriminant(floor, debris, noise, c.covariance, shade, sheen))
    return filters


def _hue_tells(
    floor: NDArray[np.float32], debris: NDArray[np.float32], noise: FloorNoise, colour: LearnedColour, shade: float
) -> bool:
    """Whether cover by hue alone is no noisier than with brightness; then light debris is told without it as well.

    For debris lighter than the floor `fisher_discriminant` counts brightness, as shade cannot pass for it; but where
    hue does as well without, a grain's shade does not bend its outline.
    """
    some = np.s_[::16, ::16]
    sample = FloorNoise(noise.sigma[some], noise.mix)
    both, hue = (
        fisher_discriminant(floor[some], debris[some], sample, colour.covariance, shade, sheen).sigma
        for sheen in (SHEEN, shade)
    )
    return float(np.median(hue)) <= float(np.median(both))


def _refilter(
    filters: Sequence[Discriminant],
    places: NDArray[np.bool_],
    floor: NDArray[np.float32],
    colours: Sequence[LearnedColour],
    noise: FloorNoise,
    shade: float,
) -> None:
    """Make the filters anew at some places, in place, for another noise."""
    there = FloorNoise(noise.sigma[places][:, None], noise.mix)
    for old, c in zip(filters, colours, strict=True):
        debris = c.over(floor.shape[:2])[places][:, None]
        sheen = shade if _hue_tells(floor, c.over(floor.shape[:2]), noise, c, shade) else SHEEN
        new = fisher_discriminant(floor[places][:, None], debris, there, c.covariance, shade, sheen)
        old.filter[places], old.sigma[places] = new.filter[:, 0], new.sigma[:, 0]


def _covered(
    view: NDArray[np.float32], floor: NDArray[np.float32], filters: Sequence[Discriminant], limit: float
) -> NDArray[np.bool_]:
    apart = [cover_of(f, view, floor) > np.maximum(limit, 3 * f.sigma) for f in filters]
    return np.asarray(np.logical_or.reduce(apart))


def _shot_cover(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    bright: NDArray[np.float32],
    filters: Sequence[Discriminant],
    colours: Sequence[LearnedColour],
    noise: FloorNoise,
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    grain_px: float,
) -> ShotCover:
    # A kind of which nothing was seen covers nothing: its colour is a hint in a light of its own.
    covers = [
        cover_of(f, view, floor) if c.samples else np.zeros(usable.shape, np.float32)
        for f, c in zip(filters, colours, strict=True)
    ]
    kind = likeliest_kind(view - floor, floor, covers, colours, noise.sigma, grain_px)
    cover = covers[0] if len(covers) == 1 else np.choose(kind, covers)
    sigma = filters[0].sigma if len(covers) == 1 else np.choose(kind, [f.sigma for f in filters])
    # The filter's own sigma takes channels as independent; the photo says how far that is wrong.
    some = usable[::3, ::3] & (sigma[::3, ::3] > 0)
    sample = cover[::3, ::3][some] / sigma[::3, ::3][some]
    factor = np.float32(max(1.4826 * np.median(np.abs(sample - np.median(sample))), 1e-3))
    apart = departure(view, floor, FloorNoise(_tinted(view, floor, noise.sigma), np.eye(3)), SHADE)
    light = np.where(usable, brightness(view) / np.maximum(bright, FAINTEST) - 1, np.float32(0))
    spread = tuple(_spread(f, c) for f, c in zip(filters, colours, strict=True))
    return ShotCover(np.where(shown, cover, 0), sigma * factor, kind, apart, light, spread)


def _spread(discriminant: Discriminant, colour: LearnedColour) -> float:
    """Standard deviation of cover that the kind's own colours make, usual over the floor."""
    sample = discriminant.filter[::16, ::16].reshape(-1, 3)
    return float(np.sqrt(np.median(np.einsum("ni,ij,nj->n", sample, colour.covariance, sample))))


def _tinted(view: NDArray[np.float32], floor: NDArray[np.float32], sigma: NDArray[np.float32]) -> NDArray[np.float32]:
    """Noise of every channel with what coloured shade adds where a view is darker than the floor."""
    result = np.empty_like(sigma)

    def work(rows: slice) -> None:
        v, f, n = view[rows], floor[rows], sigma[rows]
        tint = np.float32(SHADE_TINT) * f * ((v - f).sum(axis=-1, keepdims=True) < 0)
        result[rows] = np.sqrt(n * n + tint * tint)

    over_strips(work, view.shape[0])
    return result
