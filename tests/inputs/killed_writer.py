"""A writer that dies before a change to the disk that is told by number; run as a script, since it dies."""

import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from debriscount.inputs.exchange import put_files

NAMES = ("record.json", "a.csv", "b.jpg", "c.jpg")
OTHERS = ("record.json", "a.csv", "b.jpg", "d.jpg", "e.jpg")
#: What Python tells before it changes a folder.
CHANGES = ("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.truncate")


def put(folder: Path, names: tuple[str, ...], tag: str, replaced: Callable[[], Any] | None = None) -> None:
    """Write files of a made-up result, whose text is a tag and the file's name."""
    contents = {name: partial(f"{tag} {name}".encode) for name in names}

    def known() -> list[str]:
        known = {*NAMES, *OTHERS}
        return [path.name for path in folder.iterdir() if path.name in known] if folder.is_dir() else []

    put_files(folder, contents, replaced or known, folder.name)


def die_before(number: int) -> None:
    """End the process at its change of that number, counted from 0."""
    count = [0]

    def count_down(event: str, _: object) -> None:
        if event in CHANGES:
            if count[0] == number:
                os._exit(9)
            count[0] += 1

    sys.addaudithook(count_down)


if __name__ == "__main__":
    place, at, which = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    if at >= 0:
        die_before(at)
        put(place, OTHERS, "new")
    else:
        put(place, *((OTHERS, "new"), (NAMES, "other"))[which])
