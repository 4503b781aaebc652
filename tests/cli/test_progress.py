import io
import sys

import pytest

from debriscount_cli._progress import progress_bar, share_of


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
