"""Where debris lies before the machine runs."""

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import Floats, Mask
from ..inputs.patch import Patch
from .grains import Grains
from .spec import Strewing

#: Rounds of moving apart; dense heaps keep some overlap after them.
_ROUNDS = 25


def scatter_grains(patch: Patch, grains: Grains, scatter: Strewing, rng: np.random.Generator) -> Floats:
    """Give each grain its first place.

    Parameters
    ----------
    patch : Patch
        All centres come to lie inside it.
    grains : Grains
        Their sizes keep them apart.
    scatter : Strewing
        Heaps and shares.
    rng : Generator
        Source of chance.

    Returns
    -------
    ndarray of shape (N, 2)
        Centres, mm.
    """
    count = len(grains)
    places = rng.random((count, 2)) * (patch.width_mm, patch.height_mm)
    choice = rng.random(count)
    size = np.array([patch.width_mm, patch.height_mm])
    # A heap on the patch's very border would be cut straight there.
    rim = np.minimum(1.5 * scatter.clump_mm, size / 3)
    heaps = rim + rng.random((max(scatter.clumps, 1), 2)) * (size - 2 * rim)
    heap = rng.integers(len(heaps), size=count)
    if scatter.clumps:
        piled = choice < scatter.clumped_share
        places[piled] = heaps[heap[piled]] + scatter.clump_mm * rng.standard_normal((int(piled.sum()), 2))
    if patch.walls:
        low = choice >= 1 - scatter.wall_share
        places[low] = _along_walls(patch, places[low], scatter.wall_mm, rng)
    places = _beside_things(patch, _keep_inside(patch, places, grains.b_mm), rng)
    if scatter.single_layer:
        places = part_grains(grains, places, np.ones(count, bool), (0.0, 0.0, patch.width_mm, patch.height_mm))
    return places


def _along_walls(patch: Patch, places: Floats, depth_mm: float, rng: np.random.Generator) -> Floats:
    lengths = np.array([patch.width_mm if w in ("top", "bottom") else patch.height_mm for w in patch.walls])
    wall = rng.choice(len(patch.walls), size=len(places), p=lengths / lengths.sum())
    depth = rng.exponential(depth_mm, len(places))
    moved = places.copy()
    for number, name in enumerate(patch.walls):
        own = wall == number
        axis = 1 if name in ("top", "bottom") else 0
        size = patch.height_mm if axis else patch.width_mm
        moved[own, axis] = depth[own] if name in ("top", "left") else size - depth[own]
    return moved


def _beside_things(patch: Patch, places: Floats, rng: np.random.Generator) -> Floats:
    """Grains that would lie under a thing thrown anew until they lie on the floor; its polygons leave some."""
    while not (floor := patch.is_floor(*places.T)).all():
        places[~floor] = rng.random((int((~floor).sum()), 2)) * (patch.width_mm, patch.height_mm)
    return places


def _keep_inside(patch: Patch, places: Floats, reach_mm: Floats) -> Floats:
    """Reflect places at the patch's borders, a grain's half width inside them."""
    size = np.array([patch.width_mm, patch.height_mm])
    reach = np.minimum(reach_mm[:, None], size / 4)
    span = size - 2 * reach
    folded = np.mod(places - reach, 2 * span)
    return np.asarray(reach + np.where(folded > span, 2 * span - folded, folded))


def part_grains(grains: Grains, places: Floats, movable: Mask, box_mm: tuple[float, float, float, float]) -> Floats:
    """Move grains off one another.

    Parameters
    ----------
    grains : Grains
        Two grains keep the sum of their mean radii between their centres.
    places : ndarray of shape (N, 2)
        Centres, mm.
    movable : ndarray of bool, shape (N,)
        The others stay.
    box_mm : tuple of float
        Left, top, right and bottom of where moved grains have to stay, by half their width.

    Returns
    -------
    ndarray of shape (N, 2)
    """
    places = places.copy()
    radius = np.sqrt(grains.area_mm2 / np.pi)
    low = np.array(box_mm[:2]) + grains.b_mm[movable, None]
    high = np.array(box_mm[2:]) - grains.b_mm[movable, None]
    weight = movable.astype(float)
    for _ in range(_ROUNDS if movable.any() else 0):
        pairs = cKDTree(places).query_pairs(2 * float(radius.max()), output_type="ndarray")
        first, second = pairs.T
        apart = places[second] - places[first]
        distance = np.hypot(*apart.T)
        need = radius[first] + radius[second] - distance
        mobile = weight[first] + weight[second]
        close = (need > 1e-3 * radius[first]) & (mobile > 0)
        if not close.any():
            break
        first, second = first[close], second[close]
        step = (0.6 * need[close] / np.maximum(distance[close], 1e-9))[:, None] * apart[close]
        share = (weight[first] / mobile[close])[:, None]
        np.add.at(places, first, -step * share)
        np.add.at(places, second, step * (1 - share))
        places[movable] = np.clip(places[movable], low, high)
    return places
