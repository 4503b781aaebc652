"""The cover stage as a whole: from aligned floor views to cover maps of every shot."""

from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from ..stats.robust import robust_sd
from .alone import pattern_around
from .assign import likeliest_kind
from .colours import LearnedColour, apart_pixels, core_pixels, join_pixels, learn_colours
from .discriminant import SHEEN, Discriminant, cover_of, departure, fisher_discriminant, from_shaded_floor
from .fine import SMOOTH_PX, SMOOTHED, fine_spots, full_cover, lone_cover
from .floor import brightness, local_floor
from .joints import floor_joints
from .kinds import KindHint
from .light import FAINTEST
from .noise import FloorNoise, tail_factor
from .shots import BareFloor, Shots
from .wall_foot import wall_foot

Value = TypeVar("Value", np.float32, np.bool_)
#: Cover above which a pixel is kept out of what is averaged as bare floor or light.
NOT_BARE = 0.25
#: Width, in small grains, of what may be a joint of the floor in a photo that stands alone: long grains are about half
#: as wide as their diameter.
JOINT = 0.5
#: How often light and floor are learned where grains are fine: fine debris leaves little floor bare, and what of it
#: is not known yet passes for light. A third round changes little.
FINE_ROUNDS = 2
#: Every so many rows and columns the floor's colours are sampled.
SAMPLED = 7
#: Every so many rows and columns the noise of cover is measured.
SPARSE = 3
#: What came or went, over what lay still, from which on it alone tells the debris' colour.
CHANGED = 0.02
#: Side of the squares over which it is told whether the floor can be judged.
BLIND_PX = 5
#: Standard deviation of cover, as a share of what a grain reaches, from which on the floor cannot be judged: beyond it
#: bare floor comes out as more than half a grain in one place of ten.
BLIND = 0.4
#: How far a photo's noise is the same (demosaicing, JPEG, blur), px.
CORRELATED_PX = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class ShotCover:
    """Cover in one shot: the fraction of each pixel that its likeliest kind hides, not clipped.

    ``cover`` and ``sigma`` (its standard deviation on bare floor) have shape (H, W); ``kind`` of the
    same shape indexes the kinds. ``apart``, also (H, W), is how many standard deviations the pixel is from
    floor in any shade, coloured shade included; ``light`` how much brighter it is than the floor, as a share of the
    floor's brightness, and 0 where the floor is not shown. ``spread`` is, for each kind, the standard deviation of
    cover over pixels that it hides wholly: its grains' shading and pattern. ``full`` is, for each kind, what cover sums
    up to over a grain for each pixel that the grain hides; empty means 1. ``tails``, (H, W), is by how much the tails
    of what bare floor shows exceed those of a normal distribution; None where that is unknown. ``usual_apart`` is, for
    each kind, how far its own colour usually is from shaded floor, as ``apart`` counts it; empty where that is unknown.
    """

    cover: NDArray[np.float32]
    sigma: NDArray[np.float32]
    kind: NDArray[np.uint8]
    apart: NDArray[np.float32]
    light: NDArray[np.float32]
    spread: tuple[float, ...]
    full: tuple[float, ...] = ()
    tails: NDArray[np.float32] | None = None
    usual_apart: tuple[float, ...] = ()

    @property
    def widest_sigma(self) -> NDArray[np.float32]:
        """``sigma`` with what the noise's tails add to it."""
        return self.sigma if self.tails is None else self.sigma * self.tails

    def mirrored(self) -> "ShotCover":
        """The same with floor's departures turned round: chance takes bare floor as often to one side as the other."""
        return replace(self, cover=-self.cover, light=-self.light)


@dataclass(frozen=True, slots=True, eq=False)
class CoverMaps:
    """What the cover stage found: light-matched views, bare floor, kinds' colours and cover a shot.

    ``blind_share`` is, for each kind, the share of the floor on which noise could pass for half a grain; ``doubt_px``
    how much of what lies still may be debris or floor.
    """

    floor: NDArray[np.float32]
    matched: dict[str, NDArray[np.float32]]
    colours: tuple[LearnedColour, ...]
    shots: dict[str, ShotCover]
    blind_share: tuple[float, ...]
    doubt_px: float = 0.0


def cover_maps(
    views: MutableMapping[str, NDArray[np.float32]],
    usable: NDArray[np.bool_],
    shown: NDArray[np.bool_],
    kinds: Sequence[KindHint],
    strewn: NDArray[np.bool_] | None = None,
    *,
    spend: bool = False,
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
    strewn : ndarray of bool, shape (H, W), optional
        Where debris was strewn, so that elsewhere the first shot shows bare floor. Everywhere unless given.
    spend : bool
        Empty ``views``, of which the caller needs none any more, and write over them: they take most memory.

    Returns
    -------
    CoverMaps
        Views are in the light of the blank or, without one, of the last shot.
    """
    run = Shots(views, usable, kinds, np.ones_like(usable) if strewn is None else strewn, spend)
    floor = run.first_floor()
    parts = [
        apart_pixels(v, floor.mean, departure(v, floor.mean, floor.noise, run.shade), usable, run.smallest)
        for v in run.dirty()
    ]
    colours = floor.colours or learn_colours(join_pixels(parts), kinds, usable.shape, _some(floor.mean, usable))
    for _ in range(FINE_ROUNDS if run.fine else 1):
        filters = _filters(floor, colours, run.shade)
        limit = min(NOT_BARE, 0.5 * min(k.least_peak for k in kinds))
        seen = [f for f, c in zip(filters, colours, strict=True) if c.samples]
        covered = _covered(run, floor.mean, seen or filters, limit)
        run.match_light(covered)
        floor = run.floor(covered, floor)
        # Now that grains are known, all of their pixels tell their colour, not only those that stand out most.
        parts = [
            core_pixels(run.matched[n], floor.mean, mask & usable, run.smallest)
            for n, mask in _sure(run, covered).items()
        ]
        learned = learn_colours(join_pixels(parts), kinds, usable.shape, _some(floor.mean, usable))
        colours = tuple(new if new.samples else old for new, old in zip(learned, colours, strict=True))
    filters = _filters(floor, colours, run.shade)
    if floor.hidden.any() and not run.alone:
        # There the floor has its pattern as well, of which the surroundings' mean tells nothing.
        around = np.asarray(cv2.blur(floor.mean, (2 * int(run.largest) + 1, 2 * int(run.largest) + 1)), np.float32)
        pattern = pattern_around(floor.mean, around, usable & ~floor.hidden, run.averaged_px)
        _refilter(filters, floor, colours, pattern, run.shade)
    filters = [_one_noise(f, run, floor.mean) for f in filters]
    blind = [_blind(f, kind) for f, kind in zip(filters, kinds, strict=True)]
    bright = _lit_floor(floor.mean, None if run.reference == "blank" else run.window)
    shots = {
        n: _shot_cover(v, floor, bright, filters, colours, usable, shown, run.largest) for n, v in run.matched.items()
    }
    if run.alone:
        shots = {n: _without_pattern(shot, run.smallest, run.largest) for n, shot in shots.items()}
    else:
        foot = wall_foot((shot.cover for shot in shots.values()), kinds, shown, usable)
        shots = {n: replace(s, cover=np.where(foot, np.float32(0), s.cover)) for n, s in shots.items()}
    if run.fine:
        shots = _with_tails(shots, floor.mean, usable & ~run.strewn)
        shots = _one_full(shots, run.dirty_names, kinds, usable)
    if not run.alone:
        for shot in shots.values():  # in place: here all maps of all shots are held at once
            shot.cover[_of_kind(blind, shot.kind)] = 0
    return CoverMaps(
        floor.mean, run.matched, colours, shots, tuple(float(b[usable].mean()) for b in blind), floor.doubt_px
    )


def _blind(discriminant: Discriminant, kind: KindHint) -> NDArray[np.bool_]:
    """Where noise or misfit could pass for half a grain: floor so like debris that it cannot be judged in any shot.

    Noise averages over a grain, where neighbouring pixels share theirs: a grain has as many independent ones as its
    diameter is of ``CORRELATED_PX``, squared.
    """
    averaged = min(1.0, CORRELATED_PX / kind.size_px[0])
    usual = cv2.blur(np.hypot(averaged * discriminant.sigma, discriminant.misfit), (BLIND_PX, BLIND_PX))
    return np.asarray(usual > BLIND * kind.usual_peak)


def _of_kind(maps: Sequence[NDArray[Value]], kind: NDArray[np.uint8]) -> NDArray[Value]:
    """At every pixel what the map of its likeliest kind says."""
    chosen = maps[0]
    for k, own in enumerate(maps[1:], start=1):
        chosen = np.where(kind == k, own, chosen)
    return chosen


def _sure(run: Shots, covered: Mapping[str, NDArray[np.bool_]]) -> dict[str, NDArray[np.bool_]]:
    """Where shots show what is debris for sure: without a blank, what came or went, if anything did."""
    dirty = {n: covered[n] for n in run.dirty_names}
    if run.reference == "blank" or len(dirty) == 1:
        return dirty
    still = np.logical_and.reduce(list(dirty.values()))
    changed = {n: mask & ~still for n, mask in dirty.items()}
    moved = max(int(mask.sum()) for mask in changed.values())
    return changed if moved > CHANGED * int(still.sum()) else dirty


def _some(floor: NDArray[np.float32], usable: NDArray[np.bool_]) -> NDArray[np.float32]:
    """A sample of the floor's colours, shape (M, 3)."""
    return floor[::SAMPLED, ::SAMPLED][usable[::SAMPLED, ::SAMPLED]]


def _lit_floor(floor: NDArray[np.float32], window_px: float | None) -> NDArray[np.float32]:
    """Brightness of the floor that shade must fall below, shape (H, W).

    Beside a dark joint that is the joint's: shots lie on each other to about a pixel. Without a blank (``window_px``
    given) it is no more than that of the floor hereabouts: light debris that was overlooked in one shot is floor that
    looks shaded in the next.
    """
    # Calms single pixels; joints stay.
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
    # A sample is enough for medians over the floor.
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
        old.filter[places], old.sigma[places], old.misfit[places] = new.filter[:, 0], new.sigma[:, 0], new.misfit[:, 0]


def _covered(
    run: Shots, floor: NDArray[np.float32], filters: Sequence[Discriminant], limit: float
) -> dict[str, NDArray[np.bool_]]:
    """Where each shot shows what the noise of none of them explains."""
    covered = {n: np.zeros(floor.shape[:2], bool) for n in run.matched}
    for f in filters:
        # Of a shot that stands alone debris may fill most, and the spread of cover is then no noise.
        least = np.maximum(limit, 3 * (f if run.alone else _one_noise(f, run, floor)).sigma)
        for n, view in run.matched.items():
            covered[n] |= cover_of(f, view, floor) > least
    return covered


def _one_noise(discriminant: Discriminant, run: Shots, floor: NDArray[np.float32]) -> Discriminant:
    """The filter with the noise that all shots have in common.

    Its ``sigma`` takes channels as independent. One camera, one noise: debris widens the spread of cover, so the shot
    with the least of it says what noise alone does.
    """
    some = np.s_[::SPARSE, ::SPARSE]
    sigma, usable = discriminant.sigma[some], run.usable[some]
    told = usable & (sigma > 0)
    sparse = Discriminant(discriminant.filter[some], sigma, discriminant.misfit[some])
    spreads = []
    for name in run.dirty_names:
        sample = cover_of(sparse, run.matched[name][some], floor[some])[told] / sigma[told]
        spreads.append(robust_sd(sample))
    # Off 0 where shots do not differ at all.
    return replace(discriminant, sigma=discriminant.sigma * np.float32(max(min(spreads), 1e-3)))


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
    cover, sigma, kind = covers[0], filters[0].sigma, np.zeros(usable.shape, np.uint8)
    if len(covers) > 1:
        kind = likeliest_kind(view, floor.mean, covers, colours, floor.noise.sigma, grain_px)
        cover, sigma = _of_kind(covers, kind), _of_kind([f.sigma for f in filters], kind)
    apart = from_shaded_floor(view, floor.mean, floor.noise.sigma)
    light = np.where(usable, brightness(view) / np.maximum(bright, FAINTEST) - 1, np.float32(0))
    spread = tuple(_spread(f, c) for f, c in zip(filters, colours, strict=True))
    usual = tuple(_usual_apart(floor, c) for c in colours)
    return ShotCover(
        np.where(shown, cover, 0), np.asarray(sigma, np.float32), kind, apart, light, spread, usual_apart=usual
    )


def _without_pattern(shot: ShotCover, small_px: float, large_px: float) -> ShotCover:
    """A shot against a smooth floor, which does not tell its joints from debris nor its dark places from shade."""
    joints = floor_joints(shot.cover > NOT_BARE, large_px, JOINT * small_px)
    return replace(shot, cover=np.where(joints, np.float32(0), shot.cover), light=np.zeros_like(shot.light))


def _one_full(
    shots: Mapping[str, ShotCover], dirty: Sequence[str], kinds: Sequence[KindHint], usable: NDArray[np.bool_]
) -> dict[str, ShotCover]:
    """Shots with the full cover that all of them have in common."""
    full = tuple(_full_cover([shots[n] for n in dirty], k, kind, usable) for k, kind in enumerate(kinds))
    return {n: replace(s, full=full) for n, s in shots.items()}


def _with_tails(
    shots: Mapping[str, ShotCover], floor: NDArray[np.float32], bare: NDArray[np.bool_]
) -> dict[str, ShotCover]:
    """Shots with the noise that the worst of them shows where nothing was strewn: one limit for all of them."""
    factors = []
    for name, shot in shots.items():
        smooth = cv2.GaussianBlur(shot.cover, (0, 0), SMOOTH_PX)
        # Off 0.
        z = np.asarray(smooth / np.maximum(np.float32(SMOOTHED) * shot.sigma, 1e-6), np.float32)
        factor = tail_factor(z, floor, bare, clean=name in ("blank", "before"))
        if factor is None:
            return dict(shots)
        factors.append(factor)
    worst = np.maximum.reduce(factors)
    return {n: replace(s, tails=worst) for n, s in shots.items()}


def _full_cover(shots: Sequence[ShotCover], k: int, kind: KindHint, usable: NDArray[np.bool_]) -> float:
    """What cover comes to, in the shots' sums over whole grains of a kind, per pixel hidden."""
    if kind.outlined or not kind.size_known:
        return 1.0
    own = [np.where(shot.kind == k, shot.cover, np.float32(0)) for shot in shots]
    spots = [fine_spots(cover, shot.widest_sigma, kind) for cover, shot in zip(own, shots, strict=True)]
    return full_cover(np.concatenate([lone_cover(s, usable) for s in spots]), kind)


def _spread(discriminant: Discriminant, colour: LearnedColour) -> float:
    """Standard deviation of cover that the kind's own colours make, usual over the floor."""
    # A sample is enough for medians over the floor.
    sample = discriminant.filter[::16, ::16].reshape(-1, 3)
    return float(np.sqrt(np.median(np.einsum("ni,ij,nj->n", sample, colour.covariance, sample))))


def _usual_apart(floor: BareFloor, colour: LearnedColour) -> float:
    """How far the kind's own colour is from shaded floor, usual over the floor, in standard deviations."""
    # A sample is enough for medians over the floor.
    some = np.s_[::16, ::16]
    mean = floor.mean[some]
    return float(np.median(from_shaded_floor(colour.over(mean.shape[:2]), mean, floor.noise.sigma[some])))
