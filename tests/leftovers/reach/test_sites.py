from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import MARGIN, OPEN, OUTSIDE
from debriscount.leftovers.reach.sites import gather_sites

from .strewn import CORNER, OPEN_FLOOR, fates_of, left, sites_of, strewn


def test_a_large_grain_is_a_place_of_its_own() -> None:
    x, y = strewn(100, OPEN_FLOOR, 1)
    stayed = left(x > 200, 0.1, 2)
    sites = sites_of(x, y, stayed)
    assert len(sites) == 100
    assert sites.single.all()
    assert (sites.of_grain == np.arange(100)).all()
    assert (sites.x_mm == x).all()
    assert (sites.y_mm == y).all()
    assert (sites.stayed == stayed).all()
    assert (sites.area_mm2 == 5).all()


def test_fine_grains_are_gathered_in_cells_of_about_ten() -> None:
    x, y = strewn(5000, OPEN_FLOOR, 3)
    noisy = left(x > 200, 0.1, 4) + np.random.default_rng(5).normal(0, 0.5, 5000)
    fates = fates_of(x, y, noisy, matched=False)
    area = np.random.default_rng(6).uniform(0.5, 2, 5000)
    fates = replace(fates, earlier=replace(fates.earlier, area_mm2=area))
    sites = gather_sites(fates, OPEN_FLOOR)
    assert not sites.single.any()
    counts = np.bincount(sites.of_grain, minlength=len(sites))
    assert counts.min() >= 1
    assert np.median(counts) == pytest.approx(10, abs=1)
    # Outside check: numpy's weighted mean of each cell's grains.
    for place in (0, 17, len(sites) - 1):
        own = sites.of_grain == place
        assert sites.area_mm2[place] == pytest.approx(area[own].sum())
        for found, values in ((sites.x_mm, x), (sites.y_mm, y), (sites.stayed, noisy)):
            assert found[place] == pytest.approx(np.average(values[own], weights=area[own]))
        assert np.hypot(np.ptp(x[own]), np.ptp(y[own])) < np.sqrt(2 * 10 * 600 * 400 / 5000) * 1.01


def test_the_noise_of_a_cell_is_the_variance_of_its_mean() -> None:
    # Outside check: the scatter of each cell's mean over fifty series of the same grains.
    x, y = strewn(3000, OPEN_FLOOR, 7)
    rng = np.random.default_rng(8)
    series = [sites_of(x, y, 0.5 + rng.normal(0, 0.6, 3000), matched=False) for _ in range(50)]
    scatter = np.array([sites.stayed for sites in series]).var(axis=0, ddof=1)
    noise = np.mean([sites.noise for sites in series], axis=0)
    assert scatter.mean() == pytest.approx(noise.mean(), rel=0.05)
    counts = np.bincount(series[0].of_grain)
    # Closed form: the variance of a mean of n grains.
    assert noise == pytest.approx(0.36 / counts, rel=0.05)


def test_cells_do_not_mix_zones() -> None:
    x, y = strewn(4000, CORNER, 9)
    fates = fates_of(x, y, np.random.default_rng(1).normal(0.3, 0.5, 4000), CORNER, matched=False)
    sites = gather_sites(fates, CORNER)
    # Open floor near a wall is a group of its own.
    assert sites.groups == 4
    for zone in range(3):
        own = fates.earlier.zone == zone
        assert len(np.unique(sites.group[sites.of_grain[own]])) == (2 if zone == OPEN else 1)
    labels = np.column_stack([sites.of_grain, fates.earlier.zone])
    assert len(np.unique(labels, axis=0)) == len(sites)


def test_estimates_that_are_shares_all_the_same_are_taken_grain_by_grain() -> None:
    x, y = strewn(60, OPEN_FLOOR, 2)
    assert len(sites_of(x, y, np.linspace(0, 1, 60), matched=False)) == 60
    assert len(sites_of(x, y, np.linspace(-0.1, 1, 60), matched=False)) < 20


def test_every_kind_and_zone_is_a_group() -> None:
    x, y = strewn(900, CORNER, 3)
    kind = (np.arange(900) % 2).astype(np.int16)
    table = GrainTable(kind, x, y, np.full(900, 5.0), CORNER.zone_codes(x, y))
    fates = fates_of(x, y, np.ones(900), CORNER)
    fates = replace(fates, earlier=table, later=table, matched=(True, True))
    sites = gather_sites(fates, CORNER)
    # Two kinds in edge, corner and open floor, of which what lies near a wall is apart.
    assert sites.groups == 8
    pairs = np.column_stack([kind, table.zone, sites.group[sites.of_grain]])
    assert len(np.unique(pairs, axis=0)) == 8


def test_grains_outside_the_patch_are_no_places() -> None:
    x, y = np.array([100.0, -20.0, 300.0, -900.0]), np.array([100.0, 200.0, 200.0, 50.0])
    fates = fates_of(x, y, np.ones(4))
    assert set(fates.earlier.zone[[1, 3]]) == {MARGIN, OUTSIDE}
    sites = gather_sites(fates, OPEN_FLOOR)
    assert sites.of_grain.tolist() == [0, -1, 1, -1]
    assert sites.x_mm.tolist() == [100, 300]


def test_no_grains_are_no_places() -> None:
    sites = sites_of(np.zeros(0), np.zeros(0), np.zeros(0))
    assert len(sites) == 0
    assert sites.groups == 0


@given(columns=st.integers(5, 60), rows=st.integers(5, 60), pitch=st.floats(2, 6))
@settings(max_examples=25)
def test_the_spacing_of_a_regular_raster_is_its_pitch(columns: int, rows: int, pitch: float) -> None:
    x, y = (v.ravel().astype(float) * pitch + 1 for v in np.meshgrid(np.arange(columns), np.arange(rows)))
    # Closed form: places frame an area smaller by half a pitch on each side.
    expected = pitch * np.sqrt((1 - 1 / columns) * (1 - 1 / rows))
    assert sites_of(x, y, np.ones(len(x))).spacing_mm == pytest.approx(expected)
