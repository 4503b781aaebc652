import sys

import pytest

from debriscount_cli._terminal import said_aside

LONG = "hall bench/patch.toml: marker 3 lies behind the wall at the top; move it in front of it. " * 2


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_what_is_said_aside_fits_a_terminal_and_is_one_line_elsewhere(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    said_aside(LONG)
    assert capsys.readouterr().err == LONG + "\n"
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    said_aside(LONG)
    lines = capsys.readouterr().err.splitlines()
    assert max(map(len, lines)) <= min(columns, 80)
    assert " ".join(" ".join(lines).split()) == LONG.strip()


def test_a_path_stays_whole(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    path = "/" + "very-long-folder/" * 8 + "patch.toml"
    said_aside(f"wrote {path}: as asked")
    assert path in capsys.readouterr().err
