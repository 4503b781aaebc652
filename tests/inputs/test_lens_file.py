from dataclasses import replace
from pathlib import Path

import pytest

from debriscount.errors import InputFileError, LensError, OutputError
from debriscount.inputs.lens import CameraLens, LensCalibration
from debriscount.inputs.lens_file import check_lens_name, lens_toml, read_lens, refuse_other_files, write_lens

HOW = LensCalibration(
    date="2026-11-25", photos=13, rms_px=0.1841, coverage_percent=70.83, reach_percent=73.34, verdict="usable", reasons=('corners reach 73 % of "it"',),
    u_focal_px=(0.413, 0.432), u_center_px=(0.436, 0.48), u_radial=(0.00511, 0.0391, 0.0834), u_tangential=(0.000105, 0.000132),
)  # fmt: skip
LENS = CameraLens(
    name="grey phone, \"main\"", size_px=(640, 480), focal_px=(532.92826, 533.02231), center_px=(342.35688, 233.88167),
    radial=(-0.28414, 0.05342, 0.10391), tangential=(0.0011167, -0.0001445), focal_length_mm=4.2, calibration=HOW,
)  # fmt: skip
TEXT = lens_toml(LENS)


def written(folder: Path, old: str = "", new: str = "") -> Path:
    assert old in TEXT
    file = folder / "lens.toml"
    file.write_text(TEXT.replace(old, new, 1), encoding="utf-8")
    return file


def test_what_is_written_is_read(tmp_path: Path) -> None:
    assert read_lens(write_lens(LENS, tmp_path / "new" / "lens.toml", "From a test.\nOf two lines.")) == LENS
    lines = (tmp_path / "new" / "lens.toml").read_text(encoding="utf-8").splitlines()
    assert lines[:4] == ["# From a test.", "# Of two lines.", "", "[lens]"]


def test_how_it_was_learnt_and_small_terms_may_be_left_out(tmp_path: Path) -> None:
    file = tmp_path / "lens.toml"
    file.write_text(
        '[lens]\nname = "by hand"\nsize_px = [4000, 3000]\nfocal_px = [3000, 3000]\ncenter_px = [1999.5, 1499.5]\nk1 = -0.02\n'
    )
    expected = CameraLens(
        name="by hand",
        size_px=(4000, 3000),
        focal_px=(3000.0, 3000.0),
        center_px=(1999.5, 1499.5),
        radial=(-0.02, 0.0, 0.0),
        tangential=(0.0, 0.0),
        focal_length_mm=None,
        calibration=None,
    )
    assert read_lens(file) == expected
    assert read_lens(write_lens(expected, file)) == expected


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[lens]", "[lense]", r'lens\.toml line 1: lense is unknown\. Did you mean "lens"\?'),
        ("name =", "nam =", r'line 2: \[lens\] nam is unknown\. Did you mean "name"\?'),
        ("size_px = [640, 480]", "size_px = [640]", r"line 3: \[lens\] size_px must hold 2 values"),
        ("size_px = [640, 480]", "size_px = [640.5, 480]", r"line 3: \[lens\] size_px value 1 must be a whole number, got 640\.5"),
        ("focal_px = [532.92826", "focal_px = [0", r"line 4: \[lens\] focal_px value 1 must be greater than 0, got 0\. Give the"),
        ("233.88167", "480", r"line 5: \[lens\] center_px lies outside of the photo, whose height is 480 px, got 480\."),
        ("k1 = -0.28414", 'k1 = "none"', r'line 6: \[lens\] k1 must be a number, got "none"\. Give the radial terms'),
        ("k2 = 0.05342", "k2 = nan", r"line 7: \[lens\] k2 must be a finite number"),
        ("k3 = 0.10391", "k3 = 1e9", r"line 8: \[lens\] k3 must be at most 100, got 1000000000\.0"),
        ("focal_length_mm = 4.2", "focal_length_mm = -1", r"line 11: \[lens\] focal_length_mm must be greater than 0"),
        ('date = "2026-11-25"', 'date = "today"', r'line 14: \[calibration\] date has the wrong form, got "today"\. Give the day'),
        ('verdict = "usable"', 'verdict = "fine"', r'\[calibration\] verdict has the wrong form, got "fine"\. Give "good", "usable"'),
        ("rms_px = 0.1841\n", "", r"line 13: \[calibration\] lacks rms_px\. Give the residual"),
        ("u_k1 = 0.00511", "u_k1 = -1", r"\[calibration\] u_k1 must be at least 0, got -1"),
    ],
)  # fmt: skip
def test_faults_are_told_with_their_line(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(InputFileError, match=message):
        read_lens(written(tmp_path, old, new))


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"none\.toml: there is no such file\. Give the path of the lens file\."):
        read_lens(tmp_path / "none.toml")


def test_a_lens_file_is_replaced(tmp_path: Path) -> None:
    file = written(tmp_path)
    other = replace(LENS, name="other", calibration=None)
    assert read_lens(write_lens(other, file)) == other


@pytest.mark.parametrize("text", ['[debris]\nname = "sand"\n', "notes", ""])
def test_anything_else_is_not_replaced(tmp_path: Path, text: str) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(text)
    with pytest.raises(OutputError, match=r"mine\.toml: is there already and is no lens file\. Choose another name\."):
        write_lens(LENS, file)
    assert file.read_text() == text
    assert [path.name for path in tmp_path.iterdir()] == ["mine.toml"]


def test_a_folder_is_not_replaced(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is there already and is no lens file"):
        refuse_other_files(tmp_path)
    refuse_other_files(tmp_path / "new.toml")


def test_a_lens_is_not_named_such_that_its_file_could_not_be_read() -> None:
    check_lens_name("hall camera 24 mm")
    with pytest.raises(LensError, match=r"the name of the lens must not hold control characters.*--name"):
        check_lens_name("a\x1bb")
