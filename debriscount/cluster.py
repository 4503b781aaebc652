"""A Dask cluster that the work is given to, where there is one."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from typing import Any

from .errors import ClusterError, MissingLibraryError


def has_dask() -> bool:
    """Whether dask.distributed is installed."""
    return find_spec("distributed") is not None


@contextmanager
def dask_client(scheduler: str) -> Iterator[Any]:
    """Yield a client of a lasting cluster.

    Parameters
    ----------
    scheduler : str
        Address of the scheduler.

    Raises
    ------
    MissingLibraryError
        dask.distributed is not installed.
    ClusterError
        The scheduler does not answer.
    """
    if not has_dask():
        raise MissingLibraryError(
            'a Dask cluster needs the extra "cluster": pip install "debriscount[cluster]". Without --scheduler, the'
            " cores of this computer do it."
        )
    from distributed import Client

    try:
        client = Client(scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(f"--scheduler {scheduler}: does not answer ({error}).") from None
    with client:
        yield client
