"""A result of other photos in the folder for results: refused before anything is measured, unless told otherwise."""

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import debriscount
from debriscount.errors import DebriscountError
from debriscount_cli.app import app

RUNNER = CliRunner()


@pytest.mark.parametrize(
    ("command", "record"), [("measure", "measurement.json"), ("count", "count.json")], ids=["measure", "count"]
)
def test_a_result_of_other_photos_is_refused_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str, record: str
) -> None:
    def reached(*_: Any, **__: Any) -> None:
        raise DebriscountError("measured")

    monkeypatch.setitem(vars(debriscount), command, reached)
    photos = [tmp_path / "before.jpg", tmp_path / "after.jpg"]
    for photo in photos:
        photo.write_text(photo.name)
    out = tmp_path / "out"
    out.mkdir()
    text = f'{{"format": "debriscount/{command}/1", "photos": [{{"sha256": "{"0" * 64}"}}]}}'
    (out / record).write_text(text)
    line = [command, "--patch", "p.toml", "--out", str(out), *map(str, photos)]
    refused = RUNNER.invoke(app, line)
    assert refused.exit_code == 2
    assert "holds a result of other photos" in refused.stderr
    assert (out / record).read_text() == text
    assert RUNNER.invoke(app, [*line, "--overwrite"]).stderr == "measured\n"


def test_what_a_killed_run_left_is_put_right_even_if_the_next_fails(tmp_path: Path) -> None:
    work = tmp_path / "out" / ".out-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".plan").write_text('{"beside": "", "names": ["measurement.json", "zones.csv"]}')
    (work / ".old" / "measurement.json").write_text('{"format": "debriscount/measurement/1"}')
    (tmp_path / "out" / "zones.csv").write_text("half of the new result")
    line = ["measure", "--patch", str(tmp_path / "none.toml"), "--out", str(tmp_path / "out"), "--overwrite", "a", "b"]
    assert RUNNER.invoke(app, line).exit_code == 2
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["measurement.json"]
