"""Photos as they arrive in a folder, from a tethered camera or a phone that keeps it in step."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

from ..errors import PhotoFileError
from ..photo.files import ENDINGS

#: Time between two looks at the folder, s: a file must be the same in two of them to count as written.
PAUSE_S = 0.25

_State = dict[Path, tuple[int, int]]


def arriving_photos(folder: Path, sleep: Callable[[float], None] = time.sleep) -> Iterator[Path]:
    """Iterate over every photo that is new in a folder, or written anew, once it is whole; never ends by itself.

    Parameters
    ----------
    folder : Path
        The folder; those in it are passed over. Photos already there are not yielded.
    sleep : callable
        Waits for so many seconds.

    Raises
    ------
    PhotoFileError
        The folder is not there, is no folder, or can no longer be read.
    """
    # Read at once, not when the first photo is asked for: what arrives in between is new.
    return _arriving(folder, _state(folder), sleep)


def _arriving(folder: Path, done: _State, sleep: Callable[[float], None]) -> Iterator[Path]:
    before = done
    while True:
        sleep(PAUSE_S)
        now = _state(folder)
        for path in sorted(now, key=lambda p: (now[p][1], p.name)):
            if done.get(path) != now[path] and before.get(path) == now[path] and now[path][0] > 0:
                done = {**done, path: now[path]}
                yield path
        before = now


def _state(folder: Path) -> _State:
    """Size and time of change of every photo in the folder."""
    found: _State = {}
    try:
        for path in folder.iterdir():
            if path.suffix.lower() in ENDINGS and not path.name.startswith("."):
                try:
                    status = path.stat()
                except FileNotFoundError:  # gone, or renamed, since the folder was read
                    continue
                if path.is_file():
                    found[path] = (status.st_size, status.st_mtime_ns)
    except OSError as error:
        raise PhotoFileError(
            f"{folder}: cannot be watched ({error.strerror}). Give the folder that photos arrive in."
        ) from None
    return found
