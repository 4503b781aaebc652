"""Stills and clips by the command line."""

from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from debriscount_cli.app import app

from ..page.conftest import result  # noqa: F401
from ..report.conftest import explained, run  # noqa: F401


def test_stills_say_what_they_wrote(result: Path, tmp_path: Path) -> None:  # noqa: F811
    done = CliRunner().invoke(app, ["stills", str(result), "--out", str(tmp_path / "s"), "--size", "320x240"])
    assert done.exit_code == 0, done.output
    assert "stills of 320 x 240 px" in done.stderr
    with Image.open(tmp_path / "s" / "zones-after2.png") as still:
        assert still.size == (320, 240)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["stills", "nowhere", "--out", "s"], "holds no measurement.json"),
        (["stills", "RESULT", "--out", "s", "--size", "wide"], "is no size"),
        (["clip", "RESULT", "--out", "wipe.gif", "--size", "320x240"], "ends in none of .mp4, .webm"),
        (["clip", "RESULT", "--out", "there.mp4", "--size", "320x240"], "there.mp4"),
    ],
)
def test_what_cannot_be_is_told_and_writes_nothing(
    result: Path,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.mp4").write_text("mine")
    done = CliRunner().invoke(app, [str(result) if a == "RESULT" else a for a in arguments])
    assert done.exit_code == 2
    assert words in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["there.mp4"]
    assert (tmp_path / "there.mp4").read_text() == "mine"
