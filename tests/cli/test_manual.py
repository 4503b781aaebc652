import pytest
from typer.testing import CliRunner

from debriscount.manual.pages import TOPICS
from debriscount_cli.app import app

RUNNER = CliRunner()


def test_the_topics_are_listed_a_line_each() -> None:
    result = RUNNER.invoke(app, ["manual"])
    assert result.exit_code == 0
    assert [line.split()[0] for line in result.stdout.split("\n\n")[0].splitlines()] == list(TOPICS)


def test_a_page_is_wrapped_to_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    result = RUNNER.invoke(app, ["manual", "safety"])
    assert result.exit_code == 0
    assert result.stdout.startswith("Safety: ")
    assert max(map(len, result.stdout.splitlines()[1:])) <= 60


def test_a_wrong_topic_is_an_error_that_names_the_nearest() -> None:
    result = RUNNER.invoke(app, ["manual", "foto"])
    assert result.exit_code == 2
    assert result.stderr == 'the manual has no topic "foto". Did you mean photos?\n'
