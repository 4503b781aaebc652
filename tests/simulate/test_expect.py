from dataclasses import replace
from typing import Any

import pytest

import debriscount.simulate.expect as module
from debriscount.errors import NoDebrisError, SceneError
from debriscount.simulate.expect import Expectation, expect, expectation_text
from debriscount.simulate.options import scene_spec
from debriscount.simulate.scene import Scene

SPEC = scene_spec(megapixels=0.3, patch_mm="300x200", load_percent=2)
RESULT = Expectation(title="beads 4 mm on tile from 90 cm at 12 MP", errors_points=(0.3, -0.1, 0.1), true_percent=(80.0, 81.0, 79.0), failures=(), grain_px=12.0, mm_per_px=0.3, height_mm=900.0, colour_difference=40.0)  # fmt: skip


def test_figures_by_hand() -> None:
    assert RESULT.bias_points == pytest.approx(0.1)
    assert RESULT.spread_points == pytest.approx(0.2)
    assert RESULT.expect_points == pytest.approx(2 * (0.11 / 3) ** 0.5)
    text = expectation_text(RESULT)
    assert text.startswith("beads 4 mm on tile from 90 cm at 12 MP: expect ±0.4 points.\n")
    assert "3 of 3 made-up runs measured: mean error +0.10 points, standard deviation 0.20, largest 0.30." in text
    assert "Real photos add what is not modelled: " in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"errors_points": (0.2,)}, "standard deviation unknown from one run"),
        ({"errors_points": (), "failures": ("no marker",) * 3}, "this cannot be measured. What stands below says why."),
        ({"failures": ("no marker", "no marker")}, "2 of 5 runs cannot be measured; of the rest expect ±0.4 points."),
        ({"failures": ("no marker",)}, "\nNot measured: no marker\n"),
        ({"errors_points": (20.0, 30.0)}, "expect ±51 points, too much to compare machines. Neither size nor colour"),
        ({"errors_points": (20.0, 30.0), "grain_px": 0.5}, r"Grains are too small in the photo (0.5 px): go to 225 mm"),
        ({"errors_points": (20.0, 30.0), "colour_difference": 5.0}, "look alike (colour difference 5): take another"),
    ],
)  # fmt: skip
def test_the_sentence_says_whether_and_why(changes: dict[str, Any], words: str) -> None:
    assert words in expectation_text(replace(RESULT, **changes))


def test_runs_differ_and_failures_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[Scene] = []

    def measured(scene: Scene) -> float | None:
        seen.append(scene)
        if len(seen) == 2:
            raise NoDebrisError("before: nothing differs")
        if len(seen) == 3:
            return None
        true = scene.truth.pickup_percent(1)["patch"]
        assert true is not None
        return true + 0.5

    told: list[float] = []
    monkeypatch.setattr(module, "_measured_percent", measured)
    result = expect(SPEC, 4, lambda done, _what: told.append(done))
    assert result.errors_points == pytest.approx([0.5, 0.5])
    assert result.failures == (
        "before: nothing differs",
        "no pickup could be given: no debris was seen in the patch",
    )
    assert result.runs == 4
    assert told == [0, 0.25, 0.5, 0.75]
    assert len({scene.jpegs["before"] for scene in seen}) == 4
    assert result.title.startswith("red lentils 4.8 mm on planks from")
    assert result.grain_px == pytest.approx(4.79 / result.mm_per_px, rel=0.01)


@pytest.mark.parametrize("runs", [0, 201])
def test_the_number_of_runs_is_checked(runs: int) -> None:
    with pytest.raises(SceneError, match=f"expect must be from 1 to 200 runs, got {runs}."):
        expect(SPEC, runs)


def test_without_a_pass_there_is_nothing_to_expect() -> None:
    with pytest.raises(SceneError, match="the scene has no pass, so there is no pickup to expect"):
        expect(replace(SPEC, passes=()), 1)


@pytest.mark.slow
def test_large_grains_on_a_plain_floor_are_measured_well() -> None:
    result = expect(scene_spec(megapixels=0.75, patch_mm="300x200", floor="plain"), 2)
    assert result.failures == ()
    assert result.expect_points is not None
    assert result.expect_points < 3
