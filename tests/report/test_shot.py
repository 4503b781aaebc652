import json
from dataclasses import replace

import pytest

from debriscount.report.formats import ShotRecord
from debriscount.report.shot import MOST_LINES, details_text, shot_json, shot_text
from debriscount.shot_check.records import Finding, Fitness, at_least, at_most, told

from .described import described

GOOD = at_least("markers seen", 4, "of 4", 3, "three fix the plane of the floor", "Uncover them.", "markers-hidden")
BAD = at_most("edge spread", 5.234, "px", 3.1, "blur shrinks grains", "Focus on the floor.", "blurred")
SYMPTOM = at_most("markers off", 2.0, "mm", 1.0, "", "Measure the markers' places again.", "markers-off")
NOTE = told("scale", None, "mm/px", "at the farthest corner", "Give the debris file.")
LONG = "Hold the camera over the middle of the patch, looking straight down, and take it again from there. "


def test_the_verdict_comes_first_then_what_to_do_then_the_debris() -> None:
    shot = Fitness("before.jpg", "blank.jpg", 0.5, (GOOD, SYMPTOM, BAD, NOTE))
    assert shot_text(shot, "About 160 more grains lie here than in blank.jpg.").splitlines() == [
        "NOT FIT: before.jpg to measure pickup to 0.5 points, against blank.jpg",
        "- Focus on the floor.",
        "- Give the debris file.",
        "About 160 more grains lie here than in blank.jpg.",
    ]


def test_the_verdict_stays_on_the_screen_when_it_comes_last() -> None:
    lines = shot_text(Fitness("before.jpg", "", 1.0, (BAD,)), "No debris is seen here.", verdict_last=True).splitlines()
    assert lines == [
        "- Focus on the floor.",
        "No debris is seen here.",
        "NOT FIT: before.jpg to measure pickup to 1 point",
    ]


def test_a_fit_shot_says_so_and_no_more() -> None:
    assert shot_text(Fitness("a.jpg", "", 1.0, (GOOD,))) == "FIT: a.jpg to measure pickup to 1 point\n"


@pytest.mark.parametrize("width", [50, 60, 80, 200])
@pytest.mark.parametrize("advice", [["Do this."] * 5, [LONG, "Do that."], [5 * LONG], ["Do that.", 5 * LONG, "So."]])
def test_what_to_do_takes_three_lines_at_most(width: int, advice: list[str]) -> None:
    faults = [at_most("x", 2.0, "", 1.0, "", f"{number} {one}", str(number)) for number, one in enumerate(advice)]
    text = shot_text(Fitness("a.jpg", "", 1.0, faults), "", width)
    verdict, *todo = text.splitlines()
    assert verdict.startswith("NOT FIT: a.jpg")
    assert 1 <= len(todo) <= MOST_LINES == 3
    assert todo[0].startswith("- 0 ")
    assert max(map(len, todo)) <= width


def test_a_missing_marker_is_told_without_the_files_name_twice() -> None:
    fault = Finding(
        name="markers seen",
        value=None,
        unit="of 4",
        limit=3,
        least=True,
        fit=False,
        reason="",
        advice="a.jpg: found 2 of 4. Retake it.",
        code="markers-hidden",
    )
    assert shot_text(Fitness("a.jpg", "", 1.0, (fault,))).splitlines()[1] == "- Found 2 of 4. Retake it."


def test_details_are_a_table_with_all_advice_below() -> None:
    *lines, do, note = details_text(Fitness("before.jpg", "blank.jpg", 0.5, (GOOD, BAD, NOTE))).splitlines()
    rows = [line for line in lines if not line.startswith("    ")]
    assert len(lines) - len(rows) == sum(bool(f.reason) for f in (GOOD, BAD))
    assert rows[0].startswith("  markers seen  4 of 4")
    assert rows[1].startswith("! edge spread   5.23 px  at most 3.1")
    assert len(rows) == 2, "what is but a remark is said below"
    assert do == "To do: Focus on the floor."
    assert note == "Note: Give the debris file."


def test_advice_is_given_once() -> None:
    assert shot_text(Fitness("a.jpg", "", 1.0, (BAD, BAD))).count("Focus") == 1
    assert details_text(Fitness("a.jpg", "", 1.0, (BAD, BAD))).count("Focus") == 1


def test_the_record_holds_value_limit_and_reason() -> None:
    record = json.loads(json.dumps(shot_json([Fitness("a.jpg", "", 1.0, (GOOD, BAD, NOTE))]), allow_nan=False))
    assert record["format"] == "debriscount/shot/1"
    assert described(ShotRecord, record)
    (shot,) = record["shots"]
    assert shot["fit"] is False
    assert shot["against"] is None
    good, bad, note = shot["findings"]
    assert (good["limit"], good["limit_is"], good["fit"], good["advice"]) == (3, "least", True, "")
    assert (bad["value"], bad["limit_is"], bad["fit"], bad["code"]) == (5.234, "most", False, "blurred")
    assert (note["value"], note["limit"], note["limit_is"]) == (None, None, None)


def test_a_value_at_its_limit_is_fit() -> None:
    assert at_most("x", 2.0, "", 2.0, "", "").fit
    assert at_least("x", 2.0, "", 2.0, "", "").fit
    assert isinstance(GOOD, Finding)


@pytest.mark.parametrize("width", [60, 80, 200])
def test_details_fit_the_terminal(width: int) -> None:
    long = replace(BAD, reason="blur of half a grain takes its rim away " * 5, advice="Focus on the floor. " * 9)
    text = details_text(Fitness("before.jpg", "blank.jpg", 0.5, (GOOD, long, NOTE)), width)
    assert max(map(len, text.splitlines())) <= width
    assert "takes its rim" in text


def test_in_a_narrow_window_value_and_limit_stand_behind_the_name() -> None:
    long = replace(BAD, name="JPEG steps against the other shot", unit="times")
    bare = Finding(
        name="debris of the file",
        value=None,
        unit="",
        limit=None,
        least=True,
        fit=False,
        reason="",
        advice="Is it the right file?",
        code="not-found",
    )
    text = details_text(Fitness("before.jpg", "", 0.5, (long, bare)), 50)
    assert text.splitlines()[0] == "! JPEG steps against the other shot: 5.23 times, at most 3.1"
    assert "! debris of the file\n" in text
