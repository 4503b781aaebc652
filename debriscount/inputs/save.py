"""Files written beside their place and then put there, so that nothing is lost or half written."""

from collections.abc import Iterable, Mapping
from functools import partial
from pathlib import Path

from ..errors import OutputError
from .exchange import put_files


def refuse_existing(paths: Iterable[Path]) -> None:
    """Refuse to write over what is there.

    Raises
    ------
    OutputError
        For the first path that exists.
    """
    for path in paths:
        if path.exists():
            raise OutputError(f"{path}: is there already. Choose another name, or add --overwrite to replace it.")


def save_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> list[Path]:
    """Write files: first all beside their places, then those of each folder put there together.

    Parameters
    ----------
    contents : mapping of Path to bytes
        What is to stand where; folders above are made.
    overwrite : bool
        Whether files that are there may be replaced.

    Returns
    -------
    list of Path
        The files, as given.

    Raises
    ------
    OutputError
        A file is there already, or cannot be written. No file is left half written, and none is lost.
    """
    try:
        folders: dict[Path, dict[str, bytes]] = {}
        for path, data in contents.items():
            target = path.resolve()  # a link stays a link: what it leads to is replaced
            folders.setdefault(target.parent, {})[target.name] = data
        for folder, files in folders.items():
            _replaced(folder, list(files), overwrite)
        for folder, files in folders.items():
            put_files(
                folder,
                {name: partial(bytes, data) for name, data in files.items()},
                partial(_replaced, folder, list(files), overwrite),
                next(iter(files)),
            )
    except OutputError:
        raise
    except (OSError, ValueError) as error:  # ValueError for a null character in a name
        first = next(iter(contents))
        reason = getattr(error, "strerror", None) or error
        raise OutputError(f"{first}: cannot be written ({reason}). Give a place that can be written.") from None
    return list(contents)


def _replaced(folder: Path, names: list[str], overwrite: bool) -> list[str]:
    """Names that are there and may be replaced."""
    there = [folder / name for name in names if (folder / name).exists()]
    if not overwrite:
        refuse_existing(there)
    for path in there:
        if path.is_dir():
            raise OutputError(f"{path}: is a folder. Give the name of a file.")
        if not path.is_file():
            raise OutputError(f"{path}: is a device or pipe, which cannot be replaced. Give the name of a file.")
    return [path.name for path in there]
