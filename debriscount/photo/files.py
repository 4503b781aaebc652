"""The bytes of a photo file, whatever its path leads to."""

import stat
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from ..errors import PhotoFileError
from .limits import check_bytes

T = TypeVar("T")
#: Endings of photo files; what else lies in a folder, such as a half-written file under another name, is passed over.
ENDINGS = frozenset([".jpg", ".jpeg", ".heic", ".heif", ".avif", ".png", ".tif", ".tiff", ".webp", ".bmp", ".dng"])


def photos_in(folder: Path) -> tuple[Path, ...]:
    """The photos in a folder, by name; PhotoFileError if there is none."""
    found = sorted(p for p in folder.iterdir() if p.suffix.lower() in ENDINGS and not p.name.startswith("."))
    if not found:
        raise PhotoFileError(f"{folder}: holds no photos. Give a photo, or a folder of photos that overlap.")
    return tuple(found)


def file_bytes(path: Path, most: int) -> bytes:
    """Read a whole file of at most ``most`` bytes, symbolic links followed.

    Nothing but a regular file is opened, for reading a pipe or a device may never end.

    Raises
    ------
    PhotoFileError
        There is no such file, it is a folder, pipe, device or socket, empty, too large or cannot be read. The message
        does not name it.
    """
    about = _reached(path, path.stat)
    if stat.S_ISDIR(about.st_mode):
        raise PhotoFileError("is a folder. Give the path of a photo in it.")
    if not stat.S_ISREG(about.st_mode):
        raise PhotoFileError("is a pipe, device or socket, not a file. Give the path of a photo.")
    check_bytes(about.st_size, most)
    content = _reached(path, lambda: _content(path, most))
    check_bytes(len(content), most)
    if not content:
        raise PhotoFileError("is empty. Copy it from the camera once more.")
    return content


def _content(path: Path, most: int) -> bytes:
    """The whole file, or one byte too many of a file that grows."""
    with path.open("rb") as file:
        return file.read(most + 1)


def _reached(path: Path, action: Callable[[], T]) -> T:
    """What the action returns; PhotoFileError if the path leads to nothing that can be read."""
    try:
        return action()
    except FileNotFoundError:
        with suppress(OSError):
            if path.is_symlink():
                raise PhotoFileError("is a link to a file that is not there. Give the path of a photo.") from None
        raise PhotoFileError("there is no such file. Give the path of a photo.") from None
    except (OSError, RuntimeError) as error:  # a loop of links is the one or the other, by version of Python
        reason = getattr(error, "strerror", None) or str(error)
        raise PhotoFileError(f"cannot be read ({reason}). Check the path and the file's rights.") from None
    except ValueError:  # a null character in the path
        raise PhotoFileError("is not a valid path. Give the path of a photo.") from None
