"""The table in calibration/README.md says what the shipped debris files say."""

import re
from pathlib import Path

import pytest

from debriscount.inputs.debris_file import read_debris, read_debris_files

ROOT = Path(__file__).parents[1] / "calibration"
FILES = sorted((ROOT / "debris").glob("*.toml"))
ROW = re.compile(
    r"^\| debris/(?P<file>\S+\.toml) \| .+ \| (?P<small>\S+) to (?P<large>\S+) \| (?P<grain>\S+) \| (?P<area>\S+) \| modelled \|"
)
TABLE = {
    row["file"]: row
    for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    if (row := ROW.match(line))
}


def test_the_table_names_every_file_and_no_other() -> None:
    assert sorted(TABLE) == [path.name for path in FILES]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_table_says_what_the_file_says(path: Path) -> None:
    kind, row = read_debris(path), TABLE[path.name]
    assert kind.size_mm == (float(row["small"]), float(row["large"]))
    assert kind.grain_mass_mg == float(row["grain"])
    assert kind.area_mass_mg_per_mm2 == float(row["area"])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_says_where_its_values_come_from(path: Path) -> None:
    assert "rendered test scenes" in path.read_text(encoding="utf-8").splitlines()[0]


def test_no_two_files_share_a_name() -> None:
    assert len(read_debris_files(FILES)) == len(FILES)
