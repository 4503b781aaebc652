"""Which of the squares seen in a photo are the patch's: those that lie to one another as the patch file says."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, product

import cv2
import numpy as np

from ..arrays import Floats
from .find_markers import SeenMarker

#: Corners of each marker, shape (4, 2), by number.
Corners = Mapping[int, Floats]

#: Corners off by more than this share of a marker's side, and by more than this many millimetres, mean another layout
#: than the patch file's, not a marker laid a little askew.
WRONG_LAYOUT, WRONG_LAYOUT_MM = 0.15, 7.5
#: The share for three markers or two: a plane can be laid through their places however they lie, and only their shapes
#: contradict it. A marker laid askew by two degrees is off by 0.025.
WRONG_SHAPE = 0.05
#: Least and most side of a square over that of the patch file, beyond which it is another print that happens to bear
#: the same number.
OTHER_SIZE = (0.8, 1.25)
#: Choices among squares of the same numbers that are looked at: two whole sheets of eight.
_MOST_CHOICES = 256


@dataclass(frozen=True, slots=True, eq=False)
class Fitting:
    """Squares of a photo, by number.

    ``used`` lie as the patch file says; ``strays`` were seen as well, but not where they should be. ``turned`` says by
    how many quarters those of the former are turned that were laid otherwise than upright. ``agree`` is False where no
    three lie as they should; ``used`` then holds those that come nearest.
    """

    used: Mapping[int, SeenMarker]
    strays: Mapping[int, SeenMarker] = field(default_factory=dict)
    turned: Mapping[int, int] = field(default_factory=dict)
    agree: bool = True


def fitting_markers(seen: Mapping[int, Sequence[SeenMarker]], layout_mm: Corners) -> Fitting:
    """Choose the squares that lie to one another as they should.

    Parameters
    ----------
    seen : mapping of int to sequence of SeenMarker
        All squares of a photo, several of a number where it was printed more than once.
    layout_mm : mapping of int to ndarray of shape (4, 2)
        Corners by the patch file, mm.

    Returns
    -------
    Fitting
        The most that agree; of as many, those that agree best.
    """
    seen = {number: those for number, those in seen.items() if those and number in layout_mm}
    if not seen:
        return Fitting({})
    best, turned = _best(seen, 0, layout_mm), 0
    if len(seen) >= 3 and not best.agree:
        for quarters in (2, 1, 3):
            all_turned = _best(seen, quarters, layout_mm)
            if all_turned.agree and len(all_turned.ids) >= 3:
                best, turned = all_turned, quarters
                break
    used = {number: best.choice[number] for number in best.ids}
    fitting = Fitting(used, turned=dict.fromkeys(used, turned) if turned else {}, agree=best.agree)
    return _with_rest(fitting, seen, layout_mm)


def side_mm(corners_mm: Floats) -> float:
    """Side of a marker by its corners, mm."""
    return float(np.linalg.norm(corners_mm[1] - corners_mm[0]))


def wrong_mm(corners_mm: Floats) -> float:
    """How far off a marker's corners must be to mean another layout, mm."""
    return max(WRONG_LAYOUT * side_mm(corners_mm), WRONG_LAYOUT_MM)


def off_mm(used: Mapping[int, SeenMarker], layout_mm: Corners, others: Mapping[int, SeenMarker]) -> dict[int, float]:
    """How far the corners of ``others`` are from their places, root mean square, by the plane through ``used``, mm."""
    if not used:
        return {}
    plane = floor_plane(used, layout_mm)
    return {
        number: float(np.sqrt((_off(plane, marker.corners_px, layout_mm[number]) ** 2).sum(axis=1).mean()))
        for number, marker in others.items()
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Agreement:
    choice: Mapping[int, SeenMarker]
    ids: tuple[int, ...]
    excess: float
    agree: bool


def _merit(one: _Agreement) -> tuple[bool, int, float]:
    return one.agree, len(one.ids), -one.excess


def _best(seen: Mapping[int, Sequence[SeenMarker]], quarters: int, layout_mm: Corners) -> _Agreement:
    return max((_agreeing(choice, layout_mm) for choice in _choices(seen, quarters)), key=_merit)


def _choices(seen: Mapping[int, Sequence[SeenMarker]], quarters: int) -> Iterator[dict[int, SeenMarker]]:
    """One square of each number, in all ways."""
    several = [[_turned(marker, quarters) for marker in those] for those in seen.values()]
    for choice in islice(product(*several), _MOST_CHOICES):
        yield dict(zip(seen, choice, strict=True))


def _turned(marker: SeenMarker, quarters: int) -> SeenMarker:
    return replace(marker, corners_px=np.roll(marker.corners_px, quarters, axis=0)) if quarters else marker


def _agreeing(choice: Mapping[int, SeenMarker], layout_mm: Corners) -> _Agreement:
    """Leave out one square after the other until the rest agree."""
    ids = tuple(choice)
    while True:
        excess = _excess(choice, ids, layout_mm)
        if excess <= 1:
            return _Agreement(choice, ids, excess, len(ids) >= 2)
        if len(ids) <= 2:
            return _Agreement(choice, tuple(choice), _excess(choice, tuple(choice), layout_mm), False)
        fewer = [tuple(other for other in ids if other != number) for number in ids]
        ids = min(fewer, key=lambda those: _excess(choice, those, layout_mm))


def _excess(choice: Mapping[int, SeenMarker], ids: Sequence[int], layout_mm: Corners) -> float:
    """Largest root mean square by which a marker's corners are off, over what is allowed."""
    used = {number: choice[number] for number in ids}
    limits = {n: wrong_mm(layout_mm[n]) if len(ids) > 3 else WRONG_SHAPE * side_mm(layout_mm[n]) for n in ids}
    return max((off / limits[n] for n, off in off_mm(used, layout_mm, used).items()), default=0.0)


def _with_rest(fitting: Fitting, seen: Mapping[int, Sequence[SeenMarker]], layout_mm: Corners) -> Fitting:
    """Sort the squares that are left: laid in place but turned, strays, or other prints."""
    used, turned, strays = dict(fitting.used), dict(fitting.turned), {}
    plane = floor_plane(fitting.used, layout_mm)
    for number in sorted(set(seen) - set(used)):
        like = [marker for marker in seen[number] if not fitting.agree or _sized(plane, marker, layout_mm[number])]
        if not like:
            continue
        ways = [(_turned(marker, quarters), quarters) for marker in like for quarters in range(4)]
        offs = [off_mm(fitting.used, layout_mm, {number: marker})[number] for marker, _ in ways]
        best = int(np.argmin(offs))
        if fitting.agree and len(fitting.used) >= 3 and offs[best] <= wrong_mm(layout_mm[number]):
            used[number], turned[number] = ways[best]
        else:
            strays[number] = like[int(np.argmin(offs[::4]))]
    return Fitting(used, strays, turned, fitting.agree)


def _sized(plane: Floats, marker: SeenMarker, corners_mm: Floats) -> bool:
    """Whether a square is as large on the floor as it should be."""
    quad = np.asarray(cv2.perspectiveTransform(marker.corners_px[None], plane)[0], float)
    side = float(np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1).mean())
    return OTHER_SIZE[0] < side / side_mm(corners_mm) < OTHER_SIZE[1]


def floor_plane(used: Mapping[int, SeenMarker], layout_mm: Corners) -> Floats:
    """Homography from the photo's pixels to the floor by the corners of all, each counting alike on the floor."""
    pixels = np.concatenate([marker.corners_px for marker in used.values()])
    floor = np.concatenate([layout_mm[number] for number in used])
    return np.asarray(cv2.findHomography(pixels, floor)[0], float)


def _off(plane: Floats, corners_px: Floats, floor_mm: Floats) -> Floats:
    return np.asarray(cv2.perspectiveTransform(corners_px[None], plane)[0] - floor_mm, float)
