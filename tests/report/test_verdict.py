from dataclasses import replace

import pytest

from debriscount.flags import Flag
from debriscount.pickup.records import PassFigures, ZoneFigures
from debriscount.pickup.trust import untold
from debriscount.report.tables import table_text
from debriscount.report.verdict import is_sound, verdict_text
from debriscount.run.records import Measurement


def flag(code: str, severity: str, shot: str | None = None, zone: str | None = None) -> Flag:
    return Flag(code=code, severity=severity, sentence=f"about {code}", shot=shot, zone=zone)  # type: ignore[arg-type]


def said(run: Measurement, *flags: Flag, number: int = 1, **changed: object) -> str:
    patch: ZoneFigures = replace(run.passes[0].zones["patch"], **changed)  # type: ignore[arg-type]
    return verdict_text(replace(run, passes=(PassFigures(number, {"patch": patch}, {}),), flags=flags))


def test_a_sound_figure(run: Measurement) -> None:
    assert said(run) == "Picked up 50.0 % (48.0 to 52.5): sound."
    assert said(run, number=2) == "Picked up 50.0 % (48.0 to 52.5) in 2 passes: sound."
    assert said(run, interval95=None) == "Picked up 50.0 %: sound."


def test_next_to_nothing_left(run: Measurement) -> None:
    assert said(run, pickup_percent=100.0, more_than_percent=97.19) == "Picked up more than 97.1 %: sound."


def test_a_doubtful_figure_says_why(run: Measurement) -> None:
    text = said(run, trust="doubtful", why="before.jpg is blurred")
    assert text == "Picked up 50.0 % (48.0 to 52.5): doubtful, because before.jpg is blurred."


def test_a_negative_pickup_is_put_into_words(run: Measurement) -> None:
    text = said(run, pickup_percent=-3.24, interval95=(-5.0, -1.4))
    assert text == "Picked up nothing, -3.2 % (-5.0 to -1.4): more debris lies in the patch than before: sound."


def test_what_is_not_fit_or_not_measurable_comes_before_any_figure(run: Measurement) -> None:
    unfit = flag("blurred", "unfit", "before")
    assert said(run, unfit, trust="doubtful", why="x") == "Not fit to publish: before größer.jpg is blurred."
    told = untold(run.passes[0].zones["patch"], "its 95 % interval is wider than 30 points")
    lost = replace(run, passes=(PassFigures(1, {"patch": told}, {}),), flags=())
    assert verdict_text(lost) == "Not measurable: its 95 % interval is wider than 30 points."
    assert not is_sound(lost)


def test_a_fault_of_a_shot_of_another_pass_or_zone_is_none_of_this_figure(run: Measurement) -> None:
    assert said(run, flag("blurred", "unfit", "after2")).endswith(": sound.")
    assert said(run, flag("shadow", "unfit", "after", "edge")).endswith(": sound.")


def test_a_small_fault_that_the_check_of_shots_names_is_named(run: Measurement) -> None:
    text = said(run, flag("noisy", "note", "before"), flag("settings-differ", "note"))
    assert text == "Picked up 50.0 % (48.0 to 52.5): sound, though before größer.jpg is too noisy."


@pytest.mark.parametrize("width", [50, 60, 80])
def test_the_verdict_is_the_first_line_at_any_width(explained: Measurement, width: int) -> None:
    lines = table_text(explained, width).splitlines()
    assert lines[0].startswith("Picked up 50.0 % (48.0 to 52.5) in 2")
    assert max(map(len, lines)) <= width
    assert "  sound" in next(line for line in lines if line.startswith("patch"))


def test_reasons_of_zones_stand_below_the_table_once(run: Measurement) -> None:
    zones = {
        name: replace(f, trust="doubtful", why="its 95 % interval is wider than 8 points")
        for name, f in run.passes[0].zones.items()
        if name in ("open", "corner")
    }
    patch = run.passes[0].zones["patch"]
    text = table_text(replace(run, passes=(PassFigures(1, {"patch": patch, **zones}, {}),)))
    assert "open; corner: doubtful, its 95 % interval is wider than 8 points." in text.splitlines()
    same = replace(patch, trust="doubtful", why=zones["open"].why)
    text = table_text(replace(run, passes=(PassFigures(1, {"patch": same, **zones}, {}),)))
    assert " ".join(text.split()).count("wider than 8 points") == 1  # in the first line
