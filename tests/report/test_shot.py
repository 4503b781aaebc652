import json

from debriscount.fitness.records import Finding, Fitness, at_least, at_most, told
from debriscount.report.shot import shot_json, shot_text

GOOD = at_least("markers seen", 4, "of 4", 3, "three fix the plane of the floor", "Uncover them.")
BAD = at_most("edge spread", 5.234, "px", 3.1, "blur shrinks grains", "Focus on the floor.")
NOTE = told("scale", None, "mm/px", "at the farthest corner", "Give the debris file.")


def test_the_verdict_comes_first_and_what_to_do_last() -> None:
    text = shot_text(Fitness("before.jpg", "blank.jpg", 0.5, (GOOD, BAD, NOTE)))
    first, *rows, do, note = text.splitlines()
    assert first == "before.jpg: NOT FIT to measure pickup to 0.5 points, against blank.jpg"
    assert rows[0].startswith("  markers seen  4 of 4")
    assert rows[1].startswith("! edge spread   5.23 px  at most 3.1")
    assert rows[2].startswith("  scale         -")
    assert do == "To do: Focus on the floor."
    assert note == "Note: Give the debris file."


def test_a_fit_shot_says_so() -> None:
    assert shot_text(Fitness("a.jpg", "", 1.0, (GOOD,))).startswith("a.jpg: FIT to measure pickup to 1 point\n")


def test_advice_is_given_once() -> None:
    assert shot_text(Fitness("a.jpg", "", 1.0, (BAD, BAD))).count("Focus") == 1


def test_the_record_holds_value_limit_and_reason() -> None:
    record = json.loads(json.dumps(shot_json([Fitness("a.jpg", "", 1.0, (GOOD, BAD, NOTE))]), allow_nan=False))
    assert record["format"] == "debriscount/shot/1"
    (shot,) = record["shots"]
    assert shot["fit"] is False
    assert shot["against"] is None
    good, bad, note = shot["findings"]
    assert (good["limit"], good["limit_is"], good["fit"], good["advice"]) == (3, "least", True, "")
    assert (bad["value"], bad["limit_is"], bad["fit"]) == (5.234, "most", False)
    assert (note["value"], note["limit"], note["limit_is"]) == (None, None, None)


def test_a_value_at_its_limit_is_fit() -> None:
    assert at_most("x", 2.0, "", 2.0, "", "").fit
    assert at_least("x", 2.0, "", 2.0, "", "").fit
    assert isinstance(GOOD, Finding)
