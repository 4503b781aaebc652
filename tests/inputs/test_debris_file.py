from pathlib import Path

import pytest

from debriscount.errors import InputFileError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.debris_file import read_debris, read_debris_files

TEXT = """\
[debris]
name = "red lentils"
color = "#a8482C"
size_mm = [4, 6.0]
grain_mass_mg = 35.0
area_mass_mg_per_mm2 = 1.9
crowding = 0.5
"""


def written(folder: Path, old: str = "", new: str = "", name: str = "debris.toml") -> Path:
    assert old in TEXT
    file = folder / name
    file.write_text(TEXT.replace(old, new, 1))
    return file


def test_every_key_reaches_the_kind(tmp_path: Path) -> None:
    expected = DebrisKind("red lentils", (0xA8, 0x48, 0x2C), (4.0, 6.0), 35.0, 1.9, 0.5)
    assert read_debris(written(tmp_path)) == expected


def test_masses_and_crowding_may_be_left_out(tmp_path: Path) -> None:
    kind = read_debris(written(tmp_path, TEXT[TEXT.index("grain") :]))
    assert (kind.grain_mass_mg, kind.area_mass_mg_per_mm2, kind.crowding) == (None, None, 0.0)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "#a8482C",
            "a8482c",
            r'line 3: \[debris\] color has the wrong form, got "a8482c"\. Write the colour as "#rr',
        ),
        ("#a8482C", "#a84", r'line 3: \[debris\] color has the wrong form, got "#a84"'),
        ("#a8482C", "#a8482g", r"line 3: \[debris\] color has the wrong form"),
        (
            "[4, 6.0]",
            "[6, 4]",
            r"line 4: \[debris\] size_mm must ascend, got \[6, 4\]\. Give the smaller first\.",
        ),
        ("[4, 6.0]", "[0, 4]", r"line 4: \[debris\] size_mm value 1 must be greater than 0, got 0\."),
        (
            "[4, 6.0]",
            "5",
            r"line 4: \[debris\] size_mm must be a list in square brackets, got 5\. Give the 5th and",
        ),
        ("35.0", "0", r"line 5: \[debris\] grain_mass_mg must be greater than 0, got 0\."),
        ("1.9", "-2", r"line 6: \[debris\] area_mass_mg_per_mm2 must be greater than 0, got -2"),
        ("0.5", "-0.5", r"line 7: \[debris\] crowding must be at least 0, got -0\.5\."),
        ("color", "colour", r'line 3: \[debris\] colour is unknown\. Did you mean "color"\?'),
        ('name = "red lentils"\n', "", r"line 1: \[debris\] lacks name\. Give the debris a name\."),
        (TEXT, "", r"debris\.toml: the file lacks \[debris\]\. Describe the debris under \[debris\]\."),
    ],
)
def test_a_fault_is_named_with_line_value_and_advice(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message):
        read_debris(written(tmp_path, old, new))


def test_two_files_of_one_name_are_refused(tmp_path: Path) -> None:
    first = written(tmp_path, name="a.toml")
    second = written(tmp_path, "red lentils", "Red lentils ", name="b.toml")
    with pytest.raises(InputFileError, match=r'b\.toml: the name "Red lentils" is that of .*a\.toml already'):
        read_debris_files([first, second])


def test_several_kinds_keep_their_order(tmp_path: Path) -> None:
    first = written(tmp_path, name="a.toml")
    second = written(tmp_path, "red lentils", "rice", name="b.toml")
    assert [kind.name for kind in read_debris_files([second, first])] == ["rice", "red lentils"]
    assert read_debris_files([]) == ()


CALIBRATION = """
[calibration]
date = "2026-11-25"
patch = "hall bench"
u_area_mass_mg_per_mm2 = 0.01
[[calibration.portions]]
photos = ["a.jpg"]
sha256 = ["0000000000000000000000000000000000000000000000000000000000000000"]
grams = 20.1
u_grams = 0.04
area_mm2 = 11500
"""


def test_a_calibration_tells_where_masses_come_from(tmp_path: Path) -> None:
    file = tmp_path / "debris.toml"
    file.write_text(TEXT + CALIBRATION)
    found = read_debris(file).calibration
    assert found is not None
    assert (found.date, found.patch, found.u_area_mass_mg_per_mm2) == ("2026-11-25", "hall bench", 0.01)
    assert [(p.photos, p.grams, p.area_mm2, p.grains) for p in found.portions] == [(("a.jpg",), 20.1, 11500, None)]
    assert read_debris(written(tmp_path)).calibration is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '["a.jpg"]',
            "[]",
            r"line 15: \[\[calibration\.portions\]\] has 0 photos and 1 sha256\. Give one or more photos",
        ),
        ("2026-11-25", "today", r'line 10: \[calibration\] date has the wrong form, got "today"\. Give the day as'),
        (
            "grams = 20.1",
            "grams = 0",
            r"line 16: \[\[calibration\.portions\]\] grams must be greater than 0, got 0\. Give",
        ),
        ("u_area", "u_are", r"\[calibration\] u_are.* is unknown\. Did you mean \"u_area_mass_mg_per_mm2\"\?"),
    ],
)
def test_a_fault_of_a_calibration_is_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    file = tmp_path / "debris.toml"
    file.write_text(TEXT + CALIBRATION.replace(old, new, 1))
    with pytest.raises(InputFileError, match=message):
        read_debris(file)
