import io
import json
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from debriscount_cli.app import app

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk


def run(*words: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["shot", *map(str, words)])
    return result.exit_code, result.stdout, result.stderr


def test_a_fit_shot_exits_with_0(scene: "SceneOnDisk") -> None:
    code, out, _ = run("--patch", scene.patch, "--debris", scene.debris[0], "--against", scene.blank, scene.before)
    assert code == 0
    assert out.startswith("FIT: before.jpg to measure pickup to 1 point, against blank.jpg\n")
    assert "more grains lie here than in blank.jpg." in out
    assert "\x1b" not in out
    assert "edge spread" not in out


def test_one_unfit_shot_of_several_exits_with_3(scene: "SceneOnDisk") -> None:
    code, out, _ = run(
        "--patch", scene.patch, "--debris", scene.debris[0], "--want", 0.01, "--json", scene.blank, scene.before
    )
    assert code == 3
    record = json.loads(out)
    assert [shot["file"] for shot in record["shots"]] == ["blank.jpg", "before.jpg"]


def test_details_are_printed_on_request(scene: "SceneOnDisk") -> None:
    code, out, _ = run("--patch", scene.patch, "--details", scene.before)
    assert code == 0
    assert "  edge spread" in out
    assert out.splitlines()[-1].startswith("- ") or "FIT: before.jpg" in out


@pytest.mark.parametrize("columns", [60, 80, 200])
@pytest.mark.parametrize(("terminal", "no_color"), [(True, ""), (True, "1"), (False, "")])
def test_the_verdict_is_coloured_on_a_terminal_alone(
    monkeypatch: pytest.MonkeyPatch, columns: int, terminal: bool, no_color: str
) -> None:
    """With a check that is made up, since the real one is tested above."""
    from debriscount.shot_check.records import Fitness, at_most
    from debriscount_cli import shot

    fault = at_most(
        "edge spread", 2.0, "px", 1.0, "", "Focus on the floor and hold still, or use a stand. " * 3, "blurred"
    )
    check = SimpleNamespace(check=lambda _: Fitness("b.jpg", "", 1.0, (fault,)), kinds=(), against=None)
    out = io.StringIO()
    monkeypatch.setattr(out, "isatty", lambda: terminal, raising=False)
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("NO_COLOR", no_color)
    monkeypatch.setenv("TERM", "xterm")
    assert not shot._print(check, Path("b.jpg"), details=False)
    text = out.getvalue()
    assert ("\x1b" in text) == (terminal and not no_color)
    plain = re.sub(r"\x1b\[[0-9;]*m", "", text).splitlines()
    assert plain[0] == "NOT FIT: b.jpg to measure pickup to 1 point"
    assert 1 < len(plain) <= 4
    assert max(map(len, plain)) <= min(columns, 80)


def test_bad_input_exits_with_2_in_one_line(scene: "SceneOnDisk") -> None:
    code, out, err = run("--patch", scene.patch, scene.folder / "nowhere.jpg")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "there is no such file" in err


def test_without_photo_or_folder_there_is_nothing_to_do(scene: "SceneOnDisk") -> None:
    code, _, err = run("--patch", scene.patch)
    assert code == 2
    assert "Give photos, or --watch with a folder." in err


@pytest.mark.slow
def test_photos_are_checked_as_they_arrive(scene: "SceneOnDisk", tmp_path: Path) -> None:
    words = ["--patch", str(scene.patch), "--debris", str(scene.debris[0]), "--watch", str(tmp_path)]
    watching = subprocess.Popen(
        [sys.executable, "-u", "-m", "debriscount_cli", "shot", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert watching.stderr is not None
        assert watching.stdout is not None
        assert watching.stderr.readline() == f"watching {tmp_path}; Ctrl-C ends it\n"
        (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8 no photo")
        assert "broken.jpg: is no photo that can be read" in watching.stderr.readline()
        shutil.copy(scene.before, tmp_path / "before.jpg")
        lines = iter(watching.stdout.readline, "")
        assert next(line for line in lines if "FIT" in line).startswith("FIT: before.jpg")
        time.sleep(0.1)
        watching.send_signal(signal.SIGINT)
        assert watching.wait(20) == 0
    finally:
        watching.kill()
        watching.communicate()
