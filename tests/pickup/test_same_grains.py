"""How much larger one shot shows the same grains: made-up tables."""

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.pickup.same_grains import LEAST_U, USUAL, as_before, seen_larger


def grains(count: int, seed: int = 1, larger: float = 1.0, kind: int = 0) -> GrainTable:
    """Grains on a lattice of 20 mm, each of its own area; other shots see the same ones ``larger``."""
    rng = np.random.default_rng(seed)
    place = np.arange(count, dtype=np.float64)
    x, y = 20 * (place % 20), 20 * (place // 20)
    area = rng.uniform(15, 25, count) * larger
    return GrainTable(np.full(count, kind, np.int16), x, y, area, np.zeros(count, np.int8))


def test_many_grains_that_lie_still_tell_it() -> None:
    seen = seen_larger(grains(200), grains(200, larger=1.05))
    assert seen.log_ratio == pytest.approx(np.log(1.05), abs=0.004)
    assert seen.u == pytest.approx(LEAST_U, abs=0.001)


def test_few_grains_leave_what_is_usual() -> None:
    seen = seen_larger(grains(4), grains(4, larger=1.5))
    assert (seen.log_ratio, seen.u) == (0.0, USUAL)
    none = grains(0)
    assert seen_larger(none, none).u == USUAL


def test_grains_that_moved_or_are_of_another_kind_say_nothing() -> None:
    before = grains(100)
    moved = GrainTable(before.kind, before.x_mm + 8, before.y_mm, 1.3 * before.area_mm2, before.zone)
    assert seen_larger(before, moved).log_ratio == 0
    assert seen_larger(before, grains(100, larger=1.3, kind=1)).log_ratio == 0


def test_all_shots_are_brought_to_the_size_of_before() -> None:
    tables = {
        "blank": grains(5),
        "before": grains(200),
        "after": grains(150, larger=1.1),
        "after2": grains(150, larger=0.9),
    }
    same, seen = as_before(tables)
    np.testing.assert_allclose(same["after"].area_mm2.sum() / grains(150).area_mm2.sum(), 1.0, atol=0.006)
    np.testing.assert_allclose(same["after2"].area_mm2.sum() / grains(150).area_mm2.sum(), 1.0, atol=0.006)
    assert same["before"].area_mm2 is not tables["before"].area_mm2
    np.testing.assert_allclose(same["before"].area_mm2, tables["before"].area_mm2)
    assert seen["before"].u == 0 < seen["after"].u < USUAL


def test_a_later_shot_is_told_by_way_of_the_one_before_it_where_that_tells_more() -> None:
    """The second pass left four of the grains of *before*, and all that the first had pushed to other places."""
    before = grains(200)
    pushed = GrainTable(before.kind, before.x_mm + 8, before.y_mm, before.area_mm2, before.zone)
    after = joined(before, pushed)
    after2 = joined(before.take(np.arange(200) < 4), pushed)
    larger = GrainTable(after2.kind, after2.x_mm, after2.y_mm, 1.05 * after2.area_mm2, after2.zone)
    _, seen = as_before({"before": before, "after": after, "after2": larger})
    assert seen["after2"].log_ratio == pytest.approx(np.log(1.05), abs=0.005)
    assert seen["after2"].u < USUAL / 3


def joined(one: GrainTable, other: GrainTable) -> GrainTable:
    names = ("kind", "x_mm", "y_mm", "area_mm2", "zone")
    return GrainTable(*(np.concatenate([getattr(one, n), getattr(other, n)]) for n in names))
