"""Runs measured by several processes at once: on a Dask cluster, a lasting or a passing one, or by plain ones."""

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

from ..at_once import usable_cores
from ..cluster import dask_client, has_dask
from ..memory import keep_freed
from .remeasure import Job, RemeasuredRun, Spread

_Work = Callable[[Job], RemeasuredRun]

_KILLED = (
    "the process that measured it was killed, most likely for want of memory: a run takes about 1 GiB. Try fewer with"
    " --at-once."
)


@contextmanager
def ways_to_spread(at_once: int | None = None, scheduler: str | None = None) -> Iterator[Spread]:
    """Yield what has runs measured by several processes.

    Parameters
    ----------
    at_once : int, optional
        How many; as many as there are cores if not given.
    scheduler : str, optional
        Address of a Dask scheduler whose workers reach the campaign's folder under the same path.

    Raises
    ------
    MissingLibraryError, ClusterError
        As `dask_client`.
    """
    count = at_once or usable_cores()
    if scheduler is None and (count == 1 or not has_dask()):
        yield lambda work, jobs: _by_processes(work, jobs, count)
        return
    if scheduler is not None:
        with dask_client(scheduler) as client:
            yield lambda work, jobs: _by_dask(client, work, jobs)
        return
    from distributed import Client, LocalCluster

    # Without limits of memory: photos of one run may pass what a share of it would allow.
    with (
        LocalCluster(
            n_workers=count, threads_per_worker=1, dashboard_address=None, memory_limit=0, silence_logs=50
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield lambda work, jobs: _by_dask(client, work, jobs)


def in_turn(work: _Work, jobs: Sequence[Job]) -> Iterator[RemeasuredRun]:
    """Have jobs done one after the other in this process."""
    return map(work, jobs)


def _by_processes(work: _Work, jobs: Sequence[Job], count: int) -> Iterator[RemeasuredRun]:
    if len(jobs) < 2 or count == 1:
        yield from in_turn(work, jobs)
        return
    lost: list[Job] = []
    with _pool(min(count, len(jobs))) as pool:
        futures: dict[Future[RemeasuredRun], Job] = {pool.submit(work, job): job for job in jobs}
        for future in as_completed(futures):
            try:
                yield future.result()
            except BrokenProcessPool:
                lost.append(futures[future])
    for job in lost:  # one process that dies takes the others' work with it: each gets one of its own
        with _pool(1) as pool:
            try:
                yield pool.submit(work, job).result()
            except BrokenProcessPool:
                yield RemeasuredRun(run=job.run, fault=_KILLED)


@contextmanager
def _pool(count: int) -> Iterator[ProcessPoolExecutor]:
    """Processes that end at once when this one is interrupted."""
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    pool.shutdown()


def _begin_worker() -> None:
    """Leave Ctrl-C to the process that spread the work, and the other cores to the other workers."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    keep_freed()
    cv2.setNumThreads(1)


def _by_dask(client: Any, work: _Work, jobs: Sequence[Job]) -> Iterator[RemeasuredRun]:
    from distributed import as_completed as completed

    futures = {client.submit(_one_core, work, job, pure=False): job for job in jobs}
    for future in completed(futures, loop=client.loop):
        if future.exception() is None:
            yield future.result()
        else:
            yield RemeasuredRun(run=futures[future].run, fault=_KILLED)


def _one_core(work: _Work, job: Job) -> RemeasuredRun:
    import cv2

    keep_freed()  # Dask has its workers hand back memory at once
    cv2.setNumThreads(1)
    return work(job)
