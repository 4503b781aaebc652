import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from debriscount.errors import InputFileError, OutputError
from debriscount.report.agreement import (
    compare_runs,
    read_weighed_runs,
    runs_json,
    runs_text,
    write_agreement,
)
from debriscount.report.agreement_plot import COLORS, plot_bytes
from debriscount.report.formats import AgreementRecord
from debriscount.report.palette import distances
from debriscount.report.record import agreement_json
from debriscount.scale.agreement import agree
from debriscount.scale.fault_patterns import Evidence
from debriscount.scale.many import ManyRuns, WeighedRun, judge_runs
from debriscount.stats.quantity import Quantity

from .described import described

NAMES = ["agreement.json", "agreement.png", "agreement.svg"]
DIFFERENCES = (0.2, -0.4, 0.5, 1.4, -0.1, 2.4, 0.3, -0.6, 0.1, 0.0, 0.4, -0.2)


def made_up(n: int = 12, step: float = 2.0) -> list[WeighedRun]:
    """Runs whose differences are ``DIFFERENCES``: the fourth is doubtful, the sixth disagrees."""
    return [
        WeighedRun(
            name=f"run{i:02}", photo=Quantity(72 + step * i + d, 0.5), scale=Quantity(72 + step * i, 0.3), day=float(i)
        )
        for i, d in enumerate(DIFFERENCES[:n])
    ]


@pytest.fixture
def many() -> ManyRuns:
    return judge_runs(made_up())


def write_record(folder: Path, agreement: Any, taken: str | None = "2026-03-01T10:00:00", **keys: Any) -> Path:
    folder.mkdir(parents=True)
    record = {"format": "debriscount/measurement/1", "photos": {"before": {"taken": taken}}, "agreement": agreement}
    (folder / "measurement.json").write_text(json.dumps({**record, **keys}))
    return folder


def compared(photo: float, scale: float) -> dict[str, Any]:
    return agreement_json(agree(Quantity(photo, 0.5), Quantity(scale, 0.3), Evidence(margin_gain_percent=9.0)))


def test_one_run_in_its_record_keeps_the_names_of_the_format() -> None:
    found = compared(88.0, 82.9)
    assert list(found)[:3] == ["photo_percent", "photo_u", "scale_percent"]
    assert found["zeta"] == pytest.approx(5.1 / np.hypot(0.5, 0.3), abs=1e-4)
    assert found["en"] == pytest.approx(found["zeta"] / 2, abs=1e-4)
    assert found["verdict"] == "disagree"
    assert found["causes"][0]["name"] == "scatter beyond the margin"
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_runs_come_back_from_their_records(tmp_path: Path) -> None:
    write_record(tmp_path / "second", compared(88.0, 82.9), "2026-03-02T22:00:00")
    write_record(tmp_path / "first", compared(83.0, 82.9), "2026-03-01T10:00:00")
    write_record(tmp_path / "unweighed", None)
    runs = read_weighed_runs([tmp_path / "second", tmp_path / "first" / "measurement.json", tmp_path / "unweighed"])
    assert runs.not_weighed == ("unweighed",)
    second, first = runs.weighed
    assert (first.name, first.photo, first.scale, first.cause) == (
        "first",
        Quantity(83, 0.5),
        Quantity(82.9, 0.3),
        None,
    )
    assert second.cause == "scatter beyond the margin"
    assert second.day is not None
    assert first.day is not None
    assert second.day - first.day == pytest.approx(1.5)


def test_runs_in_folders_of_one_name_are_told_apart(tmp_path: Path) -> None:
    folders = [write_record(tmp_path / place / "result", compared(83, 82.9)) for place in ("a", "b")]
    assert [run.name for run in read_weighed_runs(folders).weighed] == [str(folder) for folder in folders]


@pytest.mark.parametrize("taken", [None, "yesterday"])
def test_a_run_without_a_date_has_no_day(tmp_path: Path, taken: str | None) -> None:
    folder = write_record(tmp_path / "run", compared(83, 82.9), taken)
    assert read_weighed_runs([folder]).weighed[0].day is None


@pytest.mark.parametrize(
    ("agreement", "words"),
    [
        ({"photo_percent": 83.0, "scale_percent": 82.0, "scale_u": 0.3}, "agreement.photo_u must be a number of at least 0, got None"),
        ({**compared(83, 82), "scale_u": -0.1}, "agreement.scale_u must be a number of at least 0, got -0.1"),
        ({**compared(83, 82), "photo_percent": "83"}, "agreement.photo_percent must be a number, got '83'"),
        ({**compared(83, 82), "photo_percent": True}, "agreement.photo_percent must be a number, got True"),
        ({**compared(83, 82), "photo_u": 0, "scale_u": 0}, "photo_u and scale_u are both 0"),
        ([1], "agreement must be an object or null"),
    ],
)  # fmt: skip
def test_a_record_without_what_it_takes_is_refused(tmp_path: Path, agreement: Any, words: str) -> None:
    folder = write_record(tmp_path / "run", agreement)
    with pytest.raises(InputFileError, match=re.escape(words)) as error:
        read_weighed_runs([folder])
    assert str(folder / "measurement.json") in str(error.value)


def test_other_formats_and_missing_records_are_refused(tmp_path: Path) -> None:
    folder = write_record(tmp_path / "run", None, format="debriscount/measurement/9")
    with pytest.raises(InputFileError, match='its format is "debriscount/measurement/9", but only'):
        read_weighed_runs([folder])
    with pytest.raises(InputFileError, match="there is no such file"):
        read_weighed_runs([tmp_path])


def test_a_run_given_twice_is_refused(tmp_path: Path) -> None:
    folder = write_record(tmp_path / "run", compared(83, 82))
    with pytest.raises(InputFileError, match=r"is given twice\. Give each run once"):
        read_weighed_runs([folder, folder / "measurement.json"])


@pytest.mark.parametrize(("first", "second"), [("before", "before"), ("after", "after"), ("after", "before")])
def test_the_same_photos_in_another_folder_are_the_same_run(tmp_path: Path, first: str, second: str) -> None:
    folders = [
        write_record(tmp_path / name, compared(83, 82), photos={shot: {"sha256": "ab12"}, "blank": {"sha256": "cd34"}})
        for name, shot in (("a", first), ("copy", second))
    ]
    with pytest.raises(InputFileError, match=rf"its photo {second} is one of .*a/measurement.json, so the same run is"):
        read_weighed_runs(folders)


def test_runs_may_have_the_blank_in_common_and_photos_without_a_sum(tmp_path: Path) -> None:
    photos = {"blank": {"sha256": "cd34"}, "before": {"sha256": ""}}
    folders = [write_record(tmp_path / name, compared(83, 82), photos=photos) for name in "ab"]
    assert len(read_weighed_runs(folders).weighed) == 2


def test_runs_none_of_which_was_weighed_are_refused(tmp_path: Path) -> None:
    folders = [write_record(tmp_path / name, None) for name in "ab"]
    with pytest.raises(InputFileError, match=r"not weighed \(agreement is null\). Measure with --weighing"):
        compare_runs(folders)


def test_the_record_holds_what_was_found(many: ManyRuns) -> None:
    record = runs_json(many, ["run99"])
    assert record["format"] == "debriscount/agreement/1"
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert described(AgreementRecord, record)
    assert [run["verdict"] for run in record["runs"]].count("agree") == 10
    assert record["runs"][5]["verdict"] == "disagree"
    assert (record["odd"], record["too_uncertain"]) == (["run05"], [])
    counted = np.delete(DIFFERENCES, 5)
    assert record["bland_altman"]["bias"]["value"] == pytest.approx(np.mean(counted), abs=1e-4)
    assert record["bland_altman"]["sd"] == pytest.approx(np.std(counted, ddof=1), abs=1e-4)
    assert record["drift"]["per"] == "day"
    assert record["line"]["slope"]["interval95"][0] < record["line"]["slope"]["value"]
    assert record["not_weighed"] == ["run99"]
    assert record["sentences"] == list(many.sentences)


def test_what_is_unknown_is_null() -> None:
    record = runs_json(judge_runs(made_up(2)))
    assert described(AgreementRecord, record)
    assert [record[key] for key in ("bland_altman", "line", "drift", "scatter", "photo_alone")] == [None] * 5


def test_the_table_has_a_line_a_run_and_the_sentences(many: ManyRuns) -> None:
    text = runs_text(many, ["run99"])
    lines = text.splitlines()
    assert lines[0].split() == ["run", "photo", "%", "scale", "%", "difference", "verdict"]
    assert lines[6].split() == ["run05", "84.4", "±", "1.0", "82.00", "±", "0.60", "+2.4", "disagree,", "odd"]
    assert "Photo and scale disagree: run05." in lines
    assert "Not weighed: run99." in lines
    assert "Difference: photo less scale." in text
    assert not re.search("E_n|zeta|k = 2", text)
    assert " ".join(many.sentences[0].split()) in " ".join(text.split())
    assert "No drift seen: from first to last run it may be anything from -" in text


@pytest.mark.parametrize("width", [60, 80])
def test_no_line_is_wider_than_the_terminal(many: ManyRuns, width: int) -> None:
    assert max(map(len, runs_text(many, ["run99"], width).splitlines())) <= width


def test_a_drift_is_told_over_the_runs_there_are() -> None:
    runs = [
        WeighedRun(name=str(i), photo=Quantity(80 + i, 0.5), scale=Quantity(80, 0.3), day=day)
        for i, day in enumerate((0.0, 20, 40, 60))
    ]
    assert "Drift: from first to last run +3.0 points" in runs_text(judge_runs(runs))
    undated = [replace(run, day=None) for run in runs]
    assert "Drift: from first to last run +3.0 points" in runs_text(judge_runs(undated))


def test_photos_that_may_stand_alone_are_in_record_and_text() -> None:
    calm = [
        WeighedRun(name=f"r{i}", photo=Quantity(75 + i + d / 4, 0.5), scale=Quantity(75 + i, 0.3))
        for i, d in enumerate(DIFFERENCES)
    ]
    found = judge_runs(calm)
    record = runs_json(found)
    assert record["verdict"] == "weighing may be left out"
    assert described(AgreementRecord, record)
    assert record["photo_alone"]["u_percent"] == pytest.approx(found.alone_u, abs=1e-4)
    assert "A pickup by photo alone is then right within 1.0 points" in " ".join(runs_text(found).split())


def test_record_and_plots_are_written_and_replaced(many: ManyRuns, tmp_path: Path) -> None:
    out = tmp_path / "new" / "folder"
    assert [path.name for path in write_agreement(many, out)] == NAMES
    (out / "notes.txt").write_text("mine")
    write_agreement(judge_runs(made_up(5)), out)
    assert len(json.loads((out / "agreement.json").read_text())["runs"]) == 5
    assert (out / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize("name", NAMES)
def test_no_file_of_others_is_overwritten(many: ManyRuns, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"holiday")
    with pytest.raises(OutputError, match="is no result of debriscount and would be overwritten"):
        write_agreement(many, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes() == b"holiday"


def test_the_folder_of_a_run_is_refused(many: ManyRuns, tmp_path: Path) -> None:
    folder = write_record(tmp_path / "run", None)
    with pytest.raises(OutputError, match=r"holds measurement\.json, another kind of result"):
        write_agreement(many, folder)


@pytest.mark.parametrize("n", [1, 2, 3, 12])
def test_the_plot_can_be_drawn_of_any_number_of_runs(n: int) -> None:
    found = judge_runs(made_up(n))
    image = Image.open(io.BytesIO(plot_bytes(found, "png")))
    assert image.size == (1637, 755)
    svg = plot_bytes(found, "svg")
    assert ElementTree.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"
    assert svg == plot_bytes(found, "svg")


def test_the_plot_shows_each_verdict_in_a_colour_that_all_eyes_tell_apart() -> None:
    """A CIELAB distance of 20 is ten times what is just seen (2.3; Mahy et al., Color Res. Appl. 19 (1994) 105)."""
    vague = WeighedRun(name="vague", photo=Quantity(80, 0.5), scale=Quantity(80, 5.0), day=20.0)
    image = np.asarray(Image.open(io.BytesIO(plot_bytes(judge_runs([*made_up(), vague]), "png"))).convert("RGB"))
    verdict_colors = list(COLORS.values())
    for color in verdict_colors:
        assert (image == color).all(axis=2).sum() > 50
    apart = distances(verdict_colors, [*verdict_colors, (255, 255, 255)])
    assert apart[~np.eye(4, 5, dtype=bool)].min() > 20


def test_runs_without_spread_can_be_drawn() -> None:
    same = [WeighedRun(name=f"r{i}", photo=Quantity(85, 0.5), scale=Quantity(85, 0.3)) for i in range(4)]
    assert plot_bytes(judge_runs(same), "png")[:4] == b"\x89PNG"


@pytest.mark.parametrize("number", ["1e300", "-1e300", "1e-320", "9" * 400])
def test_a_record_with_numbers_beyond_measure_is_refused(tmp_path: Path, number: str) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    (folder / "measurement.json").write_text(
        '{"format": "debriscount/measurement/1", "agreement": '
        f'{{"photo_percent": 90, "photo_u": 1, "scale_percent": {number}, "scale_u": 1}}}}'
    )
    with pytest.raises(
        InputFileError, match=r"agreement\.scale_percent must be 0, or between 1e-09 and 1e\+06, with either sign"
    ):
        read_weighed_runs([folder])
