"""Text files that people write, read whatever their path leads to."""

import os
import stat
from pathlib import Path

from ..errors import InputFileError

#: The longest of our own, a debris file learned from a hundred portions, takes a tenth of that.
MOST_BYTES = 1_000_000


def file_text(path: Path, what: str, most_bytes: int = MOST_BYTES) -> str:
    """Return the text of a file, without the mark of its order of bytes.

    Parameters
    ----------
    path : Path
        The file. Nothing but a regular one is read, for reading a pipe or a device may never end.
    what : str
        What the file is for the reader of a message, such as "patch file".
    most_bytes : int
        A larger file is refused.

    Returns
    -------
    str

    Raises
    ------
    InputFileError
        The file is missing, no file, too large, unreadable or not UTF-8.
    """
    content = file_content(path, what, most_bytes)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise InputFileError(f"{path} line {line}: is not UTF-8 text. Give a {what}, saved as UTF-8.") from None


def file_content(path: Path, what: str, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of a file; parameters and errors are those of `file_text`."""
    try:
        # A pipe without a writer would keep even the opening waiting.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(descriptor, "rb") as file:
            about = os.fstat(descriptor)
            if not stat.S_ISREG(about.st_mode):
                raise InputFileError(f"{path}: is a pipe, device or socket, not a file. Give the path of the {what}.")
            content = file.read(min(about.st_size, most_bytes) + 1)  # room for the most would take longer than reading
            if len(content) > about.st_size:  # it has grown, or its size is not told
                content += file.read(max(most_bytes + 1 - len(content), 0))
    except InputFileError:
        raise
    except FileNotFoundError:
        raise InputFileError(f"{path}: there is no such file. Give the path of the {what}.") from None
    except IsADirectoryError:
        raise InputFileError(f"{path}: is a folder. Give the path of the {what} itself.") from None
    except PermissionError as error:
        if path.is_dir():  # Windows' word for a folder
            raise InputFileError(f"{path}: is a folder. Give the path of the {what} itself.") from None
        raise InputFileError(f"{path}: cannot be read ({error.strerror}). Check the file's rights.") from None
    except OSError as error:
        raise InputFileError(f"{path}: cannot be read ({error.strerror}). Check the path and the file.") from None
    except ValueError:  # a null character in the path
        raise InputFileError(f"{path}: is not a valid path. Give the path of the {what}.") from None
    if len(content) > most_bytes:
        raise InputFileError(f"{path}: is larger than {most_bytes / 1e6:g} MB, more than any {what}. Give a {what}.")
    return content
