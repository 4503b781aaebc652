"""Files written beside their place and then put there, so that nothing is lost or half written."""

import secrets
import shutil
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from ..errors import OutputError


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
    """Write files: first all beside their places, then each put there by one rename.

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
    if not overwrite:
        refuse_existing(contents)
    # A link stays a link: what it leads to is replaced.
    ready = {path.resolve(): path.resolve().with_name(f".{path.name}-{secrets.token_hex(4)}.part") for path in contents}
    try:
        for (target, part), data in zip(ready.items(), contents.values(), strict=True):
            if target.is_dir():
                raise OutputError(f"{target}: is a folder. Give the name of a file.")
            target.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(data)
            if target.exists():
                shutil.copymode(target, part)
        for target, part in ready.items():
            part.replace(target)
    except OutputError:
        raise
    except OSError as error:
        first = next(iter(contents))
        raise OutputError(
            f"{first}: cannot be written ({error.strerror or error}). Give a place that can be written."
        ) from None
    finally:
        for part in ready.values():
            with suppress(OSError):
                part.unlink(missing_ok=True)
    return list(contents)
