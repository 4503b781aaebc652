"""Damaged photo files and text files, each read in a process that tells how it ended, how long it took and how much.

Run as a script by `hostile.py`: KIND FIRST COUNT. One line a file: number, ending, seconds, MiB above what its pixels
take. A crash or a hang ends the process; the number of the last line tells where.
"""

import importlib.util
import json
import os
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
TEXT = "text"
#: What a number in a text file may be replaced by.
NUMBERS = (
    b"1e308", b"-1e308", b"1e-320", b"0", b"-0.0", b"nan", b"inf", b"-1", b"9" * 5000, b"0x" + b"f" * 6000, b"true",
    b"1e15", b"1e-40", b"''", b"[]", b"{}", b"1979-05-27",
)  # fmt: skip
#: What may be put in anywhere.
PIECES = (
    b"[" * 3000, b"a." * 3000, b'"""', b"'''", b'"\\u001b[2J\\u202e"', b"\xff\xfe", b"\0", b"\x1b[31m", b"\n[patch]\n",
    b"[[markers]]\n", b"= = =", b"#" * 5000, b"x = [" + b"1, " * 20000 + b"]\n", b"name = '" + b"n" * 20000 + b"'\n",
    b'["pat\\u0063h"]\n', b"\r", b"{a = {a = {a = 1}}}", b"k" * 20000,
)  # fmt: skip


def fuzz_module() -> ModuleType:
    """Return the test of damaged photos, which makes the same damage."""
    spec = importlib.util.spec_from_file_location("test_fuzz", ROOT / "tests" / "photo" / "test_fuzz.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def whole_texts() -> list[tuple[str, bytes]]:
    """Return one sound file of each kind, with the name of what reads it."""
    patch = (ROOT / "reference_images" / "mixed-tile-edge" / "patch.toml").read_bytes()
    zone = b'\n[[zones.custom]]\nname = "rug"\npolygon_mm = [[10, 10], [90, 10], [50, 90]]\n'
    weighing = (
        b"[scale]\nreadability_g = 0.1\nrepeatability_g = 0.1\ncapacity_g = 3000\n[dispensed]\nfull_g = [152.3, 152.4]\n"
        b"empty_g = 102.3\n[bin]\nbefore_g = 310.2\nafter_g = 351.9\n[swept]\nopen_g = {gross = 53.1, tare = 50}\n"
    )
    agreement = {"photo_percent": 83.1, "photo_u": 0.4, "scale_percent": 82.9, "scale_u": 0.3, "causes": []}
    photos = {"before": {"taken": "2026-05-01T10:30:00"}}
    record = {"format": "debriscount/measurement/1", "photos": photos, "agreement": agreement}
    debris = sorted((ROOT / "calibration" / "debris").glob("*.toml"))
    lenses = sorted((ROOT / "calibration" / "lens").glob("*.toml"))
    return [
        ("patch", patch + zone),
        ("weighing", weighing),
        ("record", json.dumps(record, indent=1).encode()),
        *(("debris", path.read_bytes()) for path in debris[:2]),
        *(("lens", path.read_bytes()) for path in lenses[:1]),
    ]


def spoilt_text(content: bytes, rng: np.random.Generator) -> bytes:
    """Damage a text in one to three ways."""
    import re

    for _ in range(rng.integers(1, 4)):
        spans = [found.span() for found in re.finditer(rb"-?\d+(\.\d+)?", content)]
        at = int(rng.integers(len(content) + 1))
        way = int(rng.integers(6))
        if way <= 1 and spans:
            start, end = spans[rng.integers(len(spans))]
            content = content[:start] + NUMBERS[rng.integers(len(NUMBERS))] + content[end:]
        elif way == 2:
            content = content[:at] + PIECES[rng.integers(len(PIECES))] + content[at:]
        elif way == 3:
            content = content[:at]
        elif way == 4:
            content = content[:at] + rng.bytes(int(rng.integers(1, 9))) + content[at + int(rng.integers(0, 9)) :]
        else:
            content = content[:at] + content[int(rng.integers(len(content) + 1)) :]
    return content


def peak_mib() -> float:
    """Largest resident memory since `reset_peak`, MiB."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return 0.0


def reset_peak() -> float:
    """Begin to watch memory anew; returns what is taken now, MiB."""
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    return peak_mib()


def _read_text(kind: str, path: Path) -> int:
    from debriscount.inputs.debris_file import read_debris
    from debriscount.inputs.lens_file import read_lens
    from debriscount.inputs.patch_file import read_patch
    from debriscount.inputs.weighing_file import read_weighing
    from debriscount.report.agreement import compare_runs, runs_json, runs_text
    from debriscount.report.weighing import weighing_record, weighing_text

    if kind == "record":
        many, without = compare_runs([path])
        json.dumps(runs_json(many, without), allow_nan=False)
        runs_text(many, without)
    elif kind == "weighing":
        weighing = read_weighing(path)
        json.dumps(weighing_record(weighing), allow_nan=False)
        weighing_text(weighing)
    else:
        {"patch": read_patch, "debris": read_debris, "lens": read_lens}[kind](path)
    return 0


def _read_photo(path: Path) -> int:
    from debriscount.photo.read import read_photo

    return read_photo(path).pixels.nbytes


def work(kind: str, first: int, count: int) -> None:
    """Read ``count`` files from number ``first`` on, and tell how each ended."""
    from debriscount.errors import DebriscountError

    fuzz = fuzz_module()
    wholes = whole_texts() if kind == TEXT else [("", content) for content in fuzz.whole_files(kind)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "spoilt"
        for number in range(first, first + count):
            rng = np.random.default_rng(number)
            reader, whole = wholes[number % len(wholes)]
            path.write_bytes(spoilt_text(whole, rng) if kind == TEXT else fuzz.damaged(whole, rng))
            read: Callable[[], int] = (
                (lambda reader=reader: _read_text(reader, path)) if kind == TEXT else (lambda: _read_photo(path))  # type: ignore[misc]
            )
            before, start, pixels = reset_peak(), time.perf_counter(), 0
            try:
                pixels, ended = read(), "read"
            except DebriscountError as error:
                one_line = len(str(error)) <= 2000 and "\n" not in str(error) and "\x1b" not in str(error)
                ended = "refused" if one_line else "long"
            except Exception:
                sys.stderr.write(f"{kind} {number}: {traceback.format_exc()}\n")
                ended = "other"
            seconds = time.perf_counter() - start
            print(number, ended, f"{seconds:.3f}", f"{peak_mib() - before - pixels / 2**20:.0f}", flush=True)


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    work(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
