import csv
import io
import unicodedata
from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from debriscount.flags import Flag
from debriscount.grains.table import GrainTable
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.printable import csv_cell
from debriscount.report.rounding import amount_text, area_text, interval_text, more_than_text, percent_text
from debriscount.report.tables import grains_csv, table_text, zones_csv
from debriscount.run.records import KindColor, Measurement


def _read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def _columns(text: str) -> int:
    return sum((unicodedata.east_asian_width(c) in "WF") + (not unicodedata.combining(c)) for c in text)


def test_zones_csv_has_a_line_per_pass_kind_and_zone(run: Measurement) -> None:
    rows = _read(zones_csv(run))
    assert [(row["pass"], row["kind"], row["zone"]) for row in rows] == [
        *(("1", "all", zone) for zone in ("patch", "open", "edge", "corner", "margin", "rug")),
        ("1", "rote Linsen, groß", "patch"),
        ("1", '"fine" sand', "patch"),
        ("2", "all", "patch"),
        ("2", "rote Linsen, groß", "patch"),
        ("2", '"fine" sand', "patch"),
    ]
    assert rows[0] == {
        "pass": "1", "kind": "all", "zone": "patch",
        "before_area_mm2": "50.265", "after_area_mm2": "25.141", "before_grains": "7", "after_grains": "4",
        "before_mass_g": "", "after_mass_g": "",
        "gone_percent": "50.9877", "pickup_percent": "49.9877", "low95": "47.9876", "high95": "52.4877",
        "more_than_percent": "", "detection_limit_mm2": "",
        "before_grains_low95": "", "before_grains_high95": "", "after_grains_low95": "", "after_grains_high95": "",
        "swept_g": "", "swept_u_g": "",
        "untouched_percent": "", "shifted_percent": "", "reached_percent": "",
        "trust": "sound", "why": "",
        "best_percent": "", "best_low": "", "best_high": "",
    }  # fmt: skip
    assert [rows[4][key] for key in ("gone_percent", "pickup_percent", "low95", "high95")] == [""] * 4


def test_masses_are_written_where_known(run: Measurement) -> None:
    zone = ZoneFigures(
        before=Amount(10.0, 2, 0.0701), after=Amount(5.0, 1, 0.035), gone_percent=50.0, pickup_percent=50.0
    )
    row = _read(zones_csv(replace(run, passes=(PassFigures(1, {"patch": zone}, {}),))))[0]
    assert (row["before_mass_g"], row["after_mass_g"]) == ("0.0701", "0.035")


def test_what_is_promised_comes_behind_the_interval_in_zones_csv(run: Measurement) -> None:
    clean = replace(run.passes[0].zones["patch"], more_than_percent=99.654321, limit_mm2=0.17376)
    text = zones_csv(replace(run, passes=(PassFigures(1, {"patch": clean}, {}),)))
    assert ",high95,more_than_percent,detection_limit_mm2," in text.splitlines()[0]
    assert ",52.4877,99.6543,0.174," in text.splitlines()[1]


def test_intervals_of_counts_what_was_swept_and_why_come_last_in_zones_csv(run: Measurement) -> None:
    zone = ZoneFigures(
        before=Amount(10.0, 27, None, (26, 29)),
        after=Amount(5.0, 1, None, (1, 1)),
        gone_percent=50.0,
        pickup_percent=50.0,
    )
    text = zones_csv(replace(run, passes=(PassFigures(1, {"patch": zone}, {}),)))
    assert text.splitlines()[0].endswith(
        ",before_grains_low95,before_grains_high95,after_grains_low95,after_grains_high95,swept_g,swept_u_g"
        ",untouched_percent,shifted_percent,reached_percent,trust,why"
        ",best_percent,best_low,best_high"
    )
    assert text.splitlines()[1].endswith(",26,29,1,1,,,,,,doubtful,,,,")


def test_zones_csv_says_what_stayed_untouched_and_what_was_reached(explained: Measurement) -> None:
    rows = [row for row in _read(zones_csv(explained)) if row["pass"] == "1"]
    said = {
        (row["kind"], row["zone"]): tuple(row[f"{of}_percent"] for of in ("untouched", "shifted", "reached"))
        for row in rows
    }
    lentils, sand = (kind.name for kind in explained.kinds)
    assert said["all", "patch"] == ("75.1234", "24.8766", "87.5")
    assert said["all", "open"] == ("75.1234", "24.8766", "")
    assert said["all", "edge"] == ("75.1234", "24.8766", "")
    assert said["all", "margin"] == said["all", "corner"] == ("", "", "")
    # Reach is told by all debris together.
    assert (said[lentils, "patch"], said[sand, "patch"]) == (("75.1234", "24.8766", ""), ("", "", ""))


def test_grains_csv_has_a_line_per_grain(run: Measurement) -> None:
    rows = _read(grains_csv(run))
    assert [row["shot"] for row in rows] == ["before"] * 8 + ["after"] * 4 + ["after2"]
    assert [row["zone"] for row in rows[:8]] == [
        "corner",
        "edge",
        "open",
        "open",
        "margin",
        "open",
        "open",
        "open",
    ]
    assert rows[0] == {
        "shot": "before", "kind": "rote Linsen, groß", "x_mm": "5.0000", "y_mm": "5.0000",
        "area_mm2": "12.5664", "diameter_mm": "4.0000", "zone": "corner", "fate": "", "moved_mm": "",
    }  # fmt: skip
    assert rows[7]["kind"] == '"fine" sand'


def test_grains_csv_tells_the_fate_of_what_is_matched_grain_by_grain(explained: Measurement) -> None:
    rows = _read(grains_csv(explained))
    assert [row["fate"] for row in rows if row["shot"] == "before"] == [""] * 8
    assert [row["fate"] for row in rows if row["shot"] == "after"] == ["untouched", "shifted", "untouched", ""]
    assert [row["fate"] for row in rows if row["shot"] == "after2"] == ["untouched"]
    assert [row["moved_mm"] for row in rows if row["shot"] == "after"] == ["", "5.0000", "", ""]


def test_a_grain_is_called_what_it_likelier_is(explained: Measurement) -> None:
    why = explained.left.why(1)
    assert why is not None
    unsure = replace(why, untouched=np.array([0.51, 0.49, 0.9, 1.0]))
    rows = _read(
        grains_csv(replace(explained, left=replace(explained.left, passes=(unsure, *explained.left.passes[1:]))))
    )
    assert [row["fate"] for row in rows if row["shot"] == "after"] == ["untouched", "shifted", "untouched", ""]


def test_what_is_the_floors_own_or_outside_has_no_fate(explained: Measurement) -> None:
    why = explained.left.why(1)
    assert why is not None
    floors = replace(why, untouched=np.array([np.nan, 0.0, 0.5, 1.0]))
    grains = replace(explained.shots[1].grains, zone=np.array([1, -1, 0, 0], np.int8))
    changed = replace(
        explained,
        left=replace(explained.left, passes=(floors,)),
        shots=(replace(explained.shots[1], grains=grains),),
    )
    assert [row["fate"] for row in _read(grains_csv(changed))] == ["", "", "untouched", ""]


def test_a_grain_outside_or_without_a_number_is_still_a_line(run: Measurement) -> None:
    grains = GrainTable(
        np.array([0, 1], np.int16),
        np.array([-99.0, np.nan]),
        np.array([1.0, 2.0]),
        np.array([np.inf, 3.0]),
        np.array([-1, 0], np.int8),
    )
    rows = _read(grains_csv(replace(run, shots=(replace(run.shots[0], grains=grains),))))
    assert rows[0]["zone"] == "outside"
    assert (rows[0]["area_mm2"], rows[0]["diameter_mm"], rows[1]["x_mm"]) == ("", "", "")


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r\0")))
def test_any_name_comes_back_from_the_csv_files(run: Measurement, name: str) -> None:
    kinds = (KindColor(name, (1, 2, 3)), run.kinds[1])
    figures = PassFigures(1, {}, {name: {"patch": run.passes[0].zones["patch"]}})
    named = replace(run, kinds=kinds, passes=(figures,), shots=run.shots[:1])
    shown = csv_cell(name)  # an apostrophe goes before what a spreadsheet takes for a formula
    assert shown in (name, f"'{name}")
    assert _read(zones_csv(named))[0]["kind"] == shown
    assert {row["kind"] for row in _read(grains_csv(named))} == {shown, run.kinds[1].name}


def test_table_shows_every_zone_with_its_pickup_and_interval(run: Measurement) -> None:
    lines = table_text(run).splitlines()
    assert lines[2].startswith('Küche "links", hinten, 100 x 80 mm, walls top, left; debris: rote Linsen,')
    assert "After pass 1: after größer.jpg against before größer.jpg" in lines
    assert any("After 2 passes together: after2 größer.jpg against" in line for line in lines)
    header, patch = (next(line.split() for line in lines if line.startswith(start)) for start in ("zone", "patch"))
    assert header == ["zone", "pickup", "95", "%", "interval", "trust", "mm²", "grains", "mm²", "grains"]
    assert patch == ["patch", "50.0", "%", "48.0", "to", "52.5", "sound", "50.3", "7", "25.1", "4"]
    over = lines[lines.index(next(line for line in lines if line.startswith("zone"))) - 1]
    assert over.split() == ["before", "left"]
    margin = next(line.split() for line in lines if line.startswith("margin"))
    assert margin[1:4] == ["\N{EN DASH}"] * 3


def test_table_explains_negative_pickups_in_words(run: Measurement) -> None:
    assert "edge: -100.0 %, more debris lies here than before: pushed in." in table_text(run).splitlines()


def test_table_says_more_than_where_next_to_nothing_is_left(run: Measurement) -> None:
    clean = replace(run.passes[0].zones["patch"], pickup_percent=100.0, more_than_percent=99.6789)
    text = table_text(replace(run, passes=(PassFigures(1, {"patch": clean}, {}),)))
    patch = next(line for line in text.splitlines() if line.startswith("patch"))
    assert "  > 99.6 %   47.9 to 52.5  " in patch  # 47.98, down


def test_table_ends_with_the_warnings(run: Measurement) -> None:
    assert table_text(run).splitlines()[-1] == "Warning: before.jpg and after.jpg differ in light by 12 %"
    note = Flag(code="settings-differ", severity="note", sentence="sensitivity differs")
    assert table_text(replace(run, flags=(*run.flags, note))).splitlines()[-1] == "Note: sensitivity differs"


def test_table_says_why_debris_stayed_and_what_one_more_pass_may_bring(explained: Measurement) -> None:
    blocks = table_text(explained).split("\n\n")
    assert blocks[3].splitlines() == [
        "Of what stayed, 50 % was never reached, 25 % was reached and left lying, 25 %",
        "  was moved and left.",
        "Why debris stayed (these overlap):",
        "- 12 % of the debris lay where the machine never went.",
        "- 25 % of the leftovers were moved but not picked up.",
        "- Debris was flung into the margin.",
    ]
    assert blocks[5].splitlines()[0] == "Pass 2 picked up 0.1 % (-3.0 to 3.0 %) of what it found."
    assert blocks[6] == "One more pass may bring pickup to 60 % (55 to 65 %)."
    assert blocks[7].startswith("Warning: ")


def test_table_lists_kinds_only_where_there_are_several(run: Measurement) -> None:
    assert '"fine" sand' in table_text(run).splitlines()
    one = replace(run.passes[0], kinds={"rote Linsen, groß": run.passes[0].kinds["rote Linsen, groß"]})
    assert "rote Linsen, groß" not in table_text(replace(run, passes=(one,))).splitlines()


def test_table_shows_masses_where_known(run: Measurement) -> None:
    zone = ZoneFigures(
        before=Amount(1234.5, 2, 1.701), after=Amount(5.0, 1, None), gone_percent=50.0, pickup_percent=50.0
    )
    lines = table_text(replace(run, passes=(PassFigures(1, {"patch": zone}, {}),))).splitlines()
    patch = next(line for line in lines if line.startswith("patch"))
    assert patch.split()[-7:] == ["1", "234", "1.70", "2", "5.0", "\N{EN DASH}", "1"]


def test_table_needs_little_more_than_ascii(run: Measurement) -> None:
    plain = replace(run, patch=replace(run.patch, name="hall"), kinds=(KindColor("lentils", (1, 2, 3)),))
    plain = replace(plain, shots=(), passes=(replace(run.passes[0], kinds={}),))
    assert {c for c in table_text(plain) if not c.isascii()} == {"²", "\N{EN DASH}"}


narrow = st.characters(max_codepoint=0x2FF)  # neither wide nor combining: a character is a column


@given(st.text(narrow, max_size=200), st.floats(0, 1e7), st.text(narrow, max_size=300))
def test_table_is_never_wider_than_asked(run: Measurement, name: str, area: float, warning: str) -> None:
    zone = ZoneFigures(
        before=Amount(area, 10**6, area / 1e3),
        after=Amount(area, 10**6, area / 1e3),
        gone_percent=-1e4,
        pickup_percent=-1e4,
        interval95=(-1e4, 1e4),
    )
    zones = {"patch": replace(zone, more_than_percent=99.99999), name: zone}
    figures = PassFigures(1, zones, {"a": zones, name + "b": zones})
    text = table_text(replace(run, passes=(figures,), flags=(Flag(code="x", severity="note", sentence=warning),)))
    assert max(len(line) for line in text.split("\n")) <= 80


def test_names_cannot_break_the_table_or_command_the_terminal(run: Measurement) -> None:
    zones = {"patch": run.passes[0].zones["patch"], "a\n\x1b[31mb": run.passes[0].zones["edge"]}
    text = table_text(
        replace(
            run, passes=(PassFigures(1, zones, {}),), flags=(Flag(code="x", severity="note", sentence="c\x1b[0md"),)
        )
    )
    assert "\x1b" not in text
    assert any(
        line.startswith("a\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}[31mb ") for line in text.splitlines()
    )


def test_columns_stay_in_line_with_wide_characters(run: Measurement) -> None:
    zones = {"patch": run.passes[0].zones["patch"], "\u53a8\u623f": run.passes[0].zones["patch"]}
    lines = table_text(replace(run, passes=(PassFigures(1, zones, {}),))).splitlines()
    rows = [line for line in lines if "52.5  sound" in line]
    assert len(rows) == 2
    assert _columns(rows[0]) == _columns(rows[1])
    assert [_columns(row[: row.index("sound")]) for row in rows] == [_columns(rows[0][: rows[0].index("sound")])] * 2


def test_numbers_for_people() -> None:
    assert percent_text(None) == percent_text(float("nan")) == "\N{EN DASH}"
    assert [percent_text(p) for p in (99.94, 99.97, 100.0, -0.04, -12.34)] == [
        "99.9 %", "> 99.9 %", "100.0 %", "0.0 %", "-12.3 %",
    ]  # fmt: skip
    assert [more_than_text(p) for p in (7.0, 89.99, 99.6789, 99.7, 99.96, 99.9963, 99.9999999)] == [
        *("more than 7.0 %", "more than 89.9 %", "more than 99.6 %", "more than 99.7 %"),
        *("more than 99.96 %", "more than 99.996 %", "more than 99.9999 %"),
    ]
    assert interval_text((88.88, 91.11)) == "88.9 to 91.1 %"
    assert interval_text((99.678, 99.98), down=True) == "99.6 to 100.0 %"
    assert interval_text((88.88, float("inf"))) == "\N{EN DASH}"
    assert amount_text(1234567) == "1 234 567"
    assert [area_text(a) for a in (0.04, 99.94, 123.45)] == ["0.0", "99.9", "123"]
