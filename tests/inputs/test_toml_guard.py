import tomllib
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from debriscount.errors import InputFileError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.toml_guard import MOST_NESTED, line_nested_too_deeply, numbers_beyond_measure
from debriscount.inputs.toml_text import read_toml
from debriscount.inputs.weighing_file import read_weighing

ROOT = Path(__file__).parents[2]


def read(folder: Path, text: str) -> dict[str, object]:
    (folder / "a.toml").write_text(text, encoding="utf-8")
    return read_toml(folder / "a.toml", "file").content


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = " + "[" * 30 + "]" * 30, 2),
        ("a = 1\n\n" + "a." * 30 + "b = 1", 3),
        ("x = {" + "a = {" * 30, 1),
        ("[" + "a." * 100_000 + "b]", 1),
        ('s = """\n[[[[[[[[[[[[[[[[[[[[\n"""\nt = "' + "[" * 30 + '"\nu = ' + "[" * 30, 5),
        ("[" * 900_000, 1),
    ],
)
def test_nesting_beyond_use_is_told_with_its_line(tmp_path: Path, text: str, line: int) -> None:
    with pytest.raises(InputFileError, match=rf"a\.toml line {line}: is nested too deeply"):
        read(tmp_path, text)


def test_as_much_as_the_limit_is_read(tmp_path: Path) -> None:
    depth = MOST_NESTED
    assert read(
        tmp_path, "a = " + "[" * depth + "]" * depth + "\n" + "b.c = '[[[[[[[[[[[[[[[[[[[['  # ]]]] [[[[[[[[[[[[["
    )


@given(st.text(alphabet="\"'\\ab=.,[]{}#\n1", max_size=60))
@example('"""\\"""\\"""')
@example("'''''''\n[")
def test_any_text_is_walked_to_its_end(text: str) -> None:
    found = line_nested_too_deeply(text)
    assert found is None or 1 <= found <= text.count("\n") + 1


def test_quotes_without_end_take_no_longer_than_the_text() -> None:
    """A search for the end from each of them would take hours."""
    for text in ('"""\\' * 250_000, "'''" + "''\n" * 300_000, '"\\' * 400_000):
        line_nested_too_deeply(text)


@pytest.mark.parametrize("number", ["1e16", "-1e300", "0x" + "f" * 5000, "1e-50", "5e-324", "9" * 300])
def test_numbers_beyond_measure_are_told_with_their_line(tmp_path: Path, number: str) -> None:
    with pytest.raises(
        InputFileError, match=r"a\.toml line 3: a\.b must be 0, or between 1e-40 and 1e\+15, with either sign"
    ):
        read(tmp_path, f"x = 0\n[a]\nb = {number}\n")


def test_a_number_of_thousands_of_digits_is_told_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"a\.toml line 2: holds a number of too many digits\. Correct this line"):
        read(tmp_path, f"x = 0\nb = {'9' * 5000}\n")


def test_usual_numbers_are_let_through() -> None:
    content = {"a": [0, 0.0, -5.5, {"b": 1e15, "c": float("inf"), "d": float("nan"), "e": True, "f": 5e-17}]}
    assert list(numbers_beyond_measure(content)) == []


@pytest.mark.parametrize("reader", [read_patch, read_debris, read_weighing])
@pytest.mark.parametrize("value", ["9" * 5000, "1e308", "-1e308", "5e-324", "inf", "nan", "0x" + "f" * 9000])
def test_every_number_of_every_file_may_be_absurd(tmp_path: Path, reader: object, value: str) -> None:
    """Whatever stands in the place of a number, the file is refused or read: nothing else is raised."""
    assert callable(reader)
    texts = {
        read_patch: (ROOT / "reference_images" / "mixed-tile-edge" / "patch.toml").read_text(encoding="utf-8"),
        read_debris: '[debris]\nname = "a"\ncolor = "#a8482c"\nsize_mm = [4.0, 6.0]\ngrain_mass_mg = 35.0\ncrowding = 0.1\n',
        read_weighing: "[scale]\nreadability_g = 0.1\n[dispensed]\nfull_g = [152.3, 152.4]\nempty_g = 102.3\n",
    }
    lines = texts[reader].splitlines()
    for number, line in enumerate(lines):
        if any(c.isdecimal() for c in line.partition("=")[2].partition("#")[0]) and '"' not in line:
            key, _, rest = line.partition("=")
            spoilt = f"{key}= [{value}, 6.0]" if "[" in rest else f"{key}= {value}"
            (tmp_path / "a.toml").write_text("\n".join([*lines[:number], spoilt, *lines[number + 1 :]]))
            with pytest.raises(InputFileError, match=rf"a\.toml line {number + 1}"):
                reader(tmp_path / "a.toml")


def test_a_list_far_too_long_is_one_error(tmp_path: Path) -> None:
    text = (ROOT / "reference_images" / "mixed-tile-edge" / "patch.toml").read_text(encoding="utf-8")
    walls = f"walls = [{'1, ' * 50_000}]"
    spoilt = "\n".join(walls if line.startswith("walls") else line for line in text.splitlines())
    assert tomllib.loads(spoilt)
    (tmp_path / "a.toml").write_text(spoilt)
    with pytest.raises(InputFileError, match=r"\[patch\] walls .*, got \[?1") as raised:
        read_patch(tmp_path / "a.toml")
    assert len(str(raised.value)) < 400


def test_a_quoted_table_has_its_line(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('["pat\\u0063h"]\nname = "a"\n"wid\'th_mm" = 3\n')
    with pytest.raises(InputFileError, match=r"a\.toml line 3: \[patch\] wid'th_mm is unknown"):
        read_patch(tmp_path / "a.toml")
