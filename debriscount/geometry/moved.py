"""Which markers lay elsewhere in one shot than in another."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: Corners of markers on the floor as a shot shows them, shape (4, 2), mm, by number.
Places = Mapping[int, Floats]

#: A marker that lay less than this elsewhere is not worth leaving out.
LEAST_MOVED_MM = 0.5
#: How many times its standard uncertainty all corners together may be off before markers are held to have moved; the
#: uncertainty of corners is itself known to a third or so.
SURE = 1.75
#: Upper 0.1 % point of the F distribution with 8 and 16 degrees of freedom (*published*, tables of F): a marker has
#: eight coordinates, a plane takes eight of those of the four that two shots share.
F_LIMIT = 6.2
#: Difference between two sums of squares, over their variance, from which one explanation is held against another: the
#: likelihoods are then exp(8) to 1.
APART = 16.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two shots' markers held against each other.

    ``stayed`` lay to one another alike in both; ``moved`` did not, and by how much, mm. ``undecided_mm`` is the root
    mean square by which corners disagree where it cannot be told which marker has moved; all are then in neither.
    """

    stayed: frozenset[int]
    moved: Mapping[int, float]
    undecided_mm: float | None = None


def compare_shots(a: Places, b: Places, u_mm: Mapping[int, float]) -> Comparison:
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
    A plane seen twice is mapped from one to the other by a homography, wherever the patch file has the markers. A
    marker is left out of it if the rest then agrees so much better that an F test tells it from chance, and no other
    left out in its stead does as well. Three suffice where their shapes tell: a square seen sharply tells how the plane
    is stretched around it.
    """
    ids = sorted(set(a) & set(b))
    if len(ids) < 2:
        return Comparison(frozenset(), {})
    moved: dict[int, float] = {}
    while True:
        all_in = _squares(a, b, ids, u_mm)
        freedom = 8 * len(ids) - 8
        if all_in <= SURE**2 * freedom or len(ids) < 3:
            return Comparison(frozenset(ids), moved)
        each = {number: _squares(a, b, [i for i in ids if i != number], u_mm) for number in ids}
        first, second = sorted(each, key=lambda number: each[number])[:2]
        left = max(each[first] / (freedom - 8), 1.0)
        rest = [i for i in ids if i != first]
        off = _off(_map(a, b, rest), a[first], b[first]).mean(axis=0)
        if (all_in - each[first]) / 8 < F_LIMIT * left:
            return Comparison(frozenset(ids), moved)
        if len(ids) == 3 and each[second] - each[first] < APART * left:
            rms = float(np.sqrt(np.mean([(_off(_map(a, b, ids), a[i], b[i]) ** 2).sum(axis=1) for i in ids])))
            return Comparison(frozenset(), {}, max(rms, float(np.hypot(*off))))
        if float(np.hypot(*off)) < LEAST_MOVED_MM:
            return Comparison(frozenset(ids), moved)
        moved[first] = float(np.hypot(*off))
        ids = rest


def _map(a: Places, b: Places, ids: Sequence[int]) -> Floats:
    plane, _ = cv2.findHomography(np.concatenate([a[i] for i in ids]), np.concatenate([b[i] for i in ids]))
    return np.asarray(plane, float)


def _off(plane: Floats, a: Floats, b: Floats) -> Floats:
    return np.asarray(cv2.perspectiveTransform(a[None], plane)[0] - b, float)


def _squares(a: Places, b: Places, ids: Sequence[int], u_mm: Mapping[int, float]) -> float:
    plane = _map(a, b, ids)
    return float(sum(((_off(plane, a[i], b[i]) / u_mm[i]) ** 2).sum() for i in ids))


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
    places: Sequence[Places], layout_mm: Places, u_mm: Callable[[int, int], Mapping[int, float]]
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


def _alike(number: int, places: Sequence[Places], compared: Mapping[tuple[int, int], Comparison]) -> list[list[int]]:
    """Shots in groups within which a marker stayed where it was."""
    groups: list[list[int]] = []
    for shot in (k for k, those in enumerate(places) if number in those):
        own = [g for g in groups if any(number in compared[other, shot].stayed for other in g)]
        groups = [g for g in groups if g not in own] + [[shot, *(k for g in own for k in g)]]
    return groups


def _off_layout(places: Places, number: int, suspects: set[int], layout_mm: Places) -> float:
    """How far a marker's middle is from its place by the patch file, the rest lying there as well as it can, mm."""
    rest = [i for i in places if i not in suspects]
    off = places[number] - layout_mm[number]
    if len(rest) >= 3:
        off = _off(_map(places, layout_mm, rest), places[number], layout_mm[number])
    return float(np.hypot(*off.mean(axis=0)))
