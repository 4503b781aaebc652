import csv
import errno
import hashlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from debriscount.errors import OutputError
from debriscount.flags import Flag
from debriscount.leftovers.records import Explained
from debriscount.report import write
from debriscount.report.folder import MARK, prepare_folder, refuse_other_photos
from debriscount.report.record import measurement_json, read_record
from debriscount.report.tables import grains_csv, zones_csv
from debriscount.report.write import write_measurement
from debriscount.run.records import Measurement

#: Makes a record that differs from the made-up run's.
NEW = (Flag(code="new", severity="note", sentence="new"),)

DRAWN = ["measurement.json", "zones.csv", "grains.csv", "overlay-before.jpg", "overlay-after.jpg", "overlay-after2.jpg"]
BARE = [f"{name}" for shot in ("before", "after", "after2") for name in (f"floor-{shot}.jpg", f"found-{shot}.png")]
NAMES = [*DRAWN, *BARE]

WHY_NAMES = [
    *DRAWN, "leftovers-after.jpg", "reach-after.jpg", "walls-after.jpg", "leftovers-after2.jpg", "reach-after2.jpg",
    "passes.jpg", *BARE,
]  # fmt: skip


@pytest.fixture
def drawn() -> None:
    """For tests that ask for pictures as they are drawn."""


@pytest.fixture(autouse=True)
def _plain_pictures(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Small grey pictures for all other tests: drawing takes most of the time, and has tests of its own."""
    if "drawn" not in request.fixturenames:
        for draw in ("draw_overlay", "draw_leftovers", "draw_reach", "_walls", "_passes"):
            monkeypatch.setattr(write, draw, lambda *_: np.full((60, 80, 3), 128, np.uint8))


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _full_disk(*_: object) -> str:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _broken(*_: object) -> str:
    raise RuntimeError("a bug")


@pytest.mark.usefixtures("drawn")
def test_all_files_are_written_into_a_new_folder(run: Measurement, tmp_path: Path) -> None:
    out = tmp_path / "tests in März" / "run 1"
    assert write_measurement(run, out) == [out / name for name in NAMES]
    assert sorted(_contents(tmp_path)) == sorted(f"tests in März/run 1/{name}" for name in NAMES)
    assert read_record(out / "measurement.json") == measurement_json(run)
    with (out / "grains.csv").open(encoding="utf-8", newline="") as file:
        assert {row["kind"] for row in csv.DictReader(file)} == {"rote Linsen, groß", '"fine" sand'}
    with Image.open(out / "overlay-after.jpg") as picture:
        picture.load()
        assert picture.width == 1200
        assert not picture.getexif()
        assert picture.info["comment"] == MARK


def test_floor_views_are_written_bare_with_a_map_of_what_was_found(run: Measurement, tmp_path: Path) -> None:
    write_measurement(run, tmp_path)
    shot = run.shots[1]
    with Image.open(tmp_path / f"floor-{shot.name}.jpg") as view:
        assert view.size == shot.floor_view.shape[1::-1]
        assert np.abs(np.asarray(view, float) - shot.floor_view).mean() < 12  # JPEG, and flat colours of a made-up view
    with Image.open(tmp_path / f"found-{shot.name}.png") as found:
        assert found.info["Comment"] == MARK.decode()
        assert (np.asarray(found) == shot.kind_map).all()


@pytest.mark.usefixtures("drawn")
def test_pictures_of_why_debris_stayed_are_written_with_the_others(explained: Measurement, tmp_path: Path) -> None:
    assert write_measurement(explained, tmp_path / "out") == [tmp_path / "out" / name for name in WHY_NAMES]
    for name in (name for name in WHY_NAMES if name.endswith(".jpg")):
        with Image.open(tmp_path / "out" / name) as picture:
            picture.load()
            assert (picture.format, picture.info["comment"]) == ("JPEG", MARK)


def test_pictures_of_why_debris_stayed_go_where_no_longer_found(
    run: Measurement, explained: Measurement, tmp_path: Path
) -> None:
    write_measurement(explained, tmp_path)
    (tmp_path / "walls-kitchen.jpg").write_bytes((tmp_path / "walls-after.jpg").read_bytes())
    write_measurement(run, tmp_path)
    assert sorted(_contents(tmp_path)) == sorted([*NAMES, "walls-kitchen.jpg"])


def test_no_picture_of_reach_where_it_was_not_told(explained: Measurement, tmp_path: Path) -> None:
    why = explained.left.why(1)
    assert why is not None
    one = replace(explained, passes=explained.passes[:1], left=Explained((replace(why, reach=None),)))
    names = {path.name for path in write_measurement(one, tmp_path / "out")}
    assert names == {*NAMES, "leftovers-after.jpg", "walls-after.jpg"}


def test_the_folder_is_as_open_as_any_other(run: Measurement, tmp_path: Path) -> None:
    write_measurement(run, tmp_path / "out")
    (tmp_path / "usual").mkdir()
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_list_of_numbers_stands_on_one_line_and_texts_stay_as_they_are(run: Measurement, tmp_path: Path) -> None:
    odd = '[\n  1,\n 2\n] \\"[ 1, 2 ]'
    write_measurement(
        replace(run, flags=tuple(Flag(code="x", severity="note", sentence=said) for said in (odd, "[1,\n2]"))), tmp_path
    )
    text = (tmp_path / "measurement.json").read_text(encoding="utf-8")
    assert '"interval95": [47.9876, 52.4877],' in text
    assert json.loads(text)["warnings"] == [odd, "[1,\n2]"]


def test_names_are_written_as_they_are(run: Measurement, tmp_path: Path) -> None:
    write_measurement(run, tmp_path / "out")
    text = (tmp_path / "out" / "measurement.json").read_text(encoding="utf-8")
    assert '"name": "Küche \\"links\\", hinten"' in text
    assert json.loads(text)["patch"]["name"] == 'Küche "links", hinten'


def test_an_earlier_result_is_replaced_and_other_files_stay(run: Measurement, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_measurement(run, out)
    own = {"notes.txt": b"mine", "photos/before.jpg": b"photo", "other.jpg": b"picture"}
    for name, content in own.items():
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_bytes(content)
    (out / "copy of after.jpg").write_bytes((out / "overlay-after.jpg").read_bytes())

    shorter = replace(run, shots=run.shots[:2], passes=run.passes[:1])
    write_measurement(shorter, out)
    contents = _contents(out)
    assert set(contents) == {*NAMES, *own, "copy of after.jpg"} - {
        "overlay-after2.jpg",
        "floor-after2.jpg",
        "found-after2.png",
    }
    assert {name: contents[name] for name in own} == own
    assert read_record(out / "measurement.json") == measurement_json(shorter)


@pytest.mark.parametrize("added", ["", ",more_than_percent,detection_limit_mm2", ",of a later version" * 20])
def test_a_measurement_of_another_version_is_replaced(run: Measurement, tmp_path: Path, added: str) -> None:
    """Versions add columns at the end; their folder is a result all the same."""
    write_measurement(run, tmp_path)
    # *Frozen*, 2026-11-25: the header of an earlier version.
    (tmp_path / "zones.csv").write_text(
        "pass,kind,zone,before_area_mm2,after_area_mm2,before_grains,after_grains,before_mass_g,after_mass_g,"
        f"gone_percent,pickup_percent,low95,high95{added}\n"
    )
    (tmp_path / "grains.csv").write_text(f"shot,kind,x_mm,y_mm,area_mm2,diameter_mm,zone{added}\n")
    write_measurement(run, tmp_path)
    assert (tmp_path / "zones.csv").read_text(encoding="utf-8") == zones_csv(run)
    assert (tmp_path / "grains.csv").read_text(encoding="utf-8") == grains_csv(run)


def test_a_table_that_begins_otherwise_is_no_result(run: Measurement, tmp_path: Path) -> None:
    (tmp_path / "zones.csv").write_text("pass,kind,area\n1,gravel,3\n")
    with pytest.raises(OutputError, match=r"zones\.csv: is no result of debriscount"):
        write_measurement(run, tmp_path)


def test_results_go_into_a_folder_of_other_files(run: Measurement, tmp_path: Path) -> None:
    (tmp_path / "patch.toml").write_text("mine")
    write_measurement(run, tmp_path)
    assert sorted(_contents(tmp_path)) == sorted([*NAMES, "patch.toml"])


@pytest.mark.parametrize(
    "name", ["overlay-before.jpg", "zones.csv", "measurement.json", "leftovers-after.jpg", "passes.jpg"]
)
def test_a_file_that_is_no_result_is_never_overwritten(explained: Measurement, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"a photo that nobody can take again")
    with pytest.raises(OutputError, match=rf"{name}: is no result of debriscount and would be overwritten"):
        write_measurement(explained, tmp_path)
    assert _contents(tmp_path) == {name: b"a photo that nobody can take again"}


def test_a_folder_with_the_name_of_a_result_is_refused(run: Measurement, tmp_path: Path) -> None:
    (tmp_path / "overlay-after.jpg").mkdir()
    with pytest.raises(OutputError, match=r"overlay-after\.jpg: is no result of debriscount"):
        write_measurement(run, tmp_path)


def test_a_file_in_the_place_of_the_folder_is_refused(run: Measurement, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match="out: is a file, not a folder"):
        write_measurement(run, tmp_path / "out")
    with pytest.raises(OutputError, match="out/deeper: the results cannot be written"):
        write_measurement(run, tmp_path / "out" / "deeper")
    assert _contents(tmp_path) == {"out": b"mine"}


def test_a_folder_that_may_not_be_written_is_named(
    run: Measurement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "mkdir", refuse)  # root, who runs the tests in some places, may write anywhere
    with pytest.raises(OutputError, match=r"out: the results cannot be written \(Permission denied\)"):
        write_measurement(run, tmp_path / "out")


@pytest.mark.parametrize("failing", ["measurement_json", "grains_csv", "draw_overlay"])
@pytest.mark.parametrize("fail", [_full_disk, _broken])
def test_after_a_failure_nothing_is_left(
    run: Measurement,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    failing: str,
    fail: Callable[..., str],
) -> None:
    monkeypatch.setattr(write, failing, fail)
    # A bug stays a bug, with its traceback; only what the disk refuses is the user's to put right.
    with pytest.raises((OutputError, RuntimeError), match=r"a bug|No space left on device") as raised:
        write_measurement(run, tmp_path / "campaign" / "out")
    assert raised.type is (OutputError if fail is _full_disk else RuntimeError)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("failing", ["measurement_json", "draw_overlay"])
def test_after_a_failure_the_old_result_is_intact(
    run: Measurement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    write_measurement(run, tmp_path / "out")
    (tmp_path / "out" / "notes.txt").write_text("mine")
    old = _contents(tmp_path)
    monkeypatch.setattr(write, failing, _full_disk)
    with pytest.raises(OutputError, match="No space left on device"):
        write_measurement(replace(run, flags=NEW), tmp_path / "out")
    assert _contents(tmp_path) == old
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("survived", range(12))
def test_a_failure_while_files_are_exchanged_puts_the_old_ones_back(
    run: Measurement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, survived: int
) -> None:
    write_measurement(run, tmp_path / "out")
    old = _contents(tmp_path)
    rename, calls = Path.rename, [0]

    def fail_once(self: Path, target: Path) -> Path:
        calls[0] += 1
        if calls[0] == survived + 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fail_once)
    with pytest.raises(OutputError, match="Input/output error"):
        write_measurement(replace(run, flags=NEW), tmp_path / "out")
    assert _contents(tmp_path) == old


def test_old_files_that_cannot_be_put_back_are_not_thrown_away(
    run: Measurement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_measurement(run, tmp_path / "out")
    old = set(_contents(tmp_path).values())
    rename, calls = Path.rename, [0]

    def fail_from_then_on(self: Path, target: Path) -> Path:
        calls[0] += 1
        if calls[0] > 3:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", fail_from_then_on)
    with pytest.raises(OutputError, match="Input/output error"):
        write_measurement(replace(run, flags=NEW), tmp_path / "out")
    assert old <= set(_contents(tmp_path).values())


def test_importing_the_report_loads_nothing_heavy() -> None:
    code = (
        "import sys, debriscount.report as r; print('cv2' in sys.modules, 'PIL' in sys.modules, hasattr(r, 'nothing'))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False"] * 3


def _noted(sentence: str) -> Flag:
    return Flag(code="noted", severity="note", sentence=sentence)


def _with_photos(run: Measurement, *sums: str) -> Measurement:
    return replace(run, shots=tuple(replace(shot, sha256=s) for shot, s in zip(run.shots, sums, strict=False)))


def test_a_result_of_other_photos_is_replaced_only_when_told(run: Measurement, tmp_path: Path) -> None:
    first = _with_photos(run, "a" * 64, "b" * 64)
    other = replace(_with_photos(run, "a" * 64, "c" * 64), flags=(_noted("other"),))
    write_measurement(first, tmp_path)
    old = _contents(tmp_path)
    with pytest.raises(
        OutputError, match=r"holds a result of other photos\. Choose another folder, or add --overwrite"
    ):
        write_measurement(other, tmp_path)
    assert _contents(tmp_path) == old
    write_measurement(other, tmp_path, overwrite=True)
    assert read_record(tmp_path / "measurement.json")["warnings"] == ["other"]


def test_the_same_run_with_a_further_pass_replaces_its_result(run: Measurement, tmp_path: Path) -> None:
    sums = ("a" * 64, "b" * 64, "c" * 64)
    for count in (2, 3, 2):
        write_measurement(_with_photos(run, *sums[:count]), tmp_path)
    assert len(read_record(tmp_path / "measurement.json")["photos"]) == 2


def test_an_earlier_record_that_cannot_be_read_is_not_thrown_away(run: Measurement, tmp_path: Path) -> None:
    (tmp_path / "measurement.json").write_text('{"format": "debriscount/measurement/1", "photos": {"before": 3}}')
    with pytest.raises(OutputError, match="holds a result of other photos"):
        write_measurement(_with_photos(run, "a" * 64, "b" * 64), tmp_path)


def test_names_that_are_not_utf8_cost_no_result(run: Measurement, tmp_path: Path) -> None:
    """The name of a file may hold any byte, which Python tells as half a surrogate."""
    odd = replace(run, patch=replace(run.patch, name="k\udcfcche"), flags=(_noted("\udcff"),))
    write_measurement(odd, tmp_path / "out")
    assert read_record(tmp_path / "out" / "measurement.json")["patch"]["name"] == "k?che"


def test_a_run_killed_while_it_wrote_is_put_right_by_the_next(run: Measurement, tmp_path: Path) -> None:
    write_measurement(run, tmp_path)
    old = _contents(tmp_path)
    work = tmp_path / f".{tmp_path.name}-0123abcd.part"
    (work / ".old").mkdir(parents=True)
    (work / ".plan").write_text(json.dumps({"beside": "", "names": ["measurement.json", "zones.csv"]}))
    for name in ("measurement.json", "zones.csv"):
        (tmp_path / name).rename(work / ".old" / name)
    (tmp_path / "zones.csv").write_text("new")
    prepare_folder(tmp_path, write.MARKS, [])
    assert _contents(tmp_path) == old


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("file", "is a file, not a folder"),
        ("file/sub", "the results cannot be written"),
        ("mine", "zones.csv: is no result of debriscount and would be overwritten"),
        ("counted", "holds count.json, another kind of result"),
    ],
)
def test_a_folder_that_cannot_be_written_is_refused_before_any_photo_is_read(
    tmp_path: Path, name: str, said: str
) -> None:
    (tmp_path / "file").write_text("a")
    for folder, file, text in (
        ("mine", "zones.csv", "mine"),
        ("counted", "count.json", '{"format": "debriscount/count/1"'),
    ):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / file).write_text(text)
    with pytest.raises(OutputError, match=re.escape(said)):
        prepare_folder(tmp_path / name, write.MARKS, [tmp_path / "missing.jpg"])


def test_a_folder_that_can_be_written_is_left_as_it_is(tmp_path: Path) -> None:
    for name in ("new", "deep/in/new"):
        prepare_folder(tmp_path / name, write.MARKS, [])
    prepare_folder(tmp_path, write.MARKS, [])
    assert list(tmp_path.iterdir()) == []


def test_other_photos_are_refused_before_they_are_measured(run: Measurement, tmp_path: Path) -> None:
    photos = {name: tmp_path / f"{name}.jpg" for name in ("before", "after", "other")}
    for name, path in photos.items():
        path.write_text(name)
    sums = [hashlib.sha256(name.encode()).hexdigest() for name in ("before", "after")]
    out = tmp_path / "out"
    refuse_other_photos(out, photos.values())
    write_measurement(_with_photos(run, *sums), out)
    refuse_other_photos(out, [photos["before"], photos["after"]])
    refuse_other_photos(out, [photos["before"], photos["after"], photos["other"]])
    refuse_other_photos(out, [tmp_path / "missing.jpg"])
    with pytest.raises(OutputError, match="holds a result of other photos"):
        refuse_other_photos(out, [photos["before"], photos["other"]])
