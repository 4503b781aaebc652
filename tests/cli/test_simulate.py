import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount.inputs.debris_file import read_debris
from debriscount.simulate import expect
from debriscount.simulate.scene import Scene
from debriscount_cli.app import app

RUNNER = CliRunner()
SMALL = ["simulate", "--megapixels", "0.3", "--patch-size", "300x200"]


def test_a_scene_is_written_and_its_truth_printed(tmp_path: Path) -> None:
    out = tmp_path / "scene"
    result = RUNNER.invoke(app, [*SMALL, "--wall", "top", "--wall", "left", "--passes", "2", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert {"blank.jpg", "before.jpg", "after.jpg", "after2.jpg", "patch.toml"} <= {p.name for p in out.iterdir()}
    truth = json.loads((out / "truth.json").read_text(encoding="utf-8"))
    shown = f"{truth['passes'][1]['zones']['corner']['pickup_by_area_percent']:.2f} %"
    assert shown in result.stdout
    assert "Not modelled:\n" in result.stdout
    assert result.stderr.startswith(f"wrote {out}: blank.jpg, before.jpg, ")


def test_the_path_asked_for_is_driven(tmp_path: Path) -> None:
    out = tmp_path / "scene"
    result = RUNNER.invoke(app, [*SMALL, "--path", "wander", "--out", str(out)])
    assert result.exit_code == 0, result.output
    passed = json.loads((out / "truth.json").read_text(encoding="utf-8"))["passes"][0]
    assert (passed["lanes"], passed["path"]["name"]) == (None, "wander")
    assert f"{passed['zones']['patch']['reached_percent']:.2f} %" in result.stdout


def test_debris_may_be_named(tmp_path: Path) -> None:
    out = tmp_path / "scene"
    result = RUNNER.invoke(app, [*SMALL, "--debris", "green lentils", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert read_debris(out / "green-lentils.toml").name == "green lentils"


def test_nothing_asked_for_is_exit_code_2() -> None:
    result = RUNNER.invoke(app, SMALL)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "nothing to do. Give --out DIR for photos, or --expect N for what to expect.\n"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--floor", "grass"], 'floor.kind "grass" is unknown.'),
        (["--path", "zigzag"], 'passes[1].path "zigzag" is unknown. Known are: lanes, wander, spiral, everywhere.'),
        (["--camera-height", "80"], "Raise the camera to"),
        (["--wall", "ceiling"], 'wall "ceiling" is unknown.'),
        (["--expect", "-3"], "expect must be from 1 to 200 runs, got -3."),
        (["--size", "3"], "debris lacks its color."),
        (["--debris", "red-lentil"], 'debris "red-lentil": there is no file of that name. Did you mean "red-lentils"?'),
    ],
)
def test_a_wrong_option_is_one_line_and_exit_code_2(tmp_path: Path, options: list[str], words: str) -> None:
    out = [] if "--expect" in options else ["--out", str(tmp_path / "scene")]
    result = RUNNER.invoke(app, [*SMALL, *out, *options])
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_what_to_expect_is_one_sentence_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """With errors that are made up: `tests/simulate/test_expect.py` measures photos."""

    def half_a_point_off(scene: Scene) -> float | None:
        true = scene.truth.pickup_percent(1)["patch"]
        return None if true is None else true + 0.5

    monkeypatch.setattr(expect, "_measured_percent", half_a_point_off)
    result = RUNNER.invoke(app, [*SMALL, "--floor", "plain", "--expect", "1"])
    assert result.exit_code == 0, result.output
    first = result.stdout.splitlines()[0]
    assert first.startswith("red lentils 4.8 mm on plain from ")
    assert ": expect ±" in first
