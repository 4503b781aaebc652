"""Stretches looked at at once find what one after the other finds."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from typing import Any

import numpy as np
import pytest

from debriscount.film import spread as module
from debriscount.film.records import MeasuredFilm

from .conftest import Shot, measured_so


def assert_same(one: MeasuredFilm, other: MeasuredFilm) -> None:
    assert np.array_equal(one.times_s, other.times_s)
    assert np.array_equal(one.left["patch"].percent, other.left["patch"].percent)
    assert np.array_equal(one.track.x_mm, other.track.x_mm, equal_nan=True)
    assert one.moves == other.moves


def test_one_at_a_time_and_many_find_the_same(shot: Shot, measured: MeasuredFilm) -> None:
    assert_same(measured_so(shot, at_once=1), measured)


@pytest.mark.skipif(find_spec("distributed") is None, reason="dask.distributed is not installed")
@pytest.mark.filterwarnings("ignore")
def test_a_cluster_finds_the_same(shot: Shot, measured: MeasuredFilm, monkeypatch: pytest.MonkeyPatch) -> None:
    from distributed import Client, LocalCluster

    @contextmanager
    def within(_scheduler: str) -> Iterator[Any]:
        with (
            LocalCluster(processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None) as cluster,
            Client(cluster) as client,
        ):
            yield client

    monkeypatch.setattr(module, "dask_client", within)
    assert_same(measured_so(shot, scheduler="here"), measured)
