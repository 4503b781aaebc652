"""Which markers lay elsewhere in one shot than in another."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from ..arrays import Floats

#: Corners of markers on the floor as a shot shows them, shape (4, 2), mm, by number.
MarkerPlaces = Mapping[int, Floats]

#: A marker that lay less than this elsewhere is not worth leaving out.
LEAST_MOVED_MM = 0.5
#: By how much the sum of squares must fall, over the variance of what is left, for a marker to be held to have moved,
#: and to be held so rather than another: by chance alone, three unknowns lower it by 30 in one of a million.
SURE, APART = 30.0, 16.0
#: Variance of what is left, over what is expected, beyond which another one has moved as well.
AGREE = 4.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two shots' markers held against each other.

    ``stayed`` lay to one another alike in both; ``moved`` did not, and by how much, mm. ``undecided_mm`` is how
    far one would have been pushed where it cannot be told which; the rest is then in neither.
    """

    stayed: frozenset[int]
    moved: Mapping[int, float]
    undecided_mm: float | None = None


def compare_shots(a: MarkerPlaces, b: MarkerPlaces, u_mm: Mapping[int, float]) -> Comparison:
    """Find the markers that lay otherwise to the rest in one of two shots.

    Parameters
    ----------
    a, b : mapping of int to ndarray of shape (4, 2)
        Corners by the view of either shot, lens undone, mm; views may be wrong by any plane.
    u_mm : mapping of int to float
        Standard uncertainty of a coordinate's difference between the shots, mm.

    Returns
    -------
    Comparison

    Notes
    -----
    A plane seen twice is mapped from one to the other by a homography, wherever the patch file has the markers. Each
    marker in turn is allowed to have been pushed and turned, and is taken to have been if that explains so much more
    of what is left than chance would, and the same of no other explains as much. Three suffice where their shapes tell:
    a square that is seen sharply tells how the plane is stretched around it.
    """
    ids = sorted(set(a) & set(b))
    moved: dict[int, float] = {}
    while len(ids) >= 3:
        left = _left(a, b, ids, u_mm)[1]
        pushed = {number: _push(a, b, ids, number, u_mm) for number in ids}
        first, second = sorted(ids, key=lambda number: pushed[number].left)[:2]
        # Of four corners' two coordinates, less a plane's eight unknowns and a push's three.
        variance = max(pushed[first].left / (8 * len(ids) - 11), 1.0)
        if left - pushed[first].left < SURE * variance or pushed[first].by_mm < LEAST_MOVED_MM:
            break
        if variance < AGREE and pushed[second].left - pushed[first].left < APART * variance:
            return Comparison(frozenset(), moved, max(pushed[number].by_mm for number in (first, second)))
        moved[first] = pushed[first].by_mm
        ids.remove(first)
    return Comparison(frozenset(ids), moved)


@dataclass(frozen=True, slots=True)
class _Push:
    """How far a marker would have been pushed, mm, and the sum of squares that this leaves."""

    by_mm: float
    left: float


def _push(a: MarkerPlaces, b: MarkerPlaces, ids: Sequence[int], number: int, u_mm: Mapping[int, float]) -> _Push:
    """Let one marker be pushed and turned as well as that explains where it is seen.

    First it is laid on where the rest has it, which may be far away; then all are fitted together.
    """
    rest = [other for other in ids if other != number]
    there = _mapped(_map(a, b, rest), a[number])
    back = _laid_on(b[number], there)
    around = back - back.mean(axis=0)
    moves = np.zeros((8 * len(ids), 3))
    own = 8 * ids.index(number)
    moves[own : own + 8 : 2, 0] = moves[own + 1 : own + 8 : 2, 1] = 1
    moves[own : own + 8, 2] = np.stack([-around[:, 1], around[:, 0]], axis=-1).ravel()
    amount, left = _left(a, {**b, number: back}, ids, u_mm, moves)
    return _Push(float(np.hypot(*(b[number].mean(axis=0) - back.mean(axis=0) + amount[:2]))), left)


def _left(
    a: MarkerPlaces, b: MarkerPlaces, ids: Sequence[int], u_mm: Mapping[int, float], moves: Floats | None = None
) -> tuple[Floats, float]:
    """How much of each of ``moves`` there is besides a homography between two shots, and the sum of squares left.

    Linearised at the homography, which is close enough since what is left is small beside the patch.
    """
    weight = np.repeat([1 / u_mm[i] for i in ids], 8)
    plane = _map(a, b, ids)
    off = np.concatenate([(b[i] - _mapped(plane, a[i])).ravel() for i in ids]) * weight
    free = _slopes(plane, np.concatenate([a[i] for i in ids]))
    if moves is not None:
        free = np.hstack([moves, free])
    free = free * weight[:, None]
    amount = np.linalg.lstsq(free, off, rcond=None)[0]
    return amount, float(((off - free @ amount) ** 2).sum())


def _laid_on(quad: Floats, there: Floats) -> Floats:
    """A quadrilateral turned and pushed as near as possible to another, both of shape (4, 2)."""
    own, aim = ((q - q.mean(axis=0)) @ np.array([1, 1j]) for q in (quad, there))
    turn = np.vdot(own, aim)
    # Off 0.
    turned = own * turn / max(abs(turn), 1e-12)
    return np.asarray(np.stack([turned.real, turned.imag], axis=-1) + there.mean(axis=0))


def _slopes(plane: Floats, places: Floats) -> Floats:
    """Derivatives of a homography's image by eight of its elements, shape (2 N, 8), places being scaled to about 1."""
    middle, scale = places.mean(axis=0), float(np.abs(places - places.mean(axis=0)).max())
    (x, y), one = ((places - middle) / scale).T, np.ones(len(places))
    behind = np.column_stack([places, one]) @ plane.T
    (u, v), w = (behind[:, :2] / behind[:, 2:]).T, behind[:, 2]
    zero = np.zeros(len(places))
    rows = np.stack(
        [
            np.stack([x, y, one, zero, zero, zero, -(u - u.mean()) * x, -(u - u.mean()) * y], axis=-1),
            np.stack([zero, zero, zero, x, y, one, -(v - v.mean()) * x, -(v - v.mean()) * y], axis=-1),
        ],
        axis=1,
    )
    return np.asarray((rows / w[:, None, None]).reshape(-1, 8))


def _map(a: MarkerPlaces, b: MarkerPlaces, ids: Sequence[int]) -> Floats:
    plane, _ = cv2.findHomography(np.concatenate([a[i] for i in ids]), np.concatenate([b[i] for i in ids]))
    return np.asarray(plane, float)


def _mapped(plane: Floats, places: Floats) -> Floats:
    return np.asarray(cv2.perspectiveTransform(places[None], plane)[0], float)


@dataclass(frozen=True, slots=True)
class Moves:
    """What comparing all shots tells.

    ``moved`` holds for each shot the markers that lay elsewhere in it than in the shots where they lay in place, and
    how far, mm; ``undecided`` pairs of shots (their numbers) whose markers disagree by so many mm, it cannot be told
    which.
    """

    moved: tuple[Mapping[int, float], ...]
    undecided: tuple[tuple[int, int, float], ...]


def moved_markers(
    places: Sequence[MarkerPlaces], layout_mm: MarkerPlaces, u_mm: Callable[[int, int], Mapping[int, float]]
) -> Moves:
    """Compare every two shots and say which markers lay out of place in which.

    Parameters
    ----------
    places : sequence of mapping
        Of every shot, as `compare_shots` takes them.
    layout_mm : mapping of int to ndarray of shape (4, 2)
        Corners by the patch file: of two places of a marker the one nearer to its own is right.
    u_mm : callable
        Standard uncertainties for two shots by their numbers, as `compare_shots` takes them.
    """
    compared = {
        pair: compare_shots(places[pair[0]], places[pair[1]], u_mm(*pair))
        for pair in combinations(range(len(places)), 2)
    }
    suspects = {number for one in compared.values() for number in one.moved}
    moved: tuple[dict[int, float], ...] = tuple({} for _ in places)
    for number in sorted(suspects):
        groups = _alike(number, places, compared)
        off = [np.mean([_off_layout(places[shot], number, suspects, layout_mm) for shot in group]) for group in groups]
        right = groups[int(np.argmin(off))]
        for shot in (shot for group in groups if group is not right for shot in group):
            apart = [compared[min(shot, s), max(shot, s)].moved.get(number) for s in right]
            moved[shot][number] = max((far for far in apart if far is not None), default=0.0)
    undecided = tuple((*pair, one.undecided_mm) for pair, one in compared.items() if one.undecided_mm is not None)
    return Moves(moved, undecided)


def _alike(
    number: int, places: Sequence[MarkerPlaces], compared: Mapping[tuple[int, int], Comparison]
) -> list[list[int]]:
    """Shots in groups within which a marker stayed where it was."""
    groups: list[list[int]] = []
    for shot in (k for k, those in enumerate(places) if number in those):
        own = [g for g in groups if any(number in compared[other, shot].stayed for other in g)]
        groups = [g for g in groups if g not in own] + [[shot, *(k for g in own for k in g)]]
    return groups


def _off_layout(places: MarkerPlaces, number: int, suspects: set[int], layout_mm: MarkerPlaces) -> float:
    """How far a marker's middle is from its place by the patch file, the rest lying there as well as it can, mm."""
    rest = [i for i in places if i not in suspects]
    off = places[number] - layout_mm[number]
    if len(rest) >= 3:
        off = _mapped(_map(places, layout_mm, rest), places[number]) - layout_mm[number]
    return float(np.hypot(*off.mean(axis=0)))
