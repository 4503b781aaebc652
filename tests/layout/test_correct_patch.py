from pathlib import Path

import pytest

from debriscount.errors import InputFileError, OutputError, SheetError
from debriscount.inputs.patch_file import read_patch
from debriscount.layout.correct_patch import correct_patch_file, corrected_text

TEXT = """\
# our bench, measured in March
[patch]
name = "hall bench"   # by the window
width_mm = 600
height_mm = 400
walls = []

[[markers]]
side_mm = 50.0   # nominal
id = 0
center_mm = [-100.0, 30.0]
[[markers]]
id = 1
center_mm = [700, 30.0]
side_mm=60
[[markers]]
id = 2
center_mm = [700.5, 480.0]
side_mm = 50.0
"""
REMARK = (
    "# side_mm corrected: the printed ruler of 100 mm measured 97.5 mm, so every side_mm was multiplied by 0.975.\n"
)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "patch.toml"
    path.write_text(TEXT)
    return path


def test_sides_alone_change_and_a_remark_says_so(file: Path) -> None:
    correct_patch_file(file, 97.5, file)
    expected = TEXT.replace("side_mm = 50.0", "side_mm = 48.75").replace("side_mm=60", "side_mm=58.5")
    assert file.read_text() == REMARK + expected
    assert [marker.side_mm for marker in read_patch(file).markers] == [48.75, 58.5, 48.75]
    assert list(file.parent.iterdir()) == [file]


def test_another_file_may_receive_it(file: Path) -> None:
    out = file.with_name("printed.toml")
    correct_patch_file(file, 102.0, out)
    assert file.read_text() == TEXT
    assert [marker.side_mm for marker in read_patch(out).markers] == [51.0, 61.2, 51.0]


def test_line_endings_and_byte_order_mark_stay(file: Path) -> None:
    file.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    correct_patch_file(file, 97.5, file)
    content = file.read_bytes()
    assert content.startswith(b"\xef\xbb\xbf# side_mm corrected")
    assert content.count(b"\n") == content.count(b"\r\n") == TEXT.count("\n") + 1
    assert read_patch(file).markers[0].side_mm == 48.75


def test_markers_in_one_line_are_corrected_too() -> None:
    text = "markers = [ {id=0, side_mm = 50}, # c\n  {id=1, side_mm = 40.0 } ]\n"
    assert corrected_text(text, 90, "p").endswith(
        "markers = [ {id=0, side_mm = 45.0}, # c\n  {id=1, side_mm = 36.0 } ]\n"
    )


def test_a_file_is_corrected_once(file: Path) -> None:
    correct_patch_file(file, 97.5, file)
    once = file.read_text()
    words = r"patch\.toml: its side_mm are corrected already, for a ruler that measured 97\.5 mm\. If the squares were"
    with pytest.raises(SheetError, match=words):
        correct_patch_file(file, 97.5, file)
    file.write_text("# moved here\n\n" + once)  # wherever the remark stands
    with pytest.raises(SheetError, match="corrected already"):
        correct_patch_file(file, 98, file)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (100, "the printed ruler measures 100 mm: the squares have their true size, there is nothing to correct."),
        (89.9, r"printed ruler of 89\.9 mm: that is more than 10 % off\. Read it again, in millimetres from its first"),
        (110.1, r"if it is right, print the sheet again at 100 %\."),
        (9.75, r"printed ruler of 9\.75 mm"),
        (-97.5, "printed ruler of -97.5 mm"),
        (float("nan"), "printed ruler of nan mm"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(file: Path, reading: float, words: str) -> None:
    with pytest.raises(SheetError, match=words):
        correct_patch_file(file, reading, file)
    assert file.read_text() == TEXT


def test_the_ends_of_the_range_are_taken() -> None:
    assert "side_mm = 45.0" in corrected_text(TEXT, 90, "p")
    assert "side_mm = 55.0" in corrected_text(TEXT, 110, "p")


def test_only_a_patch_file_is_corrected(file: Path, tmp_path: Path) -> None:
    with pytest.raises(
        SheetError, match=r"sheet\.pdf: a printed ruler corrects the patch file\. Give a \.toml file as"
    ):
        correct_patch_file(file, 97.5, tmp_path / "sheet.pdf")
    with pytest.raises(InputFileError, match="there is no such file"):
        correct_patch_file(tmp_path / "none.toml", 97.5, file)
    other = tmp_path / "other.toml"
    other.write_text("mine")
    with pytest.raises(OutputError, match=r"other\.toml: is there already\. Choose another name, or add --overwrite"):
        correct_patch_file(file, 97.5, other)
    assert other.read_text() == "mine"
    correct_patch_file(file, 97.5, other, overwrite=True)
    assert other.read_text().startswith(REMARK)
