"""Kinds of debris by name: a campaign's own files first, then those that come with the package."""

from collections.abc import Iterator
from pathlib import Path

from ..errors import InputFileError
from ..shipped import shipped_folder
from .faults import closest


def find_debris(named: str | Path, own: Path | None = None) -> Path:
    """Return the debris file of a name.

    Parameters
    ----------
    named : str or Path
        A path to a file, or a name such as "red-lentils" or "red lentils".
    own : Path, optional
        Folder of debris files that come before the shipped ones.

    Returns
    -------
    Path

    Raises
    ------
    InputFileError
        There is none. The message names the nearest.
    """
    path = Path(named)
    if path.suffix == ".toml" or path.is_file():
        return path
    wanted = debris_slug(str(named))
    known = dict(debris_files(own))
    if wanted in known:
        return known[wanted]
    raise InputFileError(
        f'debris "{named}": there is no file of that name. {closest(wanted, known)} debriscount debris list shows all'
        " kinds; debris new makes a file from a photo."
    )


def debris_files(own: Path | None = None) -> Iterator[tuple[str, Path]]:
    """Yield name and file of every kind, in alphabetical order; of two of one name, a campaign's own."""
    found = {path.stem: path for path in (shipped_debris().glob("*.toml"))}
    if own is not None and own.is_dir():
        found |= {path.stem: path for path in own.glob("*.toml")}
    yield from sorted(found.items())


def shipped_debris() -> Path:
    """Folder of the debris files that come with the package."""
    return shipped_folder("debriscount._calibration", "calibration") / "debris"


def debris_slug(name: str) -> str:
    """Return a name as its file is called: "Red lentils" as "red-lentils"."""
    return "-".join(name.lower().replace("_", " ").replace("-", " ").split())
