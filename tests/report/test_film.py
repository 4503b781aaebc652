"""Record, tables and pictures of a film."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from debriscount.errors import OutputError
from debriscount.film.records import MeasuredFilm
from debriscount.report.film import film_csv, film_json, film_text, sample_after, track_csv, write_film_result
from debriscount.report.film_format import FilmRecord
from debriscount.report.film_pictures import draw_curve, draw_track
from debriscount.report.palette import OKABE_ITO

from ..film.conftest import measured, shot  # noqa: F401
from .described import described


def test_the_record_has_the_words_of_a_measurement(measured: MeasuredFilm) -> None:  # noqa: F811
    record = json.loads(json.dumps(film_json(measured), allow_nan=False))
    assert record["format"] == "debriscount/film/1"
    (passed,) = record["passes"]
    whole = passed["zones"]["patch"]
    assert whole["pickup_percent"] == pytest.approx(100 - measured.left["patch"].percent[-1], abs=0.2)
    assert whole["after"]["area_mm2"] < whole["before"]["area_mm2"]
    assert len(record["curve"]) == len(measured.times_s)
    low, high = record["curve"][4]["zones"]["patch"]["bounds_percent"]
    assert low <= record["curve"][4]["zones"]["patch"]["left_percent"] <= high
    inner = record["curve"][4]["zones"]["patch"]["interval95"]
    assert low <= inner[0] <= record["curve"][4]["zones"]["patch"]["left_percent"] <= inner[1]
    assert "kinds" not in record["curve"][4]  # one kind alone
    low, high = whole["interval95"]
    assert low <= whole["pickup_percent"] <= high
    assert record["photos"]["film"]["sha256"] == measured.film.sha256
    assert record["camera_moves"][0]["by_mm"] == pytest.approx(15, abs=1)
    assert record["machine"]["height_mm"] == 60


def test_the_schema_describes_the_record(measured: MeasuredFilm) -> None:  # noqa: F811
    assert described(FilmRecord, film_json(measured))
    several = replace(measured, left_by_kind={"lentils": measured.left, "rice": measured.left})
    assert described(FilmRecord, film_json(several))


def test_tables_hold_every_sample(measured: MeasuredFilm) -> None:  # noqa: F811
    rows = list(csv.DictReader(io.StringIO(film_csv(measured))))
    assert len(rows) == len(measured.times_s) * len(measured.left)
    patch = [float(row["left_percent"]) for row in rows if row["zone"] == "patch"]
    assert patch == pytest.approx(measured.left["patch"].percent.tolist(), abs=1e-3)
    places = list(csv.DictReader(io.StringIO(track_csv(measured))))
    assert sum(row["x_mm"] != "" for row in places) == np.isfinite(measured.track.x_mm).sum()


def test_a_pass_ends_with_the_sample_that_hides_least(measured: MeasuredFilm) -> None:  # noqa: F811
    k = sample_after(measured, 1)
    assert measured.times_s[k] >= measured.outings[0].end_s
    assert measured.hidden_percent[k] == 0


def test_the_text_tells_what_was_found(measured: MeasuredFilm) -> None:  # noqa: F811
    text = film_text(measured, 80)
    assert "left at the end:" in text
    assert "lanes" in text
    assert "(95 % interval " in text
    assert "Note: the camera was moved at 8.0 s" in text
    assert max(map(len, text.splitlines())) <= 80


def test_pictures_show_curve_and_way(measured: MeasuredFilm) -> None:  # noqa: F811
    curve, way = draw_curve(measured), draw_track(measured)
    assert curve.ndim == way.ndim == 3
    # The way is vermillion, on a floor that is pale.
    assert (np.abs(way.astype(int) - OKABE_ITO[5]).max(axis=2) < 40).any()


def test_files_are_written_and_those_of_another_film_kept(measured: MeasuredFilm, tmp_path: Path) -> None:  # noqa: F811
    written = write_film_result(measured, tmp_path / "out")
    assert {path.name for path in written} == {"film.json", "film.csv", "track.csv", "curve.jpg", "track.jpg"}
    write_film_result(measured, tmp_path / "out")  # the same film again
    record = tmp_path / "out" / "film.json"
    record.write_text(
        record.read_text().replace(measured.film.sha256, "0" * 64).replace(measured.blank_sha256, "1" * 64)
    )
    with pytest.raises(OutputError, match="holds a result of other photos"):
        write_film_result(measured, tmp_path / "out")


def test_kinds_stand_beside_all_debris(measured: MeasuredFilm) -> None:  # noqa: F811
    unknown = {
        name: replace(left, low95_percent=0 * left.percent + np.nan, high95_percent=0 * left.percent + np.nan)
        for name, left in measured.left.items()
    }
    two = replace(measured, left_by_kind={"lentils": unknown, "rice": unknown})
    record = json.loads(json.dumps(film_json(two), allow_nan=False))
    assert record["curve"][4]["kinds"]["rice"]["patch"]["interval95"] is None
    assert record["passes"][0]["kinds"]["rice"]["patch"]["pickup_percent"] > 50
    rows = list(csv.DictReader(io.StringIO(film_csv(two))))
    assert [row["kind"] for row in rows[: 3 * len(two.left)]][:: len(two.left)] == ["all", "lentils", "rice"]
    assert rows[len(two.left)]["low95"] == ""
    assert "  rice: " in film_text(two, 80)
    assert draw_curve(two).ndim == 3
