"""The process as a whole: what reaches the terminal, and how it ends."""

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from debriscount.errors import OutputError
from debriscount_cli._streams import PlainStream

COMMAND = [sys.executable, "-m", "debriscount_cli"]
#: Clears the screen, sets a title, rings, turns writing round, ends a line; and a byte that is no UTF-8.
HOSTILE = "\x1b[2J\x1b]0;title\x07\u202egpj\x9b\r\u2028\udcff"


def run(*arguments: str, **options: object) -> "subprocess.CompletedProcess[bytes]":
    return subprocess.run([*COMMAND, *arguments], capture_output=True, check=False, timeout=60, **options)  # type: ignore[call-overload, no-any-return]


def spoilt(printed: bytes) -> set[str]:
    text = printed.decode()
    return {c for c in text if c != "\n" and (ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u202e\u2028")}


def test_hostile_names_do_not_command_the_terminal(tmp_path: Path) -> None:
    name = os.fsencode(tmp_path) + b"/" + HOSTILE.encode(errors="surrogateescape") + b".toml"
    Path(os.fsdecode(name)).write_text(
        f'[patch]\n"{HOSTILE[:-1].encode("unicode_escape").decode()}" = 1\n'.replace("\\x", "\\u00")
    )
    for done in (
        run("markers", "--patch", os.fsdecode(name), "--out", str(tmp_path / "a.pdf")),
        run(f"--{HOSTILE[:-1]}"),
    ):
        assert done.returncode == 2
        assert done.stderr.count(b"\n") < 6
        assert spoilt(done.stderr + done.stdout) == set()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no device that is always full")
@pytest.mark.parametrize("arguments", [["--version"], ["--help"]])
def test_a_full_disk_behind_the_output_is_one_line(arguments: list[str]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run([*COMMAND, *arguments], stdout=full, stderr=subprocess.PIPE, check=False, timeout=60)
    assert done.returncode == 2
    assert done.stderr == b"standard output: cannot be written (No space left on device). Print to a place with room.\n"


@pytest.mark.skipif(os.name == "nt", reason="signals are of another kind there")
@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_while_it_waits_is_one_line(name: str, tmp_path: Path) -> None:
    with subprocess.Popen(
        [*COMMAND, "patch", "new", "--out", str(tmp_path / "patch.toml")],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        process.stdout.read(4)  # the first question
        process.send_signal(getattr(signal, name))
        _, told = process.communicate(timeout=60)
    assert (process.returncode, told.strip()) == (130, b"stopped, nothing written")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name == "nt", reason="signals are of another kind there")
@pytest.mark.parametrize("after_s", [0.15, 0.3])
def test_a_signal_while_it_loads_leaves_no_traceback(after_s: float) -> None:
    with subprocess.Popen([*COMMAND, "measure", "-h"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        time.sleep(after_s)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
    assert told in (b"", b"stopped, nothing written\n")  # nothing, where it was done before


@pytest.mark.skipif(os.name == "nt", reason="signals are of another kind there")
@pytest.mark.parametrize("module", ["typing", "re", "signal", "debriscount.errors", "debriscount_cli._stop", "typer"])
def test_a_signal_before_a_module_has_loaded_leaves_no_traceback(module: str) -> None:
    """From the first line of the entry point on: whichever module is just being loaded."""
    script = (
        "import sys, _signal\n"
        f"name = {module!r}\n"
        "sys.modules.pop(name, None)\n"
        "class Stop:\n"
        "    def find_spec(self, wanted, *_):\n"
        "        if wanted == name:\n"
        "            sys.meta_path.remove(self)\n"
        "            _signal.raise_signal(_signal.SIGINT)\n"
        "sys.meta_path.insert(0, Stop())\n"
        "from debriscount_cli.start import main; main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "--version"], capture_output=True, check=False, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (130, b"", b"stopped, nothing written\n")


def test_a_stream_of_lines_keeps_them_and_hides_its_bytes() -> None:
    under = io.StringIO()
    stream = PlainStream(under, "standard output")
    assert stream.write("a\tb\n\x1b[31mc") == 10
    assert under.getvalue() == "a\tb\n\N{REPLACEMENT CHARACTER}[31mc"
    assert stream.getvalue() == under.getvalue()
    assert not hasattr(stream, "buffer")


def test_a_reader_that_has_had_enough_is_no_error_of_ours() -> None:
    class Broken(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

        def flush(self) -> None:
            raise OSError(5, "Input/output error")

    stream = PlainStream(Broken(), "standard output")
    with pytest.raises(BrokenPipeError):
        stream.write("a")
    with pytest.raises(OutputError, match=r"standard output: cannot be written \(Input/output error\)"):
        stream.flush()
