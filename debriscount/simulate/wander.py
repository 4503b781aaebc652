"""Straight chords in random directions: the floor that a machine passes over when it turns wherever it ends up."""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..errors import SceneError
from ..inputs.patch import Patch
from .spec import Cleaning

#: More chords than this take seconds; a machine that needs them is hundreds of times narrower than the patch.
_MOST_CHORDS = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Wander:
    """A way of straight chords: ``turns_mm`` of shape (M, 2) holds where they begin and end, one after the other.

    The machine is a disc ``width_mm`` across; what it covers on its way is passed over.
    """

    turns_mm: Floats
    width_mm: float

    def over(self, places_mm: Floats) -> Mask:
        """Which places of shape (N, 2) are passed over, shape (N,)."""
        passed = np.zeros(len(places_mm), bool)
        for start, end in zip(self.turns_mm[:-1], self.turns_mm[1:], strict=True):
            rest = np.nonzero(~passed)[0]
            length = float(np.hypot(*(end - start)))
            passed[rest] = _way_until_met(places_mm[rest], start, (end - start) / length, self.width_mm / 2) <= length
        return passed


def wander(patch: Patch, cleaning: Cleaning, points_mm: Floats, rng: np.random.Generator) -> Wander:
    """Drive to and fro at random until the wanted share is passed over.

    Parameters
    ----------
    patch : Patch
        The machine turns where its middle meets the border of patch and margin.
    cleaning : Cleaning
        Checked by `check_spec`.
    points_mm : ndarray of shape (N, 2)
        Points evenly over the patch, by which the share is told.
    rng : Generator
        Source of chance.

    Returns
    -------
    Wander
        Its last chord ends as soon as the share is reached; a machine so large that it covers more where it is set down
        stays there.

    Raises
    ------
    SceneError
        The machine is too narrow to get there.

    Notes
    -----
    Turns follow the cosine law, under which the chords of a convex room pass all its places alike often and in all
    directions [1]_; the share left then falls nearly exponentially with the way.

    References
    ----------
    .. [1] S. N. Evans, Stochastic billiards on general tables, Annals of Applied Probability 11 (2001) 419-437
       (from memory).
    """
    box = np.array(patch.outer_box_mm()).reshape(2, 2)
    reach = cleaning.width_mm / 2
    place, side = _start(box, rng)
    turns, rest = [place], points_mm
    may_stay = int((1 - cleaning.reach_share) * len(points_mm))
    for _ in range(_MOST_CHORDS):
        way = _turn(side, rng)
        length, side = _to_border(box, place, way)
        met = _way_until_met(rest, place, way, reach)
        new = np.sort(met[met <= length])
        wanted = len(rest) - may_stay
        if len(new) >= wanted:
            # A hair more, so that the last point lies inside whichever way the sums are rounded.
            length = min(length, float(new[wanted - 1]) + 1e-6)
            return Wander(np.array([*turns, place + length * way]), cleaning.width_mm)
        rest = rest[met > length]
        place = np.clip(place + length * way, *box)
        turns.append(place)
    raise SceneError(
        f"passes: a machine with width_mm {cleaning.width_mm:g} has not passed over "
        f"{100 * cleaning.reach_share:g} % of the patch after {_MOST_CHORDS} turns. Widen it, or give less reach_share."
    )


def _way_until_met(places_mm: Floats, start: Floats, way: Floats, reach_mm: float) -> Floats:
    """How far a disc drives from ``start`` along the unit vector ``way`` until it meets each place; inf if never."""
    apart = places_mm - start
    along = apart @ way
    off = apart @ np.array([-way[1], way[0]])
    chord = np.sqrt(np.maximum(reach_mm**2 - off**2, 0))
    met = np.maximum(along - chord, 0)
    return np.asarray(np.where((np.abs(off) < reach_mm) & (along + chord > 0), met, np.inf))


def _start(box: Floats, rng: np.random.Generator) -> tuple[Floats, int]:
    """A random place on the border and its side: 0 left, 1 top, 2 right, 3 bottom."""
    width, height = box[1] - box[0]
    side = int(rng.choice(4, p=np.array([height, width, height, width]) / (2 * (width + height))))
    place = box[0] + rng.random(2) * (width, height)
    place[side % 2] = box[side // 2, side % 2]
    return place, side


def _turn(side: int, rng: np.random.Generator) -> Floats:
    """A unit vector into the box, by the cosine law about the side's normal."""
    slip = rng.uniform(-1, 1)
    inward = (1 if side < 2 else -1) * np.sqrt(1 - slip**2)
    return np.array([inward, slip] if side % 2 == 0 else [slip, inward])


def _to_border(box: Floats, place: Floats, way: Floats) -> tuple[float, int]:
    """Length of the chord from a place on the border, and the side where it ends."""
    ahead = np.where(way > 0, box[1] - place, box[0] - place)
    with np.errstate(divide="ignore", invalid="ignore"):
        lengths = np.where(way == 0, np.inf, ahead / way)
    axis = int(np.argmin(lengths))
    return float(lengths[axis]), axis + (2 if way[axis] > 0 else 0)
