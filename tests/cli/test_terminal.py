import io
import sys

import pytest

from debriscount_cli._terminal import progress_bar, said_aside, share_of

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


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_is_shown_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    with progress_bar(wanted=True) as progress:
        assert progress is None
    assert pipe.getvalue() == ""


def test_nothing_is_shown_where_it_is_not_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", Terminal())
    with progress_bar(wanted=False) as progress:
        assert progress is None


def test_a_terminal_shows_what_is_being_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress_bar(wanted=True) as progress:
        assert progress is not None
        progress(0.5, "reading [before]")
    assert "reading [before]" in terminal.getvalue()


def test_several_steps_share_one_bar() -> None:
    told: list[tuple[float, str]] = []
    second = share_of(lambda done, what: told.append((done, what)), 1, 4)
    assert second is not None
    second(0.5, "counting grains")
    assert told == [(0.375, "counting grains")]
    assert share_of(None, 1, 4) is None
