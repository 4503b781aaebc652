import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount import __version__
from debriscount.errors import InputFileError
from debriscount.photo.settings import CameraSettings
from debriscount.pickup.records import Amount, BudgetLine, PassFigures, ZoneFigures
from debriscount.report.record import measurement_json, read_record
from debriscount.run.records import Measurement
from debriscount.serialize import rounded


def _with_zones(run: Measurement, zones: dict[str, ZoneFigures]) -> Measurement:
    return replace(run, passes=(PassFigures(1, zones, {}),))


def test_record_has_the_keys_of_the_contract_in_their_places(run: Measurement) -> None:
    record = measurement_json(run)
    assert record["format"] == "debriscount/measurement/1"
    assert record["version"] == __version__
    assert record["agreement"] is None
    assert [p["pass"] for p in record["passes"]] == [1, 2]
    first = record["passes"][0]
    assert list(first["zones"]) == ["patch", "open", "edge", "corner", "margin", "rug"]
    assert first["leftovers"] == {"untouched_percent": None, "shifted_percent": None}
    assert first["lanes"] is None
    assert list(first["kinds"]) == ["rote Linsen, groß", '"fine" sand']
    assert first["kinds"]["rote Linsen, groß"]["zones"]["patch"] == first["zones"]["patch"]


def test_figures_are_rounded_but_keep_their_digits(run: Measurement) -> None:
    zones = measurement_json(run)["passes"][0]["zones"]
    assert zones["patch"] == {
        "pickup_percent": 49.9877,
        "more_than_percent": None,
        "detection_limit_mm2": None,
        "interval95": [47.9876, 52.4877],
        "gone_percent": 50.9877,
        "trust": "sound",
        "why": "",
        "before": {"area_mm2": 50.265, "grains": 7, "grains_interval95": None, "mass_g": None},
        "after": {"area_mm2": 25.141, "grains": 4, "grains_interval95": None, "mass_g": None},
    }
    assert zones["edge"]["pickup_percent"] == -100.0


def test_what_is_promised_stands_beside_the_best_estimate(run: Measurement) -> None:
    clean = replace(run.passes[0].zones["patch"], pickup_percent=99.8, more_than_percent=99.654321, limit_mm2=0.17376)
    zone = measurement_json(_with_zones(run, {"patch": clean}))["passes"][0]["zones"]["patch"]
    assert [zone[key] for key in ("pickup_percent", "more_than_percent", "detection_limit_mm2")] == [
        99.8,
        99.6543,
        0.174,
    ]


def test_a_count_stands_beside_its_interval(run: Measurement) -> None:
    zone = replace(run.passes[0].zones["patch"], before=Amount(50.0, 27, None, (26, 29)))
    record = json.loads(json.dumps(measurement_json(_with_zones(run, {"patch": zone}))))
    before = record["passes"][0]["zones"]["patch"]["before"]
    assert (before["grains"], before["grains_interval95"]) == (27, [26, 29])


def test_unknown_figures_are_null(run: Measurement) -> None:
    record = measurement_json(run)
    assert record["passes"][0]["zones"]["margin"]["pickup_percent"] is None
    assert record["passes"][0]["zones"]["margin"]["interval95"] is None
    assert record["budget"] == [
        {"source": "light", "u_percent": 0.4123},
        {"source": "edge pixels", "u_percent": None},
    ]


def test_photos_are_named_without_their_folders(run: Measurement) -> None:
    taken = CameraSettings(
        taken="2026-05-01T10:30:00", exposure_s=1 / 60, f_number=1.8, white_balance="manual", flash=False
    )
    unix = replace(run.shots[1], file="/home/somebody/a b/after.jpg", residual_mm=math.nan, settings=taken)
    photos = measurement_json(replace(run, shots=(run.shots[0], unix)))["photos"]
    assert photos["before"] == {
        "file": "before größer.jpg",
        "sha256": "ab" * 32,
        "markers_seen": [0, 1, 3],
        "residual_mm": 0.1235,
        "taken": None,
        "camera": dict.fromkeys(photos["before"]["camera"]),
    }
    assert photos["after"]["taken"] == "2026-05-01T10:30:00"
    assert photos["after"]["camera"] == {
        "exposure_s": 0.016666667,
        "f_number": 1.8,
        "iso": None,
        "focal_mm": None,
        "focal_35mm": None,
        "exposure_bias_ev": None,
        "white_balance": "manual",
        "flash": False,
    }
    assert photos["after"]["file"] == "after.jpg"
    assert photos["after"]["residual_mm"] is None


def test_patch_grid_and_kinds_are_told_whole(run: Measurement) -> None:
    record = measurement_json(run)
    assert record["patch"] == {
        "name": 'Küche "links", hinten',
        "width_mm": 100.0,
        "height_mm": 80.0,
        "walls": ["top", "left"],
        "markers": [
            {"id": 0, "center_mm": [-40.0, 30.0], "side_mm": 50.0},
            {"id": 3, "center_mm": [140.0, 30.0], "side_mm": 50.0},
        ],
        "zones": {
            "edge_mm": 10.0,
            "corner_mm": 20.0,
            "margin_mm": 12.0,
            "custom": [{"name": "rug", "polygon_mm": [[25.0, 50.0], [60.0, 50.0], [60.0, 75.0], [25.0, 75.0]]}],
        },
    }
    assert record["grid"] == {
        "x0_mm": -3.95,
        "y0_mm": -3.95,
        "mm_per_px": 0.1,
        "width_px": 1200,
        "height_px": 1000,
    }
    assert record["kinds"] == [
        {"name": "rote Linsen, groß", "color": "#a8482c"},
        {"name": '"fine" sand', "color": "#decda0"},
    ]


@pytest.mark.parametrize(
    ("walls", "absent"),
    [
        ((), {"edge", "corner"}),
        (("left",), {"corner"}),
        (("left", "right"), {"corner"}),
        (("top", "right"), set()),
    ],
)
def test_zones_are_absent_without_the_walls_that_make_them(
    run: Measurement, walls: tuple[str, ...], absent: set[str]
) -> None:
    record = measurement_json(replace(run, patch=replace(run.patch, walls=walls)))
    assert set(run.passes[0].zones) - set(record["passes"][0]["zones"]) == absent


@given(st.floats(), st.floats(), st.one_of(st.none(), st.tuples(st.floats(), st.floats())), st.floats())
def test_no_figure_makes_the_record_anything_but_json(
    run: Measurement, area: float, percent: float, interval: tuple[float, float] | None, u: float
) -> None:
    amount = Amount(area, 3, area)
    zones = {
        "patch": ZoneFigures(
            before=amount, after=amount, gone_percent=percent, pickup_percent=percent, interval95=interval
        )
    }
    made = replace(_with_zones(run, zones), budget=(BudgetLine("light", u),))
    record = json.loads(json.dumps(measurement_json(made), allow_nan=False))
    zone = record["passes"][0]["zones"]["patch"]
    assert (zone["pickup_percent"] is None) == (not math.isfinite(percent))
    if math.isfinite(percent):
        # Half of the last decimal, and a hair for a number that lies just between two.
        assert zone["pickup_percent"] == pytest.approx(percent, abs=0.000051 + math.ulp(percent))
    assert (zone["interval95"] is None) == (interval is None or not all(map(math.isfinite, interval)))


def test_rounding_leaves_no_minus_zero() -> None:
    assert math.copysign(1, rounded(-0.00001, 4) or 0.0) == 1


def test_record_reads_back_as_it_was_written(run: Measurement, tmp_path: Path) -> None:
    record = measurement_json(run)
    path = tmp_path / "measurement.json"
    path.write_text(json.dumps(record, ensure_ascii=False), encoding="utf-8")
    assert read_record(path) == record
    assert read_record(str(path)) == record


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"format": "debriscount/measurement/2"}', r'its format is "debriscount/measurement/2", but only'),
        ('{"passes": []}', "its format is null, but only"),
        ("[]", "its format is null, but only"),
        ("pass = 1", "is not a JSON file"),
        ('{"format": "debriscount/measurement/1", "a": NaN}', "NaN is not a JSON number"),
        ("[" * 100_000, "is nested too deeply"),
        ('{"format":\n' + "9" * 5000 + "}", r"line 2: holds a number of too many digits"),
    ],
)
def test_files_of_another_format_are_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "measurement.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=words):
        read_record(path)


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "measurement.json"
    path.write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(InputFileError, match="line 1: is not UTF-8 text"):
        read_record(path)


def test_a_missing_record_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"measurement\.json: there is no such file"):
        read_record(tmp_path / "measurement.json")
