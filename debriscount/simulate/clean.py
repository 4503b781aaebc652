"""What a machine does to grains: picks up, pushes about, flings away, or never meets."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..inputs.patch import CORNER, EDGE, MARGIN, Patch
from .grains import Grains
from .scatter import part_grains
from .spec import Cleaning

#: Fates of a grain in a pass; ``GONE`` was picked up in an earlier one.
FATES = ("untouched", "displaced", "removed", "gone")
UNTOUCHED, DISPLACED, REMOVED, GONE = range(4)


@dataclass(frozen=True, slots=True, eq=False)
class Cleaned:
    """Grains after a pass.

    ``places_mm`` of shape (N, 2) holds centres (of grains gone, where they last lay), ``fate`` of
    shape (N,) indices into ``FATES``.
    """

    places_mm: Floats
    fate: NDArray[np.int8]


def clean(
    patch: Patch,
    grains: Grains,
    places_mm: Floats,
    lying: Mask,
    cleaning: Cleaning,
    *,
    reached: Mask,
    rng: np.random.Generator,
) -> Cleaned:
    """Let the machine run once.

    Parameters
    ----------
    patch : Patch
        Its zones have pickup of their own.
    grains : Grains
        Of any kind; every kind meets the same chance.
    places_mm : ndarray of shape (N, 2)
        Where they lie, mm.
    lying : ndarray of bool, shape (N,)
        False for those picked up before.
    cleaning : Cleaning
        Its chances.
    reached : ndarray of bool, shape (N,)
        Which places the machine passes over.
    rng : Generator
        Source of chance; as many numbers are drawn whatever happens, so that pickup changes nothing else.

    Returns
    -------
    Cleaned
    """
    count = len(grains)
    chance, fling, push = rng.random((3, count))
    step = rng.exponential(max(cleaning.displaced_mm, 1e-9), count)
    side = rng.standard_normal((2, count))
    zone = patch.zone_codes(places_mm[:, 0], places_mm[:, 1])
    pickup = np.full(count, cleaning.pickup)
    pickup[zone == EDGE] = cleaning.edge_pickup
    pickup[zone == CORNER] = cleaning.corner_pickup
    met = lying & reached
    flung = met & (fling < cleaning.flung_share) & ("margin" in patch.zone_names())
    removed = met & ~flung & (chance < pickup)
    pushed = met & ~flung & ~removed & (push < cleaning.displaced_share)

    heading = np.deg2rad(cleaning.heading_deg)
    along, across = (
        np.array([np.cos(heading), np.sin(heading)]),
        np.array([-np.sin(heading), np.cos(heading)]),
    )
    moved = places_mm.copy()
    moved[pushed] += (step * np.sign(side[0]))[pushed, None] * along + (0.3 * step * side[1])[pushed, None] * across
    moved[flung] = _margin_places(patch, count, cleaning.flung_side, rng)[flung]
    left, top, right, bottom = patch.outer_box_mm()
    reach = grains.b_mm[:, None]
    inside = np.clip(moved, np.array([left, top]) + reach, np.array([right, bottom]) - reach)
    moved[pushed] = inside[pushed]
    against = ~patch.is_floor(*moved.T)  # what is pushed against a thing stays before it
    moved[against] = places_mm[against]
    stay = lying & ~removed
    new = moved.copy()
    movable = (pushed | flung)[stay]
    new[stay] = part_grains(grains.take(stay), moved[stay], movable, patch.outer_box_mm())
    fate = np.full(count, UNTOUCHED, np.int8)
    fate[pushed | flung] = DISPLACED
    fate[removed] = REMOVED
    fate[~lying] = GONE
    return Cleaned(new, fate)


def _margin_places(patch: Patch, count: int, side: str | None, rng: np.random.Generator) -> Floats:
    """Random places in the margin, along ``side`` of the patch alone if given; without a margin, anywhere."""
    left, top, right, bottom = patch.outer_box_mm()
    tries = rng.random((40, count, 2))
    if side is not None:
        width, height = patch.width_mm, patch.height_mm
        low_x, high_x = {"left": (left, 0.0), "right": (width, right)}.get(side, (0.0, width))
        low_y, high_y = {"top": (top, 0.0), "bottom": (height, bottom)}.get(side, (0.0, height))
        return np.asarray(tries[0] * (high_x - low_x, high_y - low_y) + (low_x, low_y))
    tries = tries * (right - left, bottom - top) + (left, top)
    margin = patch.zone_codes(tries[..., 0], tries[..., 1]) == MARGIN
    first = np.argmax(margin, axis=0)
    return np.asarray(tries[first, np.arange(count)])
