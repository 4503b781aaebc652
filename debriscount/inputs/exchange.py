"""Files put into a folder, all of them or none, whenever the process is stopped or killed.

They are written into a work folder first, ``.NAME-0a1b2c3d.part``, and reach the disk. A new folder is that work folder
renamed. In a folder that is there, files change places one by one, and a plan in the work folder says so: as long as it
is there, the exchange is not done. The next writer finds work folders whose writer has died, takes new files back and
puts old ones in their places where there is a plan, and removes what is left.
"""

import json
import os
import re
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from ..errors import OutputError
from .lock import Hold, hold, locked

_PLAN, _OLD = ".plan", ".old"
_written: list[Path] = []


def written() -> tuple[Path, ...]:
    """Return folders into which this process has put files, for who must tell whether there are any."""
    return tuple(_written)


def put_files(
    folder: Path, contents: Mapping[str, Callable[[], bytes]], replaced: Callable[[], Iterable[str]], mark: str
) -> None:
    """Put files into a folder, which is made if it is not there.

    Parameters
    ----------
    folder : Path
        Where to.
    contents : mapping of str to callable
        Makes the content of each file, by name, which may lie in a folder of its own that is not there yet. The first
        file is the last to be put there, and the first to go.
    replaced : callable
        Names of files in the folder to be taken away, asked for before anything is done and again while no other
        writer can change the folder; it raises where something must not be replaced.
    mark : str
        What the work folder is called after: the folder, or a file in it.

    Raises
    ------
    OSError
        As the system does. The folder is as it was.
    OutputError
        As ``replaced`` does, or another process keeps the folder.
    """
    home = folder if folder.is_dir() else folder.parent
    made = [above for above in (home, *home.parents) if not above.exists()]
    work = _new_work_folder(home, mark)
    held: Hold | None = None
    try:
        home.mkdir(parents=True, exist_ok=True)
        settle(folder, mark)
        with locked(home):  # no other takes it for a dead one's before it is held
            replaced()
            work.mkdir()
            held = hold(work)
        for name, content in contents.items():
            (work / name).parent.mkdir(exist_ok=True)
            _write(work / name, content())
        tops = list(dict.fromkeys(Path(name).parts[0] for name in contents))
        for top in filter(Path.is_dir, (work / top for top in tops)):
            _to_disk(top)
        _to_disk(work)
        with _alone(folder, mark, home):
            if held is not None:
                held.release()  # from here on the lock of its home keeps others off
            if folder.is_dir():
                _exchange(folder, work, tops, list(replaced()))
            else:
                work.rename(folder)
                _written.append(folder)
        _to_disk(home)
    except BaseException:
        if held is not None:
            held.release()
        if not (work / _PLAN).exists():  # else the next writer puts things right
            shutil.rmtree(work, ignore_errors=True)
        for above in made:
            if above.is_dir() and not any(above.iterdir()):
                above.rmdir()
        raise
    shutil.rmtree(work, ignore_errors=True)


def try_folder(folder: Path, mark: str) -> None:
    """Make a work folder as near as there is a folder, and remove it: nothing else tells for sure that one can.

    Raises
    ------
    OSError
        As the system does.
    """
    work = _new_work_folder(next(above for above in (folder, *folder.parents) if above.exists()), mark)
    work.mkdir()
    work.rmdir()


def _new_work_folder(home: Path, mark: str) -> Path:
    return home / f".{mark}-{secrets.token_hex(4)}.part"


def settle(folder: Path, mark: str) -> None:
    """Undo what writers that died have left half done in a folder, and remove their work folders.

    Raises
    ------
    OutputError
        An old file cannot be put back, since another is in its place by now.
    """
    if _work_folders(folder, mark) or _work_folders(folder.parent, mark):
        with _alone(folder, mark, folder):
            pass


@contextmanager
def _alone(folder: Path, mark: str, home: Path) -> Iterator[None]:
    """Keep other writers off a folder and a work folder's home, and first undo what dead ones have left half done.

    Whoever died since this writer began has left a plan that the next one would take for good.
    """
    above = folder.parent
    with ExitStack() as locks:
        kept = [above] if home == above or _work_folders(above, mark) else []  # first, so that two wait in one order
        kept += [folder] if folder.is_dir() else []
        for place in kept:
            locks.enter_context(locked(place))
        for work in [work for place in kept for work in _work_folders(place, mark)]:
            _settle_one(work)
        yield


def _work_folders(home: Path, mark: str) -> list[Path]:
    """Work folders in a folder that is there and may be looked into, as the one above need not be."""
    try:
        return sorted(path for path in home.iterdir() if is_work_folder(path, mark))
    except (FileNotFoundError, NotADirectoryError, PermissionError):
        return []


def is_work_folder(path: Path, mark: str) -> bool:
    """Whether it is the work folder of a writer, dead or alive, named after ``mark``."""
    named = re.fullmatch(rf"\.{re.escape(mark)}-[0-9a-f]{{8}}\.part", path.name)
    return named is not None and path.is_dir() and not path.is_symlink()


def _settle_one(work: Path) -> None:
    try:
        held = hold(work)
    except FileNotFoundError:  # its writer is done, and has just cleared it away
        return
    if held is None or not held.sure:
        return
    held.release()  # its writer is dead, and new ones wait for its home
    plan = work / _PLAN
    if plan.is_file():
        folder, names = _planned(plan)
        if folder.is_dir():  # else it was taken away since, and what belongs in it too
            _undo(folder, work, names)
        plan.unlink()
    shutil.rmtree(work, ignore_errors=True)


def _planned(plan: Path) -> tuple[Path, list[str]]:
    """Folder and names of a plan; no names if it is cut off: nothing was moved then."""
    home = plan.parent.parent
    try:
        found = json.loads(plan.read_text(encoding="utf-8"))
        beside, names = found["beside"], [str(name) for name in found["names"]]
    except (ValueError, KeyError, TypeError):
        return home, []
    return (home / Path(str(beside)).name if beside else home), [Path(n).name for n in names]


def _exchange(folder: Path, work: Path, names: list[str], old: list[str]) -> None:
    """Exchange old files for new ones; a failure on the way puts the old ones back."""
    for name in names:
        if (folder / name).is_file():
            shutil.copymode(folder / name, work / name)
    if len(names) == 1 and set(old) <= set(names):  # which the system does in one step
        (work / names[0]).replace(folder / names[0])
        _written.append(folder)
        return
    (work / _OLD).mkdir()
    beside = "" if folder == work.parent else folder.name
    _write(work / _PLAN, json.dumps({"beside": beside, "names": names}).encode())
    _to_disk(work)
    try:
        for name in sorted(old, key=lambda name: name != names[0]):
            (folder / name).rename(work / _OLD / name)
        for name in reversed(names):
            (work / name).rename(folder / name)
        _to_disk(folder)
    except BaseException:
        _undo(folder, work, names)
        (work / _PLAN).unlink()
        raise
    (work / _PLAN).unlink()
    _written.append(folder)


def _undo(folder: Path, work: Path, names: list[str]) -> None:
    """Take new files back and put old ones in their places; what was done of it before is not done again."""
    for name in names:
        if (folder / name).exists() and not (work / name).exists():
            (folder / name).rename(work / name)
    # The first, by which a result is known, comes last.
    for path in sorted((work / _OLD).glob("*"), key=lambda path: path.name in names[:1]):
        if (folder / path.name).exists():
            raise OutputError(
                f"{folder / path.name}: stands where a file of an earlier result belongs, which is now {path}. "
                "Move it elsewhere."
            )
        path.rename(folder / path.name)
    _to_disk(folder)


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _to_disk(folder: Path) -> None:
    """Have the names in a folder reach the disk, where the system can do that."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
