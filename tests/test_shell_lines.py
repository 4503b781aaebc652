"""Every command in README and manual runs as it stands there, on shipped files.

All run in one folder, in the order of README and manual, so that a later one can use what an earlier one wrote; a command
that stands in several places runs once. Left out are the lines that set up, told by ``pip install``, and the one that
goes on until Ctrl-C, told by ``--watch``, which has a test of its own.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import debriscount
from debriscount.demo import CAMPAIGN, SCENES
from debriscount.manual.pages import TOPICS, page
from debriscount.report.record import agreement_json
from debriscount.scale.agreement import agree
from debriscount.shipped import shipped_folder
from debriscount.stats.quantity import Quantity

ROOT = Path(__file__).parents[1]
DOCUMENTS = {"README": (ROOT / "README.md").read_text(encoding="utf-8"), **{topic: page(topic) for topic in TOPICS}}
SETS_UP, GOES_ON = "pip install", "--watch"

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name == "nt", reason="the lines are for a POSIX shell"),
]


def commands(document: str) -> Iterator[str]:
    """Each command of a document's blocks for the shell; those continued on the next line in one piece."""
    for block in re.findall(r"^```sh\n(.*?)^```", document, flags=re.MULTILINE | re.DOTALL):
        yield from re.findall(r"^\S.*(?:(?<=[\\&])\n.*)*", block, flags=re.MULTILINE)


ALL = [(where, line) for where, text in DOCUMENTS.items() for line in commands(text)]
FIRST_PLACES = {line: where for where, line in reversed(ALL) if SETS_UP not in line and GOES_ON not in line}
LINES = [line for line in dict.fromkeys(line for _, line in ALL) if line in FIRST_PLACES]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's first run beside its campaign, photos of a board and three weighed runs, as a person would have them."""
    home = tmp_path_factory.mktemp("demo") / SCENES[0]
    shipped = shipped_folder("debriscount._reference", "reference_images")
    shutil.copytree(shipped / SCENES[0], home)
    shutil.copytree(shipped / CAMPAIGN, home.parent / CAMPAIGN)
    for photo in (ROOT / "tests" / "data" / "photos").glob("left*.jpg"):
        shutil.copyfile(photo, home / photo.name.replace("left", "board"))
    (home / "inbox").mkdir()
    for number, difference in enumerate((0.2, -0.3, 0.1), start=1):
        run = home / f"run{number:02}"
        run.mkdir()
        compared = agreement_json(agree(Quantity(80 + number + difference, 0.5), Quantity(80 + number, 0.3)))
        record = {"format": "debriscount/measurement/1", "photos": {}, "agreement": compared}
        (run / "measurement.json").write_text(json.dumps(record), encoding="utf-8")
    return home


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Variables under which ``debriscount`` is the code that is being tested, installed or not."""
    programs = tmp_path_factory.mktemp("programs")
    program = programs / "debriscount"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m debriscount_cli "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    path = os.pathsep.join([str(programs), os.environ["PATH"]])
    library = os.pathsep.join(filter(None, [str(Path(debriscount.__file__).parents[1]), os.environ.get("PYTHONPATH")]))
    return {**os.environ, "PATH": path, "PYTHONPATH": library}


def test_the_lines_are_found() -> None:
    assert len(LINES) > 15
    assert len([line for line in ALL if SETS_UP in line[1]]) == 2
    assert all("debriscount " in line for line in LINES)


@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{FIRST_PLACES[line]}: {line[:50]}")
def test_a_command_runs_as_it_stands(line: str, folder: Path, environment: dict[str, str]) -> None:
    done = subprocess.run(
        ["sh", "-euc", line], cwd=folder, env=environment,
        capture_output=True, text=True, check=False, timeout=300, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
    for written in re.findall(r"--out (\S+)", line):
        assert (folder / written).exists()


def test_the_command_that_goes_on_looks_at_a_photo_that_arrives(folder: Path, environment: dict[str, str]) -> None:
    (line,) = (line for _, line in ALL if GOES_ON in line)
    with subprocess.Popen(
        ["sh", "-euc", f"exec {line}"], cwd=folder, env=environment,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stderr is not None
        assert process.stdout is not None
        assert process.stderr.readline() == "watching inbox; Ctrl-C ends it\n"
        shutil.copyfile(folder / "before.jpg", folder / "inbox" / "photo.jpg")
        printed = ""
        while "FIT" not in printed and (more := process.stdout.readline()):
            printed += more
        process.send_signal(signal.SIGINT)
        process.wait(timeout=60)
    assert "FIT: photo.jpg" in printed
    assert process.returncode == 0
