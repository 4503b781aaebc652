"""The table in calibration/README.md says what the shipped debris files say."""

import math
import re
from pathlib import Path

import pytest

from debriscount.inputs.debris_file import read_debris, read_debris_files

ROOT = Path(__file__).parents[1] / "calibration"
FILES = sorted((ROOT / "debris").glob("*.toml"))
ROW = re.compile(
    r"^\| debris/(?P<file>\S+\.toml) \| .+ \| (?P<small>\S+) to (?P<large>\S+) \| (?P<grain>\S+) \| (?P<area>\S+) \| (?P<origin>\S+) \|"
)
TABLE = {
    row["file"]: row
    for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    if (row := ROW.match(line))
}
#: What the first lines of a file say, by its origin.
SAID = {
    "modelled": r"modelled in debriscount's rendered test scenes",
    "published": r"abstract of a paper:.*g per 1000.*\((Isik|J\. Agric\. Eng\.).*20\d\d\)",
    "simulated": r"Masses learned from photos of \d+ weighed portions on 20\d\d-\d\d-\d\d by debriscount portion",
}
#: Published mass of a thousand grains, g, and size of the area seen from above, mm; sources in the files.
#: *Published*: Isik 2007 and Isik & Izli 2016 (area by the diameter that it has), J. Agric. Eng. (India) 55(2) 2018.
PUBLISHED = {
    "green-lentils.toml": (72.0, math.pi / 4 * 6.72 * 6.72),
    "yellow-lentils.toml": (15.1, math.pi / 4 * 4.29 * 4.29),
    "millet.toml": (5.25, math.pi / 4 * 2.22 * 2.08),
}


def files_of(origin: str) -> list[Path]:
    return [path for path in FILES if TABLE[path.name]["origin"] == origin]


def test_the_table_names_every_file_and_no_other() -> None:
    assert sorted(TABLE) == [path.name for path in FILES]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_table_says_what_the_file_says(path: Path) -> None:
    kind, row = read_debris(path), TABLE[path.name]
    assert kind.size_mm == (float(row["small"]), float(row["large"]))
    # The table rounds what was learned from photos.
    rel = 1e-3 if row["origin"] == "simulated" else 1e-9
    assert kind.grain_mass_mg == pytest.approx(float(row["grain"]), rel=rel)
    assert kind.area_mass_mg_per_mm2 == pytest.approx(float(row["area"]), rel=rel)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_says_where_its_values_come_from(path: Path) -> None:
    head = " ".join(path.read_text(encoding="utf-8").split("[debris]")[0].replace("#", " ").split())
    assert re.search(SAID[TABLE[path.name]["origin"]], head)


def test_published_files_follow_from_the_published_grains() -> None:
    """The published projected areas lie a few percent above those of the published diameters, rounder grains' would."""
    assert sorted(PUBLISHED) == [path.name for path in files_of("published")]
    for path in files_of("published"):
        kind, (thousand_g, area_mm2) = read_debris(path), PUBLISHED[path.name]
        assert kind.grain_mass_mg == thousand_g  # a thousand grains in grams is one in milligrams
        assert kind.area_mass_mg_per_mm2 == pytest.approx(thousand_g / area_mm2, rel=0.07)
        small, large = kind.size_mm
        assert small**2 < 4 / math.pi * area_mm2 < large**2


def test_only_simulated_portions_were_weighed_and_the_file_admits_it() -> None:
    assert [path for path in FILES if read_debris(path).calibration is not None] == files_of("simulated")
    assert files_of("simulated")
    for path in files_of("simulated"):
        how = read_debris(path).calibration
        assert how is not None
        assert "simulated" in how.remark
        assert "nothing real was weighed" in how.remark
        assert len({sha for portion in how.portions for sha in portion.sha256}) == len(how.portions)


@pytest.mark.parametrize("path", files_of("simulated"), ids=lambda path: path.stem)
def test_learned_masses_agree_with_the_portions_in_the_file(path: Path) -> None:
    """Independent: the plain weighted ratio; the photo's area is what the file's portions list."""
    kind = read_debris(path)
    how = kind.calibration
    assert how is not None
    assert kind.area_mass_mg_per_mm2 is not None
    ratio = 1000 * sum(p.grams for p in how.portions) / sum(p.area_mm2 for p in how.portions)
    assert kind.area_mass_mg_per_mm2 == pytest.approx(ratio, abs=2.5 * how.u_area_mass_mg_per_mm2)
    assert kind.grain_mass_mg == pytest.approx(how.thousand_grain_mass_g, rel=0.05)


def test_no_two_files_share_a_name() -> None:
    assert len(read_debris_files(FILES)) == len(FILES)
