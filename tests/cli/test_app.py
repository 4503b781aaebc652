import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

import debriscount
from debriscount.errors import DebriscountError, MarkerError, OutputError, ShotOrderError
from debriscount.inputs import exchange
from debriscount_cli._group import ErrorsToExitCodes
from debriscount_cli._stop import stopped_line
from debriscount_cli.app import app

RUNNER = CliRunner()


def app_that_raises(error: BaseException) -> typer.Typer:
    raising = typer.Typer(cls=ErrorsToExitCodes, pretty_exceptions_enable=False)

    @raising.command()
    def fail() -> None:
        raise error

    @raising.callback()
    def group() -> None:
        pass

    return raising


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (DebriscountError("a.toml: wrong."), 2),
        (MarkerError("b.jpg: two\nlines"), 3),
        (OutputError("c: full"), 2),
        (ShotOrderError("d.jpg: exchanged?"), 2),
    ],
)
def test_our_errors_are_one_line_on_stderr_and_an_exit_code(error: DebriscountError, code: int) -> None:
    result = RUNNER.invoke(app_that_raises(error), ["fail"])
    assert result.exit_code == code
    assert result.stderr == " ".join(str(error).split("\n")) + "\n"
    assert result.stdout == ""


def test_an_interrupt_is_an_exit_code() -> None:
    """The line about it is printed where the process ends (`test_start.py`)."""
    result = RUNNER.invoke(app_that_raises(KeyboardInterrupt()), ["fail"])
    assert (result.exit_code, result.output) == (130, "")


@pytest.mark.parametrize(
    ("folders", "line"),
    [
        ([], "stopped, nothing written"),
        ([Path("out"), Path("out")], "stopped; what was written before is whole: out"),
    ],
)
def test_what_is_said_of_an_interrupt_is_true(monkeypatch: pytest.MonkeyPatch, folders: list[Path], line: str) -> None:
    monkeypatch.setattr(exchange, "_written", folders)
    assert stopped_line() == line


def test_a_bug_keeps_its_traceback() -> None:
    result = RUNNER.invoke(app_that_raises(RuntimeError("a bug")), ["fail"])
    assert result.exit_code == 1
    assert isinstance(result.exception, RuntimeError)


def test_version_and_help() -> None:
    assert RUNNER.invoke(app, ["--version"]).stdout == f"debriscount {debriscount.__version__}\n"
    for arguments in (["--help"], ["-h"], ["measure", "-h"]):
        result = RUNNER.invoke(app, arguments)
        assert result.exit_code == 0
        assert "measure" in result.stdout


def test_an_unknown_option_is_exit_code_2() -> None:
    assert RUNNER.invoke(app, ["measure", "--no-such-option"]).exit_code == 2


def run_python(code: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)


@pytest.mark.parametrize("imported", ["debriscount", "debriscount_cli.app", "debriscount_cli.start"])
def test_nothing_heavy_loads_before_it_is_needed(imported: str) -> None:
    loaded = run_python(f"import sys, {imported}; print(*sys.modules)").stdout.split()
    assert not {"numpy", "scipy", "cv2", "PIL", "pydantic", "skimage", "rich.progress"} & set(loaded)


def test_the_folder_is_not_importable_by_its_own_name() -> None:
    import_module("debriscount_cli.app")
    assert "cli" not in sys.modules


def test_python_m_runs_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "debriscount_cli", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout == f"debriscount {debriscount.__version__}\n"


def test_ctrl_c_during_a_measurement_exits_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*args: Any, **kwargs: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setitem(vars(debriscount), "measure", interrupted)
    result = RUNNER.invoke(app, ["measure", "--patch", "p", "--out", "o", "b.jpg", "a.jpg"])
    assert (result.exit_code, result.output) == (130, "")
