"""The debris file that portions taught."""

from os import PathLike
from pathlib import Path

from ..inputs.debris_write import debris_toml
from ..inputs.save import save_files
from .records import PortionCalibration


def write_calibration(found: PortionCalibration, path: str | PathLike[str], *, overwrite: bool = False) -> Path:
    """Write the debris file of a calibration.

    Parameters
    ----------
    found : PortionCalibration
        What the portions taught.
    path : path-like
        Where to; folders above are made.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Something is there already, or the file cannot be written.
    """
    return save_files({Path(path): calibration_file(found).encode()}, overwrite=overwrite)[0]


def calibration_file(found: PortionCalibration) -> str:
    """Return the text of the debris file, with a comment that says where its masses come from."""
    count, how = len(found.portions), found.kind.calibration
    assert how is not None  # the portions are its calibration
    portions = "a weighed portion" if count == 1 else f"{count} weighed portions"
    remark = f"Masses learned from photos of {portions} on {how.date} by debriscount portion."
    return debris_toml(found.kind, remark)
