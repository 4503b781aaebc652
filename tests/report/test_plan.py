import json

from debriscount.inputs.debris import DebrisKind
from debriscount.plan.portion import plan_portion
from debriscount.plan.runs import Repeatability, plan_runs
from debriscount.report.formats import PlanRecord
from debriscount.report.plan import plan_json, plan_text
from debriscount.simulate.expect import Expectation

from .described import described

LENTILS = DebrisKind("red lentils", (168, 72, 44), (4.0, 6.0), grain_mass_mg=35.0, area_mass_mg_per_mm2=2.0)
BRUSHES = ("setting.brush", ["rubber", "bristle"])


def portions(load: float | None = None, kind: DebrisKind = LENTILS):  # type: ignore[no-untyped-def]
    return [plan_portion(kind, 240_000.0, load)]


def expectation(*errors: float, failures: tuple[str, ...] = ()) -> Expectation:
    return Expectation(
        title="x", errors_points=errors, true_percent=(80.0,) * len(errors), failures=failures, grain_px=9.0, mm_per_px=0.2,
        height_mm=750.0, colour_difference=50.0,
    )  # fmt: skip


def text(*arguments, **options) -> str:  # type: ignore[no-untyped-def]
    return " ".join(plan_text(*arguments, **options).split())


def test_a_plan_in_words() -> None:
    said = text(plan_runs(*BRUSHES, Repeatability(2.0, 12, 0.8), 3.0), portions())
    assert (
        "Strew 19.2 g of red lentils: 80 g/m², about 549 grains, which covers 4.0 % of the patch; up to 48.0 g" in said
    )
    assert "scattered by 2.0 points (12 degrees of freedom), of which measuring explains 16 %." in said
    assert "To tell 3 points takes 10 blocks in 80 % and 12 in 90 % of cases." in said
    assert "20 runs of brush rubber and brush bristle in 10 blocks, each in an order drawn by chance" in said
    assert "run block brush 1 1 " in said


def test_a_guess_is_called_one_and_few_runs_are_called_vague() -> None:
    assert "Taken as a guess: runs scatter by 3.0 points" in text(
        plan_runs(*BRUSHES, Repeatability(3.0, None), 3.0), []
    )
    assert "not known well yet" in text(plan_runs(*BRUSHES, Repeatability(3.0, 4), 3.0), [])


def test_too_dense_and_unknown_portions() -> None:
    plan = plan_runs(*BRUSHES, Repeatability(2.0, 12), 3.0)
    assert "That is too dense: from 10 % on grains hide one another. At most 48.0 g, or a larger patch." in text(
        plan, portions(300.0)
    )
    bare = DebrisKind("fluff", (1, 1, 1), (4.0, 6.0))
    assert "Its file tells no area mass, so whether that is too dense cannot be said." in text(
        plan, portions(50.0, bare)
    )
    assert "fluff: its file tells no area mass, so give the load with --load." in text(plan, [], ["fluff"])


def test_fewer_runs_than_needed_say_what_they_tell() -> None:
    said = text(plan_runs(*BRUSHES, Repeatability(2.0, 12), 3.0, each=4, order="none"), [])
    assert "With 4 runs of each, 3 points are told in 38 % of cases, and 5.0 points in 80 %." in said
    assert "what drifts meanwhile looks like a difference" in said


def test_what_the_simulator_expects() -> None:
    plan = plan_runs(*BRUSHES, Repeatability(2.0, 12), 3.0)
    assert "each run to be measured within ±1.0 points." in text(plan, [], expected=expectation(0.5, -0.5))
    assert "too much to compare machines" in text(plan, [], expected=expectation(5.0, -5.0))
    assert "could not measure this set-up: dark" in text(plan, [], expected=expectation(failures=("dark",)))


def test_the_record_is_json() -> None:
    record = plan_json(plan_runs(*BRUSHES, Repeatability(2.0, 12), 3.0), portions(), expectation(0.5, -0.5))
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert described(PlanRecord, record)
    assert record["runs_needed"] == {"0.8": 10, "0.9": 12}
    assert len(record["tests"]) == 20
    assert record["portions"][0]["crowded"] is False
