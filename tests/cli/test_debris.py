from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount.errors import InputFileError, PortionError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.debris_names import debris_files, find_debris, shipped_debris
from debriscount_cli._pinch_answers import read_numbers
from debriscount_cli.app import app

RUNNER = CliRunner()


def test_kinds_are_listed_and_copied_under_their_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    listed = RUNNER.invoke(app, ["debris", "list"]).stdout
    assert [line.split()[0] for line in listed.splitlines()[1:]] == sorted(
        path.stem for path in shipped_debris().glob("*.toml")
    )
    assert RUNNER.invoke(app, ["debris", "copy", "red lentils"]).exit_code == 0
    assert read_debris(tmp_path / "red-lentils.toml") == read_debris(find_debris("red-lentils"))
    again = RUNNER.invoke(app, ["debris", "copy", "red-lentils"])
    assert again.exit_code == 2
    assert "is there already" in again.stderr


def test_a_campaigns_own_file_comes_first(tmp_path: Path) -> None:
    (tmp_path / "rice.toml").write_text("")
    assert find_debris("rice", tmp_path) == tmp_path / "rice.toml"
    assert find_debris("Red_Lentils", tmp_path).parent == shipped_debris()
    assert dict(debris_files(tmp_path))["rice"] == tmp_path / "rice.toml"


def test_an_unknown_name_names_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r'debris "red-lentil": .* Did you mean "red-lentils"\?'):
        find_debris("red-lentil", tmp_path)
    assert find_debris("x/y.toml") == Path("x/y.toml")


class _Grain:
    def __init__(self, likely: bool) -> None:
        self.likely = likely


class _Pinch:
    grains = tuple(_Grain(number % 2 == 0) for number in range(6))


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("likely", (1, 3, 5)),
        ("all", (1, 2, 3, 4, 5, 6)),
        ("1-3, 5", (1, 2, 3, 5)),
        ("all but 2, 4-6", (1, 3)),
        ("6", (6,)),
    ],
)
def test_outlines_are_named_as_one_writes_them(text: str, numbers: tuple[int, ...]) -> None:
    assert read_numbers(text, _Pinch()) == numbers


@pytest.mark.parametrize(
    ("text", "message"), [("7", "no outline 7: they go from 1 to 6"), ("a", 'got "a"'), ("", "must be named")]
)
def test_what_names_no_outline_is_refused(text: str, message: str) -> None:
    with pytest.raises(PortionError, match=message):
        read_numbers(text, _Pinch())
