"""The cover stage as a whole: from aligned floor views to cover maps of every shot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from .alone import pattern_around
from .assign import likeliest_kind
from .colours import LearnedColour, apart_pixels, core_pixels, join_pixels, learn_colours
from .discriminant import SHADE, SHEEN, Discriminant, cover_of, departure, fisher_discriminant
from .fine import fine_spots, full_cover, lone_cover
from .floor import brightness, local_floor
from .joints import floor_joints
from .kinds import KindHint
from .light import FAINTEST
from .noise import FloorNoise
from .shots import BareFloor, Shots
from .strips import over_strips

#: How far shade may change the hue of a floor, as a share of each channel: of two lamps of unlike colour one is
#: hidden from a shadow. Daylight beside a warm lamp changes a channel's share of the light by about a tenth.
SHADE_TINT = 0.1
#: Cover above which a pixel is kept out of what is averaged as bare floor or light.
NOT_BARE = 0.25
#: Width, in small grains, of what may be a joint of the floor in a photo that stands alone: long grains are about half
#: as wide as their diameter.
JOINT = 0.5
#: How often light and floor are learned where grains are fine: fine debris leaves little floor bare, and what of it
#: is not known yet passes for light. A third round changes little.
FINE_ROUNDS = 2


@dataclass(frozen=True, slots=True, eq=False)
class ShotCover:
    """Cover in one shot: the fraction of each pixel that its likeliest kind hides, not clipped.

    ``cover`` and ``sigma`` (its standard deviation on bare floor) have shape (H, W); ``kind`` of the
    same shape indexes the kinds. ``apart``, also (H, W), is how many standard deviations the pixel is from
    floor in any shade, coloured shade included; ``light`` how much brighter it is than the floor, as a share of the
    floor's brightness, and 0 where the floor is not shown. ``spread`` is, for each kind, the standard deviation of
    cover over pixels that it hides wholly: its grains' shading and pattern. ``full`` is, for each kind, what cover sums
    up to over a grain for each pixel that the grain hides; empty means 1.
    """

    cover: NDArray[np.float32]
    sigma: NDArray[np.float32]
    kind: NDArray[np.uint8]
    apart: NDArray[np.float32]
    light: NDArray[np.float32]
    spread: tuple[float, ...]
    full: tuple[float, ...] = ()

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
    run = Shots(views, usable, kinds)
    floor = run.first_floor()
    parts = [apart_pixels(v, floor.mean, departure(v, floor.mean, floor.noise, run.shade), usable) for v in run.dirty()]
    for _ in range(FINE_ROUNDS if run.fine else 1):
        filters = _filters(floor, learn_colours(join_pixels(parts), kinds, usable.shape), run.shade)
        limit = min(NOT_BARE, 0.5 * min(k.least_peak for k in kinds))
        covered = {n: _covered(view, floor.mean, filters, limit) for n, view in run.matched.items()}
        run.match_light(covered)
        floor = run.floor(covered, floor)
        # Now that grains are known, all of their pixels tell their colour, not only those that stand out most.
        parts = [core_pixels(run.matched[n], floor.mean, covered[n] & usable) for n in run.dirty_names]
    colours = learn_colours(join_pixels(parts), kinds, usable.shape)
    filters = _filters(floor, colours, run.shade)
    if floor.hidden.any() and len(views) > 1:
        # There the floor has its pattern as well, of which the surroundings' mean tells nothing.
        around = np.asarray(cv2.blur(floor.mean, (2 * int(run.largest) + 1, 2 * int(run.largest) + 1)), np.float32)
        pattern = pattern_around(floor.mean, around, usable & ~floor.hidden, run.averaged_px)
        _refilter(filters, floor, colours, pattern, run.shade)
    bright = _lit_floor(floor.mean, None if "blank" in views else run.window)
    shots = {
        n: _shot_cover(v, floor, bright, filters, colours, usable, shown, run.largest) for n, v in run.matched.items()
    }
    if run.alone:
        shots = {n: _without_pattern(shot, run.smallest, run.largest) for n, shot in shots.items()}
    shots = _alike(shots, run.dirty_names, kinds, usable)
    blind = tuple(
        float((2 * f.sigma[usable] > 0.5 * kind.usual_peak).mean()) for f, kind in zip(filters, kinds, strict=True)
    )
    return CoverMaps(floor.mean, run.matched, colours, shots, blind)


def _lit_floor(floor: NDArray[np.float32], window_px: float | None) -> NDArray[np.float32]:
    """Brightness of the floor that shade must fall below, shape (H, W).

    Beside a dark joint that is the joint's: shots lie on each other to about a pixel. Without a blank (``window_px``
    given) it is no more than that of the floor hereabouts: light debris that was overlooked in one shot is floor that
    looks shaded in the next.
    """
    smooth = cv2.GaussianBlur(brightness(floor), (0, 0), 0.7)
    lit = np.asarray(cv2.erode(smooth, np.ones((3, 3), np.uint8)), np.float32)
    return lit if window_px is None else np.minimum(lit, brightness(local_floor(floor, window_px)))


def _filters(floor: BareFloor, colours: Sequence[LearnedColour], shade: float) -> list[Discriminant]:
    filters = []
    for c in colours:
        debris = c.over(floor.hidden.shape)
        sheen = shade if _hue_tells(floor.mean, debris, floor.noise, c, shade) else SHEEN
        filters.append(fisher_discriminant(floor.mean, debris, floor.noise, c.covariance, shade, sheen))
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
    floor: BareFloor,
    colours: Sequence[LearnedColour],
    noise: FloorNoise,
    shade: float,
) -> None:
    """Make the filters anew, in place, for another noise where the floor is hidden."""
    places = floor.hidden
    there = FloorNoise(noise.sigma[places][:, None], noise.mix)
    for old, c in zip(filters, colours, strict=True):
        debris = c.over(places.shape)
        sheen = shade if _hue_tells(floor.mean, debris, noise, c, shade) else SHEEN
        new = fisher_discriminant(
            floor.mean[places][:, None], debris[places][:, None], there, c.covariance, shade, sheen
        )
        old.filter[places], old.sigma[places] = new.filter[:, 0], new.sigma[:, 0]


def _covered(
    view: NDArray[np.float32], floor: NDArray[np.float32], filters: Sequence[Discriminant], limit: float
) -> NDArray[np.bool_]:
    apart = [cover_of(f, view, floor) > np.maximum(limit, 3 * f.sigma) for f in filters]
    return np.asarray(np.logical_or.reduce(apart))


def _shot_cover(
    view: NDArray[np.float32],
    floor: BareFloor,
    bright: NDArray[np.float32],
    filters: Sequence[Discriminant],
    colours: Sequence[LearnedColour],
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    grain_px: float,
) -> ShotCover:
    # A kind of which nothing was seen covers nothing: its colour is a hint in a light of its own.
    covers = [
        cover_of(f, view, floor.mean) if c.samples else np.zeros(usable.shape, np.float32)
        for f, c in zip(filters, colours, strict=True)
    ]
    kind = likeliest_kind(view - floor.mean, floor.mean, covers, colours, floor.noise.sigma, grain_px)
    cover = covers[0] if len(covers) == 1 else np.choose(kind, covers)
    sigma = filters[0].sigma if len(covers) == 1 else np.choose(kind, [f.sigma for f in filters])
    apart = departure(view, floor.mean, FloorNoise(_tinted(view, floor.mean, floor.noise.sigma), np.eye(3)), SHADE)
    light = np.where(usable, brightness(view) / np.maximum(bright, FAINTEST) - 1, np.float32(0))
    spread = tuple(_spread(f, c) for f, c in zip(filters, colours, strict=True))
    return ShotCover(np.where(shown, cover, 0), np.asarray(sigma, np.float32), kind, apart, light, spread)


def _without_pattern(shot: ShotCover, small_px: float, large_px: float) -> ShotCover:
    """A shot against a smooth floor, which does not tell its joints from debris nor its dark places from shade."""
    joints = floor_joints(shot.cover > NOT_BARE, large_px, JOINT * small_px)
    return replace(shot, cover=np.where(joints, np.float32(0), shot.cover), light=np.zeros_like(shot.light))


def _alike(
    shots: Mapping[str, ShotCover], dirty: Sequence[str], kinds: Sequence[KindHint], usable: NDArray[np.bool_]
) -> dict[str, ShotCover]:
    """Shots with the noise and the full cover that all of them have in common.

    One camera, one noise: debris widens the spread, so the shot with the least of it says what noise alone does.
    """
    wider = np.float32(min(_noise_factor(shots[n], usable) for n in dirty))
    even = {n: replace(s, sigma=s.sigma * wider) for n, s in shots.items()}
    full = tuple(_full_cover([even[n] for n in dirty], k, kind, usable) for k, kind in enumerate(kinds))
    return {n: replace(s, full=full) for n, s in even.items()}


def _noise_factor(shot: ShotCover, usable: NDArray[np.bool_]) -> float:
    """How much wider cover spreads in a shot than its sigma says, which takes channels as independent."""
    cover, sigma = shot.cover[::3, ::3], shot.sigma[::3, ::3]
    some = usable[::3, ::3] & (sigma > 0)
    sample = cover[some] / sigma[some]
    return max(1.4826 * float(np.median(np.abs(sample - np.median(sample)))), 1e-3)


def _full_cover(shots: Sequence[ShotCover], k: int, kind: KindHint, usable: NDArray[np.bool_]) -> float:
    """What cover comes to, in the shots' sums over whole grains of a kind, per pixel hidden."""
    if kind.outlined or not kind.size_known:
        return 1.0
    own = [np.where(shot.kind == k, shot.cover, np.float32(0)) for shot in shots]
    spots = [fine_spots(cover, shot.sigma, kind) for cover, shot in zip(own, shots, strict=True)]
    return full_cover(np.concatenate([lone_cover(s, usable) for s in spots]), kind)


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
