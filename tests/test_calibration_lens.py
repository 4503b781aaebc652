"""The shipped lens files read, and the table in calibration/README.md says what they say."""

import re
import tomllib
from pathlib import Path

import pytest

from debriscount.inputs.lens_file import read_lens

ROOT = Path(__file__).parents[1]
FILES = sorted((ROOT / "calibration" / "lens").glob("*.toml"))
ROW = re.compile(
    r"^\| lens/(?P<file>\S+\.toml) \| (?P<width>\d+) x (?P<height>\d+) \| (?P<photos>\d+) \| (?P<verdict>[a-z ]+) \| (?P<origin>.+) \| \S+ \|$"
)
TABLE = {
    row["file"]: row
    for line in (ROOT / "calibration" / "README.md").read_text(encoding="utf-8").splitlines()
    if (row := ROW.match(line))
}


def test_the_table_names_every_file_and_no_other() -> None:
    assert FILES
    assert sorted(TABLE) == [path.name for path in FILES]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_table_says_what_the_file_says(path: Path) -> None:
    lens, row = read_lens(path), TABLE[path.name]
    assert lens.size_px == (int(row["width"]), int(row["height"]))
    assert lens.calibration is not None
    assert lens.calibration.photos == int(row["photos"])
    assert lens.calibration.verdict == row["verdict"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_says_where_it_comes_from(path: Path) -> None:
    head = path.read_text(encoding="utf-8").split("[lens]")[0]
    assert head.startswith("#")
    assert "left01.jpg to left14.jpg of OpenCV's samples" in head


def test_lens_files_are_installed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "lens/*.toml" in project["tool"]["setuptools"]["package-data"]["debriscount._calibration"]
