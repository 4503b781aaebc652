import csv
import errno
import io
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from debriscount.errors import OutputError
from debriscount.pickup.records import Amount
from debriscount.registration.grid import FloorGrid
from debriscount.report import count as count_module
from debriscount.report.caption import PAPER, Caption
from debriscount.report.count import count_grains_csv, count_json, count_text, count_zones_csv, draw_count, write_counts
from debriscount.report.folder import MARK
from debriscount.report.formats import CountRecord
from debriscount.report.rounding import UNKNOWN
from debriscount.report.write import write_measurement
from debriscount.run.records import Counted, Measurement

from .described import described

NAMES = ["count.json", "zones.csv", "grains.csv", "overlay-before größer.jpg", "overlay-leftovers.jpg"]


@pytest.fixture
def on_patch(run: Measurement) -> Counted:
    """The made-up run's *before*, as if it had been counted alone."""
    shot = run.shots[0]
    lentils, sand = (kind.name for kind in run.kinds)
    zones = {
        "patch": Amount(50.265482, 7, None, (6, 9)),
        "rug": Amount(0.01, 1, None, (1, 1)),
        "margin": Amount(12.566371, 1, None, (1, 1)),
        "open": Amount(25.140741, 5, None, (4, 1234)),
        "edge": Amount(12.566371, 1, None, (1, 1)),
        "corner": Amount(12.566371, 1, None, (1, 1)),
    }
    return Counted(
        file=shot.file,
        sha256=shot.sha256,
        blank_file="blank.jpg",
        blank_sha256="cd" * 32,
        patch=run.patch,
        region=None,
        mm_per_px=None,
        grid=run.grid,
        kinds=run.kinds,
        zones=zones,
        by_kind={lentils: zones, sand: {"patch": Amount(0.03, 3, 0.001234567)}},
        grains=shot.grains,
        floor_view=shot.floor_view,
        kind_map=shot.kind_map,
        warnings=("the blank is dark",),
    )


@pytest.fixture
def on_region(on_patch: Counted) -> Counted:
    """The same pixels as a picture without markers: one zone, one kind."""
    amount = Amount(62.831853, 8, 0.1, (8, 8))
    grains = replace(on_patch.grains, zone=np.zeros(8, np.int8), kind=np.zeros(8, np.int16))
    return replace(
        on_patch,
        file="/photos/leftovers.png",
        blank_file="",
        blank_sha256="",
        patch=None,
        region=(10, 20, 2400, 2000),
        mm_per_px=0.05,
        grid=FloorGrid(0.05, 0.05, 0.1, 1000, 1200),
        kinds=on_patch.kinds[:1],
        zones={"patch": amount},
        by_kind={on_patch.kinds[0].name: {"patch": amount}},
        grains=grains,
        kind_map=np.minimum(on_patch.kind_map, 1),
        warnings=(),
    )


def test_the_record_has_the_designs_shape(on_patch: Counted, on_region: Counted) -> None:
    record = json.loads(json.dumps(count_json([on_patch, on_region]), allow_nan=False))
    assert described(CountRecord, record)
    assert record["format"] == "debriscount/count/1"
    first, second = record["photos"]
    assert (first["file"], first["sha256"]) == ("before größer.jpg", "ab" * 32)
    assert first["blank"] == {"file": "blank.jpg", "sha256": "cd" * 32, "taken": None, "camera": second["camera"]}
    assert (first["taken"], second["taken"]) == (None, None)
    assert list(first["zones"]) == ["patch", "open", "edge", "corner", "margin", "rug"]
    assert first["zones"]["patch"] == {
        "area_mm2": 50.265,
        "grains": 7,
        "grains_interval95": [6, 9],
        "mass_g": None,
    }
    assert first["kinds"]['"fine" sand']["zones"]["patch"] == {
        "area_mm2": 0.03,
        "grains": 3,
        "grains_interval95": None,
        "mass_g": 0.00123,
    }
    assert first["kinds"]["rote Linsen, groß"]["color"] == "#a8482c"
    assert first["patch"]["width_mm"] == 100
    assert (first["region"], first["mm_per_px"]) == (None, None)
    assert first["warnings"] == ["the blank is dark"]
    assert second["file"] == "leftovers.png"
    assert (second["patch"], second["blank"]) == (None, None)
    assert (second["region"], second["mm_per_px"]) == ([10, 20, 2400, 2000], 0.05)
    assert second["grid"] == {"x0_mm": 0.05, "y0_mm": 0.05, "mm_per_px": 0.1, "width_px": 1200, "height_px": 1000}
    assert second["zones"] == {"patch": {"area_mm2": 62.832, "grains": 8, "grains_interval95": [8, 8], "mass_g": 0.1}}
    assert second["warnings"] == []


def test_zones_csv_has_a_line_a_photo_kind_and_zone(on_patch: Counted, on_region: Counted) -> None:
    rows = list(csv.DictReader(io.StringIO(count_zones_csv([on_patch, on_region]))))
    assert [row["zone"] for row in rows[:6]] == ["patch", "open", "edge", "corner", "margin", "rug"]
    assert {row["kind"] for row in rows[:6]} == {"all"}
    assert rows[0] == {
        "photo": "1", "file": "before größer.jpg", "kind": "all", "zone": "patch",
        "area_mm2": "50.265", "grains": "7", "mass_g": "", "grains_low95": "6", "grains_high95": "9",
    }  # fmt: skip
    assert [(row["photo"], row["kind"], row["zone"]) for row in rows[-3:]] == [
        ("1", '"fine" sand', "patch"),
        ("2", "all", "patch"),
        ("2", "rote Linsen, groß", "patch"),
    ]


def test_grains_csv_names_the_zone_of_a_region_patch(on_patch: Counted, on_region: Counted) -> None:
    rows = list(csv.DictReader(io.StringIO(count_grains_csv([on_patch, on_region]))))
    assert [row["zone"] for row in rows] == [
        "corner", "edge", "open", "open", "margin", "open", "open", "open",
        *["patch"] * 8,
    ]  # fmt: skip
    assert rows[0] == {
        "photo": "1", "file": "before größer.jpg", "kind": "rote Linsen, groß",
        "x_mm": "5.0000", "y_mm": "5.0000", "area_mm2": "12.5664", "diameter_mm": "4.0000", "zone": "corner",
    }  # fmt: skip
    assert [row["photo"] for row in rows] == ["1"] * 8 + ["2"] * 8


def test_the_table_is_for_people(on_patch: Counted, on_region: Counted) -> None:
    text = count_text([on_patch, on_region], 100)
    assert max(map(len, text.splitlines())) <= 100
    first, second = text.rstrip("\n").split("\n\n")
    lines = first.splitlines()
    assert lines[0] == ('before größer.jpg: Küche "links", hinten, 100 x 80 mm; debris: rote Linsen, groß, "fine" sand')
    assert [line.replace(UNKNOWN, "-") for line in lines[1:10]] == [
        "zone               area mm²  grains (95 %)           g",
        "patch                  50.3       7 (6 to 9)         -",
        "open                   25.1       - (4 to 1 234)     -",
        "edge                   12.6       1                  -",
        "corner                 12.6       1                  -",
        "margin                 12.6       1                  -",
        "rug                     0.0       1                  -",
        "rote Linsen, groß",
        "  patch                50.3       7 (6 to 9)         -",
    ]
    assert lines[-2].replace(UNKNOWN, "-") == "  patch                 0.0       3 (-)           0.00"
    assert lines[-1] == "Warning: the blank is dark"
    assert second.splitlines() == [
        "leftovers.png: region 10,20,2400,2000 at 0.05 mm per pixel; debris: rote Linsen, groß",
        "zone   area mm²  grains     g",
        "patch      62.8       8  0.10",
    ]


def test_a_photo_without_a_file_or_kinds_has_a_table_too(on_region: Counted) -> None:
    none = replace(on_region, file="", kinds=(), by_kind={}, zones={"patch": Amount(0.0, 0, None, (0, 0))})
    assert count_text([none]).splitlines() == [
        "photo: region 10,20,2400,2000 at 0.05 mm per pixel; debris: none",
        "zone   area mm²  grains",
        "patch       0.0       0",
    ]


def test_a_regions_picture_has_no_borders(on_region: Counted, captions: list[Caption]) -> None:
    image = draw_count(on_region)
    assert image.shape[1:] == (1200, 3)
    assert (image[1010:, 5] == PAPER).all()
    changed = (image[:1000] != on_region.floor_view).any(axis=2)
    rows, columns = np.nonzero(changed)
    # Outlines alone: within four pixels of a grain, whose largest is 20 px in radius.
    grains = on_region.grid.to_px(np.array([(5, 5), (50, 5), (50, 40), (70, 60), (105, 40)]) + 3.95 + 0.05)
    single = on_region.grid.to_px(np.array([(30.05, 30.05), (31.05, 30.05), (30.05, 60.05)]) + 3.95 + 0.05)
    away = np.stack([np.hypot(columns - x, rows - y) - 20 for x, y in grains] + [
        np.hypot(columns - x, rows - y) for x, y in single
    ]).min(axis=0)  # fmt: skip
    assert len(rows) > 100
    assert away.max() < 5
    assert captions[0].title == "leftovers.png"
    assert captions[0].figures == "Debris in the region: 62.8 mm², 8 grains, 0.10 g"
    assert [entry.text for entry in captions[0].legend] == ["rote Linsen, groß"]
    assert captions[0].note == (
        "region 10,20,2400,2000 at 0.05 mm per pixel, 0.1 mm per pixel of the floor view, measured by debriscount"
    )


def test_a_patchs_picture_shows_its_zones(on_patch: Counted, captions: list[Caption]) -> None:
    draw_count(on_patch)
    assert captions[0].title == 'before größer.jpg \N{EN DASH} Küche "links", hinten'
    assert captions[0].figures == "Debris in the patch: 50.3 mm², 7 grains"
    legend = [entry.text for entry in captions[0].legend]
    assert legend == ["rote Linsen, groß", '"fine" sand', "border of the patch", "border of a zone", "not measured"]


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_all_files_are_written_into_a_new_folder(on_patch: Counted, on_region: Counted, tmp_path: Path) -> None:
    out = tmp_path / "tests in März" / "portions"
    counts = [on_patch, on_region]
    assert write_counts(counts, out) == [out / name for name in NAMES]
    assert sorted(_contents(out)) == sorted(NAMES)
    record = json.loads((out / "count.json").read_text(encoding="utf-8"))
    assert record == json.loads(json.dumps(count_json(counts)))
    assert (out / "zones.csv").read_text(encoding="utf-8") == count_zones_csv(counts)
    assert (out / "grains.csv").read_text(encoding="utf-8") == count_grains_csv(counts)
    with Image.open(out / "overlay-leftovers.jpg") as picture:
        picture.load()
        assert picture.width == 1200
        assert picture.info["comment"] == MARK


def test_every_photo_has_a_picture_of_its_own(on_region: Counted, tmp_path: Path) -> None:
    files = ["a.jpg", "A.png", "a-2.jpg", "a.jpg", "", "photo.jpg"]
    written = write_counts([replace(on_region, file=file) for file in files], tmp_path)
    assert [path.name for path in written[3:]] == [
        "overlay-a.jpg", "overlay-A-2.jpg", "overlay-a-2-2.jpg", "overlay-a-3.jpg",
        "overlay-photo.jpg", "overlay-photo-2.jpg",
    ]  # fmt: skip


def test_an_earlier_count_is_replaced_and_other_files_stay(
    on_patch: Counted, on_region: Counted, tmp_path: Path
) -> None:
    write_counts([on_patch, on_region], tmp_path)
    own = {"notes.txt": b"mine", "overlay-mine.jpg": b"my own picture", "leftovers.png": b"photo"}
    for name, content in own.items():
        (tmp_path / name).write_bytes(content)
    write_counts([on_region], tmp_path)
    contents = _contents(tmp_path)
    assert set(contents) == {"count.json", "zones.csv", "grains.csv", "overlay-leftovers.jpg", *own}
    assert {name: contents[name] for name in own} == own


def test_a_measurement_and_a_count_are_not_mixed(run: Measurement, on_region: Counted, tmp_path: Path) -> None:
    write_measurement(run, tmp_path / "run")
    write_counts([on_region], tmp_path / "count")
    before = _contents(tmp_path)
    with pytest.raises(OutputError, match=r"run: holds measurement\.json, another kind of result\. Choose another"):
        write_counts([on_region], tmp_path / "run")
    with pytest.raises(OutputError, match=r"count: holds count\.json, another kind of result\. Choose another"):
        write_measurement(run, tmp_path / "count")
    assert _contents(tmp_path) == before


def test_a_file_of_ones_own_called_like_a_record_is_no_hindrance(on_region: Counted, tmp_path: Path) -> None:
    (tmp_path / "measurement.json").write_text('{"mine": 1}')
    write_counts([on_region], tmp_path)
    assert (tmp_path / "measurement.json").read_text() == '{"mine": 1}'


def test_a_count_of_an_older_version_is_replaced(on_region: Counted, tmp_path: Path) -> None:
    write_counts([on_region], tmp_path)
    # *Frozen*, 2026-11-25: the tables' headers before counts had intervals.
    (tmp_path / "zones.csv").write_text("photo,file,kind,zone,area_mm2,grains,mass_g\n")
    (tmp_path / "grains.csv").write_text("photo,file,kind,x_mm,y_mm,area_mm2,diameter_mm,zone\n")
    write_counts([on_region], tmp_path)
    assert (tmp_path / "zones.csv").read_text(encoding="utf-8") == count_zones_csv([on_region])
    assert (tmp_path / "grains.csv").read_text(encoding="utf-8") == count_grains_csv([on_region])


@pytest.mark.parametrize("name", ["overlay-leftovers.jpg", "zones.csv", "count.json"])
def test_a_file_that_is_no_result_is_never_overwritten(on_region: Counted, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"a photo that nobody can take again")
    with pytest.raises(OutputError, match=rf"{name}: is no result of debriscount and would be overwritten"):
        write_counts([on_region], tmp_path)
    assert _contents(tmp_path) == {name: b"a photo that nobody can take again"}


@pytest.mark.parametrize("failing", ["count_json", "count_grains_csv", "draw_count"])
def test_after_a_failure_nothing_is_left(
    on_region: Counted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    def full_disk(*_: object) -> str:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(count_module, failing, full_disk)
    with pytest.raises(OutputError, match="No space left on device"):
        write_counts([on_region], tmp_path / "campaign" / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("width", [60, 80, 200])
def test_the_table_fits_the_terminal(on_patch: Counted, on_region: Counted, width: int) -> None:
    assert max(map(len, count_text([on_patch, on_region], width).splitlines())) <= width
