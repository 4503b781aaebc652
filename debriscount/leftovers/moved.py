"""Grains that were moved by less than their own size: told by their middles, as far as shots lie on one another."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..arrays import Floats, Mask
from ..grains.table import GrainTable

#: A pair whose areas differ by more than this is seen in part or merged in one of the shots, and says nothing.
ALIKE = 1.33
#: Standard deviations of a still grain's place from which it has moved: with some thousand grains none by chance
#: (Rayleigh: exp(-5²/2) is 4 in a million).
SURE = 5.0
#: Share of the overlap that a disc loses by moving which has to be lost: halfway between lying still and having moved.
BORNE_OUT = 0.5
#: Median of the Rayleigh distribution in units of its scale: sqrt(2 ln 2).
RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))


@dataclass(frozen=True, slots=True, eq=False)
class NearestGrains:
    """Of every grain of a shot the nearest one of another: its entry and how far its middle is, shapes (N,).

    The two are ``comparable`` if they lie nearer than their own size, each touches no other, and they are about as
    large as each other; ``unlike_mm`` is how far unlike areas may have moved a middle: a part missing on one side takes
    it by half the diameter times its share.
    """

    index: NDArray[np.int_]
    apart_mm: Floats
    comparable: Mask
    unlike_mm: Floats


def nearest_grains(
    grains: GrainTable, others: GrainTable, offset_mm: tuple[float, float] = (0.0, 0.0)
) -> NearestGrains:
    """Find the nearest other grain of every grain put ``offset_mm`` beside its place."""
    if not len(others):
        none = np.zeros(len(grains), bool)
        return NearestGrains(np.full(len(grains), -1), np.full(len(grains), np.inf), none, np.zeros(len(grains)))
    places = np.stack([grains.x_mm + offset_mm[0], grains.y_mm + offset_mm[1]], axis=-1)
    apart, index = cKDTree(np.stack([others.x_mm, others.y_mm], axis=-1)).query(places)
    area = others.area_mm2[index]
    # Off 0.
    ratio = grains.area_mm2 / np.maximum(area, 1e-12)
    alike = (ratio < ALIKE) & (ratio > 1 / ALIKE)
    near = apart < others.diameter_mm[index]
    comparable = near & alike & alone(grains) & alone(others)[index]
    unlike = np.abs(1 - ratio) * np.sqrt(area / np.pi)
    return NearestGrains(np.asarray(index), np.asarray(apart, float), comparable, unlike)


def place_sigma_mm(near: NearestGrains, still: Mask, apart_mm: float) -> float | None:
    """Standard deviation of a coordinate between two shots for grains that lie still; None if none can be compared.

    From the median, which the few that were moved hardly change, but no less than what the alignment leaves
    (``apart_mm``): that is not the same everywhere.
    """
    apart = near.apart_mm[still & near.comparable]
    return max(float(np.median(apart)) / RAYLEIGH_MEDIAN, apart_mm) if len(apart) else None


def moved_grains(near: NearestGrains, sigma_mm: float, overlap: Floats, diameter_mm: Floats) -> Mask:
    """Which grains lie beside the nearest other one, but surely not in its place.

    Parameters
    ----------
    near : NearestGrains
        Of N grains.
    sigma_mm : float
        Standard deviation of a coordinate of grains that lie still.
    overlap : ndarray of float64, shape (N,)
        Share of each grain that the other shot covers, 1 for one that lies still.
    diameter_mm : ndarray of float64, shape (N,)
        Of discs as large as the grains.

    Returns
    -------
    ndarray of bool, shape (N,)
        True where the middles lie apart, and debris covers the grain so much less that it bears them out: by half of
        what a disc loses that moves so far. Middles alone also move where a neighbour hides part of a grain.
    """
    lost = 1 - overlap_of_discs(near.apart_mm / np.maximum(diameter_mm, 1e-9))
    return near.comparable & (near.apart_mm > SURE * sigma_mm + near.unlike_mm) & (1 - overlap > BORNE_OUT * lost)


def overlap_of_discs(apart: Floats) -> Floats:
    """Share of a disc that an equal one covers whose middle lies ``apart`` diameters away (lens of two circles)."""
    t = np.clip(apart, 0, 1)
    return np.asarray(2 / np.pi * (np.arccos(t) - t * np.sqrt(1 - t**2)))


def alone(grains: GrainTable) -> Mask:
    """Which grains touch no other."""
    if not len(grains.clump):
        return np.ones(len(grains), bool)
    return np.asarray(np.bincount(grains.clump)[grains.clump] == 1)
