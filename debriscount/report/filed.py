"""The result of a run of a campaign as files, measured from the files that the run keeps."""

from collections.abc import Callable

from ..campaign.records import RunSources, by_shot
from ..inputs.weighing_file import read_weighing
from .folder import record_bytes
from .weighing import weighing_record

Progress = Callable[[float, str], None]


def result_files(sources: RunSources, progress: Progress | None = None) -> dict[str, bytes]:
    """Measure a run.

    Parameters
    ----------
    sources : RunSources
        What it is measured from.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    dict of str to bytes
        Files by name, the record first: measurement.json with tables and pictures or, of a run that was weighed only,
        weighing.json.

    Raises
    ------
    DebriscountError
        As `debriscount.run.measure.measure` and `debriscount.inputs.weighing_file.read_weighing` do.
    """
    if not sources.photos:
        if sources.weighing is None:
            raise ValueError("a run has photos or a weighing")
        return {"weighing.json": record_bytes(weighing_record(read_weighing(sources.weighing)))}
    from ..run.measure import measure
    from .write import measurement_files

    shots = by_shot(sources.photos)
    measured = measure(
        sources.patch,
        shots.pop("before"),
        [photos for shot, photos in shots.items() if shot != "blank"],
        blank=shots.get("blank"),
        debris=sources.debris,
        lens=sources.lens,
        weighing=sources.weighing,
        progress=progress,
    )
    return {name: make() for name, make in measurement_files(measured).contents.items()}
