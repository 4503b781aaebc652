import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.leftovers.overlap import overlaps

from .discs import GRID, seen, strewn

DIAMETER = 9.0


def test_a_grain_that_lies_still_is_wholly_covered_and_one_on_bare_floor_not_at_all() -> None:
    rng = np.random.default_rng(1)
    before = strewn(rng, 60, 3 * DIAMETER)
    new = strewn(rng, 20, 3 * DIAMETER, before)
    found = overlaps(seen(np.concatenate([before[:30], new]), DIAMETER), seen(before, DIAMETER))
    assert found.here[:30] == pytest.approx(1)
    assert found.here[30:] == pytest.approx(0)
    assert not found.faint.any()


@settings(max_examples=25)
@given(st.floats(0.02, 0.4), st.integers(0, 2**31))
def test_masks_that_know_nothing_of_each_other_overlap_by_the_product_of_their_cover(cover: float, seed: int) -> None:
    """Closed form: independent masks of cover p and q share p q of the area; so a share q of each grain is covered."""
    rng = np.random.default_rng(seed)
    grains = seen(rng.uniform(120, 700, (300, 2)), DIAMETER)
    there = rng.uniform(0, 1, (GRID.height_px // 8, GRID.width_px // 8)) < cover
    other = seen(np.zeros((0, 2)), DIAMETER)
    other.cover[:] = np.kron(there, np.ones((8, 8)))[: GRID.height_px, : GRID.width_px]
    q = float(other.cover[100:720, 100:720].mean())
    found = overlaps(grains, other)
    area = grains.found.area_px
    # 300 grains of 64 px on cells of 64 px: each meets about 4 cells.
    sd = np.sqrt(q * (1 - q) / 300)
    assert np.average(found.here, weights=area) == pytest.approx(q, abs=5 * sd + 0.005)
    assert np.average(found.by_chance.mean(axis=0), weights=area) == pytest.approx(q, abs=5 * sd + 0.005)


def test_chance_is_measured_where_debris_lies_as_densely_as_at_the_grain() -> None:
    rng = np.random.default_rng(3)
    dense, bare = rng.uniform(150, 350, (400, 2)), rng.uniform(600, 750, (40, 2))
    grains = seen(np.concatenate([dense[:40], bare]), DIAMETER)
    found = overlaps(grains, seen(dense, DIAMETER))
    assert found.by_chance[:, :40].mean() > 0.3
    assert found.by_chance[:, 40:].max() == 0


def test_a_grain_seen_by_its_shade_alone_is_compared_by_outline() -> None:
    places = np.array([[200.0, 200.0], [400.0, 300.0]])
    faint, other = seen(places, DIAMETER, cover=0.0), seen(places[:1], DIAMETER, cover=0.0)
    found = overlaps(faint, other)
    assert found.faint.all()
    assert found.here.tolist() == [1, 0]


def test_no_grains_make_no_overlaps() -> None:
    found = overlaps(seen(np.zeros((0, 2)), DIAMETER), seen(np.array([[200.0, 200.0]]), DIAMETER))
    assert len(found.here) == 0
