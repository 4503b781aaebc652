import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.errors import InputFileError
from debriscount.inputs.toml_text import read_toml

TEXT = '''# a comment with [brackets]
top = """two
lines"""

[patch]
name = "a # b"
size.width = 3   # dotted
walls = [
    "top",       # first
    "left",
]

[[markers]]
id = 0
center_mm = [
  1.0,
  2.0 ]
[[markers]]
id = 1
"side mm" = {low = 1, high = {value = 2}}

[[zones.custom]]
name = 'x'
[[zones.custom]]
name = 'y'
when = 1979-05-27 07:32:00
'''


@pytest.mark.parametrize(
    ("place", "line"),
    [
        (("top",), 2),
        (("patch",), 5),
        (("patch", "name"), 6),
        (("patch", "size", "width"), 7),
        (("patch", "walls"), 8),
        (("patch", "walls", 1), 10),
        (("markers", 0), 13),
        (("markers", 0, "center_mm", 1), 17),
        (("markers", 1, "id"), 19),
        (("markers", 1, "side mm", "high", "value"), 20),
        (("zones", "custom", 0, "name"), 23),
        (("zones", "custom", 1, "when"), 26),
    ],
)
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_each_key_has_its_line(tmp_path: Path, place: tuple[str | int, ...], line: int, ending: str) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes(TEXT.replace("\n", ending).encode())
    assert read_toml(file, "file").line_of(place) == line


def test_a_missing_key_has_the_line_of_its_table(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text(TEXT)
    toml = read_toml(file, "file")
    assert toml.line_of(("markers", 1, "center_mm")) == 18
    assert toml.line_of(("nothing", "here")) is None
    assert str(toml.error(("nothing",), "wrong.")) == f"{file}: wrong."


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(file, "file").content == {"a": 1}


keys = st.text("abcxyz_-", min_size=1, max_size=4)
values = st.sampled_from(["1", '"]#"', "'''\n\n'''", "[1, [2,\n3]]", "{a = [1], b = 2}", "true # note"])


@given(st.dictionaries(keys, st.dictionaries(keys, values, min_size=1), max_size=5))
def test_lines_are_those_where_the_text_was_written(
    tmp_path_factory: pytest.TempPathFactory, tables: dict[str, dict[str, str]]
) -> None:
    text = ""
    expected: dict[tuple[str, ...], int] = {}
    for table, entries in tables.items():
        expected[table,] = text.count("\n") + 1
        text += f"[{table}]\n"
        for key, value in entries.items():
            expected[table, key] = text.count("\n") + 1
            text += f"{key} = {value}\n"
    file = tmp_path_factory.mktemp("toml") / "a.toml"
    file.write_text(text)
    toml = read_toml(file, "file")
    assert {place: toml.line_of(place) for place in expected} == expected


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = 1\nb 2\n", r"a\.toml line 2: not valid TOML: Expected '=' after a key.*\. Correct this line\."),
        ("a = 1\na = 2\n", r"line 2: not valid TOML: Cannot overwrite a value"),
        ("a = 1\nb = [\n", r"line 2: not valid TOML: Invalid value"),
        ("a = " + "[" * 20_000, r"a\.toml line 1: is nested too deeply"),
    ],
)
def test_bad_syntax_is_named_with_its_line(tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "a.toml"
    file.write_text(text)
    with pytest.raises(InputFileError, match=message):
        read_toml(file, "patch file")


def test_a_missing_file_a_folder_and_a_picture_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"none\.toml: there is no such file\. Give the path of the patch file\."):
        read_toml(tmp_path / "none.toml", "patch file")
    with pytest.raises(InputFileError, match=r"is a folder\. Give the path of the patch file itself\."):
        read_toml(tmp_path, "patch file")
    picture = tmp_path / "before.jpg"
    picture.write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(
        InputFileError, match=r"before\.jpg line 1: is not UTF-8 text\. Give a patch file, saved as UTF-8\."
    ):
        read_toml(picture, "patch file")


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(InputFileError, match=r"cannot be read \(Permission denied\)\. Check the file's rights\."):
        read_toml(tmp_path / "a.toml", "patch file")
