import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.leftovers.moved import (
    NearestGrains,
    alone,
    moved_grains,
    nearest_grains,
    overlap_of_discs,
    place_sigma_mm,
)


def table(places: np.ndarray, area: np.ndarray | float = 20.0, clump: list[int] | None = None) -> GrainTable:
    n = len(places)
    clumps = np.zeros(0, np.int32) if clump is None else np.array(clump, np.int32)
    return GrainTable(
        np.zeros(n, np.int16),
        places[:, 0],
        places[:, 1],
        np.broadcast_to(area, n).astype(float),
        np.zeros(n, np.int8),
        clumps,
    )


#: Of the discs that `table` makes.
DIAMETER = float(2 * np.sqrt(20.0 / np.pi))


def bare(near: NearestGrains) -> np.ndarray:
    """Overlap of discs whose nearest one is the one they came from, on floor that is bare otherwise."""
    return overlap_of_discs(near.apart_mm / DIAMETER)


def moved(near: NearestGrains, sigma_mm: float, overlap: np.ndarray | None = None) -> np.ndarray:
    return moved_grains(near, sigma_mm, bare(near) if overlap is None else overlap, np.full(len(near.index), DIAMETER))


def lattice(count: int) -> np.ndarray:
    return np.stack(np.meshgrid(np.arange(count) * 20.0, np.arange(count) * 20.0), axis=-1).reshape(-1, 2)


def test_spread_of_places_is_told_from_the_distances_of_grains_that_lie_still() -> None:
    """Distances of two coordinates with one spread are Rayleigh distributed; its median is s sqrt(2 ln 2)."""
    rng = np.random.default_rng(1)
    before = lattice(30)
    after = before + rng.normal(0, 0.07, before.shape)
    near = nearest_grains(table(after), table(before))
    sigma = place_sigma_mm(near, np.ones(len(after), bool), 0.0)
    assert sigma == pytest.approx(0.07, rel=0.06)
    assert not moved(near, 0.07).any()


def test_a_shift_by_less_than_the_grain_is_told_once_it_exceeds_the_spread_of_places() -> None:
    rng = np.random.default_rng(2)
    before = lattice(20)
    after = before + rng.normal(0, 0.05, before.shape)
    after[:40, 0] += 0.6
    near = nearest_grains(table(after), table(before))
    sigma = place_sigma_mm(near, np.ones(len(after), bool), 0.0)
    assert sigma is not None
    assert np.flatnonzero(moved(near, sigma)).tolist() == list(range(40))


def test_alignment_sets_the_least_spread() -> None:
    before = lattice(5)
    near = nearest_grains(table(before), table(before))
    assert place_sigma_mm(near, np.ones(25, bool), 0.2) == 0.2


def test_grains_that_touch_or_differ_in_size_are_not_compared() -> None:
    before = lattice(3)
    clump = [0, 0, *range(1, 8)]
    area = np.full(9, 20.0)
    area[4] = 30.0
    near = nearest_grains(table(before + 2.0, area), table(before, 20.0, clump))
    assert np.flatnonzero(~near.comparable).tolist() == [0, 1, 4]
    assert alone(table(before, 20.0, clump)).sum() == 7


def test_a_missing_side_explains_a_moved_middle() -> None:
    """A tenth of the area less on one side may take the middle by a twentieth of the diameter, 0.25 mm here."""
    before = lattice(2)
    near = nearest_grains(table(before + np.array([0.2, 0.0]), 18.0), table(before, 20.0))
    assert near.unlike_mm == pytest.approx(0.1 * np.sqrt(20 / np.pi))
    assert not moved(near, 0.01).any()


def test_a_middle_apart_is_no_shift_where_the_grain_is_covered_all_the_same() -> None:
    """A neighbour that hides part of a grain moves its middle, but takes no debris away from under it."""
    before = lattice(3)
    near = nearest_grains(table(before + np.array([1.5, 0.0])), table(before))
    covered = np.where(np.arange(9) < 4, 1.0, bare(near))
    assert np.flatnonzero(moved(near, 0.05, covered)).tolist() == [4, 5, 6, 7, 8]


def test_overlap_of_discs_is_that_of_two_circles() -> None:
    """MathWorld, Circle-Circle Intersection: discs half cover one another at 0.404 diameters (0.8079 radii)."""
    assert overlap_of_discs(np.array([0.0, 0.8079455 / 2, 1.0, 3.0])) == pytest.approx([1, 0.5, 0, 0], abs=1e-4)


def test_without_another_grain_nothing_can_be_compared() -> None:
    near = nearest_grains(table(lattice(2)), table(np.zeros((0, 2))))
    assert not near.comparable.any()
    assert place_sigma_mm(near, np.ones(4, bool), 0.1) is None
