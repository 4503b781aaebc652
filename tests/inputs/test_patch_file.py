import re
from pathlib import Path

import numpy as np
import pytest

from debriscount.errors import InputFileError
from debriscount.inputs.patch import CustomZone, Marker
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.patch_write import patch_toml

TEXT = """\
[patch]
name = "hall bench"
width_mm = 600
height_mm = 400
walls = ["top", "left"]
[[markers]]
id = 0
center_mm = [-40.0, 30.0]
side_mm = 50.0
[[markers]]
id = 1
center_mm = [700, 30.0]
side_mm = 50.0
[[markers]]
id = 2
center_mm = [700.5, 480.0]
side_mm = 50.0
[zones]
edge_mm = 25
corner_mm = 55
margin_mm = 65
"""
CUSTOM = """\
[[zones.custom]]
name = "mat"
polygon_mm = [[0, 0], [90, 0], [90, 80]]
"""


def written(folder: Path, old: str = "", new: str = "", more: str = "") -> Path:
    assert old in TEXT
    file = folder / "patch.toml"
    file.write_text(TEXT.replace(old, new, 1) + more)
    return file


def test_every_key_reaches_the_patch(tmp_path: Path) -> None:
    patch = read_patch(written(tmp_path, more=CUSTOM))
    assert (patch.name, patch.width_mm, patch.height_mm) == ("hall bench", 600, 400)
    assert patch.walls == ("top", "left")
    assert patch.markers[2] == Marker(2, (700.5, 480.0), 50.0)
    assert (patch.edge_mm, patch.corner_mm, patch.margin_mm) == (25, 55, 65)
    assert patch.custom_zones == (CustomZone("mat", ((0, 0), (90, 0), (90, 80))),)
    assert isinstance(patch.width_mm, float)


def test_zones_may_be_left_out(tmp_path: Path) -> None:
    patch = read_patch(written(tmp_path, TEXT[TEXT.index("[zones]") :]))
    assert (patch.edge_mm, patch.corner_mm, patch.margin_mm) == (30, 60, 60)


def test_a_small_patch_without_walls_may_be_narrower_than_the_usual_corner(tmp_path: Path) -> None:
    text = re.sub(r"(width|height)_mm = \d+", r"\1_mm = 50", TEXT).replace('["top", "left"]', "[]")
    file = tmp_path / "patch.toml"
    file.write_text(text)
    assert read_patch(file).zone_names() == ("open", "margin")


WRONG = [
    ("600", "-600", r"patch\.toml line 3: \[patch\] width_mm must be greater than 0, got -600\."
     r" Give the patch's width in millimetres\."),
    ("600", "100001", "line 3: .*width_mm must be at most 100000, got 100001"),
    ("600", '"600"', 'line 3: .*width_mm must be a number, got "600"'),
    ("600", "true", "line 3: .*width_mm must be a number, got true"),
    ("600", "inf", "line 3: .*width_mm must be a finite number, got inf"),
    ("400", "nan", "line 4: .*height_mm must be a finite number, got nan"),
    ("width_mm", "widht_mm", r'line 3: \[patch\] widht_mm is unknown\. Did you mean "width_mm"\?'),
    ("edge_mm", "rim", r"line 19: \[zones\] rim is unknown\. Known are: edge_mm, corner_mm, margin_mm, custom\."),
    ("[zones]", "[zone]", r'line 18: zone is unknown\. Did you mean "zones"\?'),
    ("width_mm = 600\n", "", r"line 1: \[patch\] lacks width_mm\. Give the patch's width in millimetres\."),
    ("id = 1\n", "", r"line 10: \[\[markers\]\] lacks id\. Give the number of the printed square"),
    (TEXT[: TEXT.index("[[")], "", r"patch\.toml: the file lacks \[patch\]\. Describe the patch under \[patch\]\."),
    ('"hall bench"', '" "', r'line 2: \[patch\] name must not be empty, got " "'),
    ('"hall bench"', "3", "line 2: .*name must be text in quotes, got 3"),
    ("[patch]", "[[patch]]", r"line 1: patch must be a table, written \[patch\], got \["),
    ('["top", "left"]', '"top"', 'line 5: .*walls must be a list in square brackets, got "top"'),
    ('["top", "left"]', '["top", 3]', r"line 5: .*walls value 2 must be text in quotes, got 3"),
    ('["top", "left"]', '["top", "lefft"]', r'line 5: .*walls has no side "lefft"\. Did you mean "left"\?'),
    ('["top", "left"]', '["left", "left"]', r'line 5: .*walls names "left" twice\. Name each wall once\.'),
    ("edge_mm = 25", "edge_mm = -1", r"line 19: \[zones\] edge_mm must be at least 0, got -1\."),
    ("corner_mm = 55", "corner_mm = -1", r"line 20: \[zones\] corner_mm must be at least 0"),
    ("margin_mm = 65", "margin_mm = -1", r"line 21: \[zones\] margin_mm must be at least 0"),
    ("edge_mm = 25", "edge_mm = 400", r"line 19: \[zones\] edge_mm must be less than the patch's height of 400 mm,"
     r" got 400\. Give a narrower edge\."),
    ("corner_mm = 55", "corner_mm = 700", "line 20: .*corner_mm must be less than the patch's height of 400 mm"),
    ("id = 1", "id = 0", r"line 11: \[\[markers\]\] id 0 stands on line 7 already\. Give each marker an id of its own"),
    ("id = 1", "id = 50", r"line 11: \[\[markers\]\] id must be at most 49, got 50\."),
    ("id = 1", "id = -1", r"line 11: \[\[markers\]\] id must be at least 0, got -1\."),
    ("id = 1", "id = 1.0", r"line 11: \[\[markers\]\] id must be a whole number, got 1\.0"),
    ("[700, 30.0]", "[700]", r"line 12: \[\[markers\]\] center_mm must hold 2 values, got \[700\]"),
    ("[700, 30.0]", "[7, 8, 9]", r"line 12: \[\[markers\]\] center_mm must hold 2 values, got \[7, 8, 9\]"),
    ("[700, 30.0]", '[700, "x"]', r'line 12: \[\[markers\]\] center_mm value 2 must be a number, got "x"'),
    ("[700, 30.0]", "[610, 30]", r"line 12: .*center_mm puts marker 1 at \[610, 30\], where its 50 mm square hides"
     r" floor of the patch\. Lay it outside, or measure its centre again\."),
    ("[700.5, 480.0]", "[720, 50]", r"line 16: markers 1 and 2 overlap\. Measure their centres again\."),
    ("[700.5, 480.0]", "[900, 40]", "line 6: all markers lie on one line"),
    ("[[markers]]\nid = 2\ncenter_mm = [700.5, 480.0]\nside_mm = 50.0\n", "",
     r"line 6: the file lists 2 of at least 3 markers\. Lay three or more around the patch"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), WRONG)
def test_a_fault_is_named_with_line_value_and_advice(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message) as caught:
        read_patch(written(tmp_path, old, new))
    assert "\n" not in str(caught.value)


def test_markers_as_one_table_are_shown_the_double_brackets(tmp_path: Path) -> None:
    file = tmp_path / "patch.toml"
    file.write_text(TEXT[: TEXT.index("[[")] + "[markers]\nid = 0\ncenter_mm = [-90, 0]\nside_mm = 50\n")
    with pytest.raises(InputFileError, match=r"line 6: markers must be written \[\[markers\]\], once for each, got"):
        read_patch(file)


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            CUSTOM.replace("mat", "edge"),
            r'line 23: \[\[zones\.custom\]\] name "edge" is taken\. Choose another\.',
        ),
        (CUSTOM.replace("mat", "patch"), r'line 23: .*name "patch" is taken'),
        (
            CUSTOM + CUSTOM,
            r'line 26: \[\[zones\.custom\]\] name "mat" stands on line 23 already\. Choose another\.',
        ),
        (
            CUSTOM.replace(", [90, 80]", ""),
            r'line 24: .*polygon_mm of "mat" must have at least 3 points, got 2\.',
        ),
        (
            CUSTOM.replace("80]", "0]"),
            r'line 24: .*polygon_mm of "mat" encloses less than 1 mm²\. Give its corners in',
        ),
        (
            CUSTOM.replace("80]", "80, 1]"),
            r"line 24: .*polygon_mm value 3 must hold 2 values, got \[90, 80, 1\]",
        ),
        (
            CUSTOM.replace("name", "nam"),
            r'line 23: \[\[zones\.custom\]\] nam is unknown\. Did you mean "name"\?',
        ),
        (
            CUSTOM.replace("[[", "[", 1).replace("]]", "]", 1),
            r"custom must be written \[\[zones\.custom\]\], once for",
        ),
    ],
)
def test_a_fault_of_a_custom_zone_is_named(tmp_path: Path, more: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message):
        read_patch(written(tmp_path, more=more))


CUPBOARD = """\
[[not_floor]]
name = "cupboard"
polygon_mm = [[100, 100], [300, 100], [300, 200], [100, 200]]
"""


def test_what_is_no_floor_belongs_to_no_zone_and_is_written_again(tmp_path: Path) -> None:
    patch = read_patch(written(tmp_path, more=CUPBOARD))
    assert patch.inside([99, 101, 299, 301], [150, 150, 150, 150]).tolist() == [True, False, False, True]
    again = tmp_path / "again.toml"
    again.write_text(patch_toml(patch))
    assert read_patch(again) == patch


def test_polygons_that_overlap_are_both_no_floor(tmp_path: Path) -> None:
    patch = read_patch(written(tmp_path, more=CUPBOARD + CUPBOARD.replace("300", "150")))
    assert not patch.is_floor(np.array([120.0, 250.0]), np.array([150.0, 150.0])).any()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[[100, 100], [300, 100], [300, 200], [100, 200]]", "[[100, 100], [300, 100]]", "at least 3 points"),
        ("[[100, 100], [300, 100], [300, 200], [100, 200]]", "[[-9, -9], [700, -9], [700, 500]]", None),
        ("[[100, 100], [300, 100], [300, 200], [100, 200]]", "[[-9, -9], [1700, -9], [-9, 1500]]", "leaves no floor"),
        ('name = "cupboard"\n', "", "name"),
    ],
)
def test_what_is_no_floor_is_checked(tmp_path: Path, old: str, new: str, words: str | None) -> None:
    file = written(tmp_path, more=CUPBOARD.replace(old, new))
    if words is None:
        read_patch(file)
        return
    with pytest.raises(InputFileError, match=words):
        read_patch(file)


def test_a_square_inside_the_patch_needs_its_place_to_be_no_floor(tmp_path: Path) -> None:
    inside = "center_mm = [200.0, 150.0]"
    with pytest.raises(InputFileError, match="hides floor"):
        read_patch(written(tmp_path, "center_mm = [-40.0, 30.0]", inside))
    assert read_patch(written(tmp_path, "center_mm = [-40.0, 30.0]", inside, CUPBOARD)).markers[0].id == 0
