"""The table in reference_images/README.md is true, and every truth.json adds up."""

import hashlib
import json
import re
from pathlib import Path

import pytest
from PIL import Image

from debriscount.demo import CAMPAIGN, SCENES
from debriscount.inputs.debris_file import read_debris_files
from debriscount.inputs.patch_file import read_patch

ROOT = Path(__file__).parents[1] / "reference_images"
ROW = re.compile(r"^\| (?P<file>\S+\.\w+) \| .+ \| .+ \| free to copy \| (?P<size>\d+) \| (?P<sha256>[0-9a-f]{64}) \|$")
TABLE = {
    row["file"]: row
    for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    if (row := ROW.match(line))
}
OF_THE_README = ["demo-page.jpg", "demo-result.jpg"]
FILES = sorted(path.relative_to(ROOT).as_posix() for scene in SCENES for path in (ROOT / scene).iterdir())
CAMPAIGN_FILES = sorted(path for path in (ROOT / CAMPAIGN).rglob("*") if path.is_file())
CAMPAIGN_ROW = re.compile(
    r"^\| two-brushes/ \| .+ \| .+ \| free to copy \| (?P<size>\d+) \| (?P<sha256>[0-9a-f]{64}) \|$", re.M
)


def test_the_table_names_every_file_and_no_other() -> None:
    assert sorted(TABLE) == sorted([*FILES, *OF_THE_README])


@pytest.mark.parametrize("file", [*FILES, *OF_THE_README])
def test_size_and_checksum_are_as_written(file: str) -> None:
    content = (ROOT / file).read_bytes()
    assert len(content) == int(TABLE[file]["size"])
    assert hashlib.sha256(content).hexdigest() == TABLE[file]["sha256"]


def test_the_campaign_is_as_written() -> None:
    """One row for its folder: bytes of all files, and the SHA-256 of all one after the other, in the order of their names."""
    row = CAMPAIGN_ROW.search((ROOT / "README.md").read_text(encoding="utf-8"))
    assert row is not None
    contents = b"".join(path.read_bytes() for path in CAMPAIGN_FILES)
    assert len(contents) == int(row["size"]) < 1_600_000
    assert hashlib.sha256(contents).hexdigest() == row["sha256"]


def test_all_together_stay_small() -> None:
    assert sum((ROOT / file).stat().st_size for file in FILES) < 6_000_000


@pytest.mark.parametrize("file", [file for file in FILES if file.endswith(".jpg")])
def test_pictures_have_the_size_that_is_written(file: str) -> None:
    with Image.open(ROOT / file) as image:
        assert image.size == (2200, 1650)


@pytest.mark.parametrize("scene", SCENES)
def test_truth_fits_patch_and_debris(scene: str) -> None:
    folder = ROOT / scene
    patch = read_patch(folder / "patch.toml")
    kinds = read_debris_files(sorted(set(folder.glob("*.toml")) - {folder / "patch.toml"}))
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert len(truth["passes"]) == len(list(folder.glob("after*.jpg")))
    for number, passed in enumerate(truth["passes"], start=1):
        assert passed["pass"] == number
        assert set(passed["zones"]) == {"patch", *patch.zone_names()}
        assert set(passed["kinds"]) == {kind.name for kind in kinds}


@pytest.mark.parametrize("scene", SCENES)
def test_zones_add_up_to_the_patch_and_kinds_to_the_whole(scene: str) -> None:
    truth = json.loads((ROOT / scene / "truth.json").read_text(encoding="utf-8"))
    for passed in truth["passes"]:
        zones = passed["zones"]
        for when in ("before", "after"):
            for key, rounding in (("area_mm2", 0.2), ("grains", 0), ("mass_g", 0.002)):
                inside = [zones[zone][when][key] for zone in zones if zone not in ("patch", "margin")]
                assert zones["patch"][when][key] == pytest.approx(sum(inside), abs=rounding)
                kinds = [kind["zones"]["patch"][when][key] for kind in passed["kinds"].values()]
                assert zones["patch"][when][key] == pytest.approx(sum(kinds), abs=rounding)


@pytest.mark.parametrize("scene", SCENES)
def test_pickup_counts_what_was_flung_into_the_margin_as_left(scene: str) -> None:
    truth = json.loads((ROOT / scene / "truth.json").read_text(encoding="utf-8"))
    for passed in truth["passes"]:
        patch, margin = passed["zones"]["patch"], passed["zones"]["margin"]
        for key, pickup in (("area_mm2", "area"), ("grains", "count"), ("mass_g", "mass")):
            gain = margin["after"][key] - margin["before"][key]
            expected = 100 * (1 - (patch["after"][key] + gain) / patch["before"][key])
            assert patch[f"pickup_by_{pickup}_percent"] == pytest.approx(expected, abs=0.01)
