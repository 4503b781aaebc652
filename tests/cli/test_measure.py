import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest
from typer.testing import CliRunner

import debriscount
from debriscount.flags import Flag
from debriscount.grains.table import GrainTable
from debriscount.inputs.patch_file import read_patch
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.registration.grid import FloorGrid
from debriscount.run.records import KindColor, MeasuredShot, Measurement
from debriscount.shipped import shipped_folder
from debriscount_cli.app import app

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

RUNNER = CliRunner()
SCENE = shipped_folder("debriscount._reference", "reference_images") / "lentils-oak-corner"


def run(out: Path, *arguments: str, patch: Path = SCENE / "patch.toml", before: Path = SCENE / "before.jpg"):  # type: ignore[no-untyped-def]
    after = SCENE / "after.jpg"
    return RUNNER.invoke(
        app, ["measure", "--patch", str(patch), "--out", str(out), *arguments, str(before), str(after)]
    )


def test_a_missing_patch_file_is_exit_code_2_and_writes_nothing(tmp_path: Path) -> None:
    result = run(tmp_path / "out", patch=tmp_path / "patch.toml")
    assert result.exit_code == 2
    assert result.stderr == f"{tmp_path / 'patch.toml'}: there is no such file. Give the path of the patch file.\n"
    assert result.stdout == ""
    assert not (tmp_path / "out").exists()


def test_a_missing_photo_is_exit_code_2(tmp_path: Path) -> None:
    result = run(tmp_path / "out", before=tmp_path / "none.jpg")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "none.jpg: there is no such file. Give the path of a photo." in result.stderr


def test_a_wrong_debris_file_is_exit_code_2(tmp_path: Path) -> None:
    debris = tmp_path / "debris.toml"
    debris.write_text('[debris]\nname = "rice"\ncolor = "white"\nsize_mm = [3, 4]\n')
    result = run(tmp_path / "out", "--debris", str(debris))
    assert (result.exit_code, result.stdout) == (2, "")
    assert 'debris.toml line 3: [debris] color has the wrong form, got "white".' in result.stderr


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Put a made-up result in the place of measuring; holds what measuring was called with."""
    patch = read_patch(SCENE / "patch.toml")
    grid = FloorGrid(-59.0, -59.0, 2.0, 260, 360)
    none = np.zeros(0)
    shots = tuple(
        MeasuredShot(
            name=name, file=f"{name}.jpg", sha256="0" * 64, markers_seen=(0, 1, 2), residual_mm=0.1,
            floor_view=np.full((*grid.shape, 3), 150, np.uint8), kind_map=np.zeros(grid.shape, np.uint8),
            grains=GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8)),
        )
        for name in ("before", "after")
    )  # fmt: skip
    zones = {
        name: ZoneFigures(
            before=Amount(100.0, 5, None),
            after=Amount(25.0, 1, None),
            gone_percent=75.0,
            pickup_percent=75.0,
            interval95=(70.0, 80.0),
        )
        for name in ("patch", *patch.zone_names())
    }
    kinds = (KindColor("debris", (200, 90, 50)),)
    passes = (PassFigures(1, zones, {"debris": zones}),)
    result = Measurement(
        patch=patch,
        grid=grid,
        kinds=kinds,
        shots=shots,
        passes=passes,
        flags=(Flag(code="dark", severity="doubtful", sentence="the blank is dark."),),
    )
    called: dict[str, Any] = {"result": result}

    def measure(*arguments: Any, **options: Any) -> Measurement:
        called.update(options, arguments=arguments)
        if options["progress"] is not None:
            options["progress"](0.0, "reading photos")
            options["progress"](1.0, "done")
        return cast(Measurement, called["result"])

    monkeypatch.setitem(vars(debriscount), "measure", measure)
    return called


def test_every_option_reaches_the_library(tmp_path: Path, measured: dict[str, Any]) -> None:
    options = ["--blank", "c.jpg", "--debris", "d.toml", "--debris", "e.toml", "--allow-growth"]
    options += ["--lens", "l.toml", "--weighing", "w.toml"]
    assert run(tmp_path / "out", *options, before=Path("b.jpg"), patch=Path("p.toml")).exit_code == 0
    assert measured["arguments"] == (Path("p.toml"), Path("b.jpg"), [SCENE / "after.jpg"])
    assert measured["blank"] == Path("c.jpg")
    assert list(measured["debris"]) == [Path("d.toml"), Path("e.toml")]
    assert measured["allow_growth"] is True
    assert (measured["lens"], measured["weighing"]) == (Path("l.toml"), Path("w.toml"))
    assert measured["progress"] is None  # stderr is no terminal here


def test_the_table_goes_to_stdout_and_what_was_written_to_stderr(tmp_path: Path, measured: dict[str, Any]) -> None:
    result = run(tmp_path / "out")
    assert result.exit_code == 0
    assert "75" in result.stdout
    assert result.output.count("the blank is dark.") == 1
    assert result.stderr.startswith(f"wrote {tmp_path / 'out'}: measurement.json, zones.csv, grains.csv, ")
    assert {"measurement.json", "zones.csv", "grains.csv"} <= {path.name for path in (tmp_path / "out").iterdir()}
    assert measured["allow_growth"] is False


@pytest.mark.usefixtures("measured")
def test_json_is_all_that_stdout_gets(tmp_path: Path) -> None:
    result = run(tmp_path / "out", "--json")
    record = json.loads((tmp_path / "out" / "measurement.json").read_text(encoding="utf-8"))
    assert json.loads(result.stdout) == record
    assert result.stderr == "Warning: the blank is dark.\n"


@pytest.mark.usefixtures("measured")
def test_quiet_leaves_the_warnings_alone(tmp_path: Path) -> None:
    result = run(tmp_path / "out", "--quiet")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == "Warning: the blank is dark.\n"


@pytest.mark.usefixtures("measured")
def test_timings_go_to_stderr_by_stage(tmp_path: Path) -> None:
    plain, timed = run(tmp_path / "out"), run(tmp_path / "timed", "--timings")
    assert (timed.exit_code, timed.stdout) == (0, plain.stdout)
    stages = [line.rsplit(maxsplit=2)[0] for line in timed.stderr.splitlines()[1:]]
    assert stages[:4] == ["loading", "reading photos", "writing", "in all"]


@pytest.mark.parametrize(("trust", "code"), [("sound", 0), ("doubtful", 3), ("not measurable", 3)])
def test_strict_exits_with_3_unless_the_figure_is_sound(
    tmp_path: Path, measured: dict[str, Any], trust: str, code: int
) -> None:
    result = measured["result"]
    patch = replace(result.passes[0].zones["patch"], trust=trust)
    measured["result"] = replace(result, passes=(replace(result.passes[0], zones={"patch": patch}),))
    assert run(tmp_path / "out").exit_code == 0
    strict = run(tmp_path / "strict", "--strict")
    assert strict.exit_code == code
    assert (tmp_path / "strict" / "measurement.json").is_file()
    assert "wrote " in strict.stderr


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_the_verdict_is_the_first_line_and_no_line_is_too_long(
    tmp_path: Path, measured: dict[str, Any], monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = run(tmp_path / "out").stdout.splitlines()
    assert lines[0] == "Picked up 75.0 % (70.0 to 80.0): doubtful."
    assert max(map(len, lines)) <= min(columns, 80)


@pytest.mark.usefixtures("measured")
def test_a_result_that_cannot_be_written_is_exit_code_2(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    result = run(tmp_path / "out")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "out: is a file, not a folder." in result.stderr


@pytest.mark.parametrize("left_out", ["--patch", "--out"])
def test_patch_and_out_are_required(tmp_path: Path, left_out: str) -> None:
    options = {"--patch": "patch.toml", "--out": str(tmp_path)}
    del options[left_out]
    result = RUNNER.invoke(app, ["measure", *(word for pair in options.items() for word in pair), "b.jpg", "a.jpg"])
    assert result.exit_code == 2
    assert left_out in result.stderr


def test_after_is_required(tmp_path: Path) -> None:
    result = RUNNER.invoke(app, ["measure", "--patch", "p", "--out", str(tmp_path), "before.jpg"])
    assert result.exit_code == 2
    assert "AFTER" in result.stderr


@pytest.mark.slow
def test_a_run_is_measured_and_written(scene: "SceneOnDisk", tmp_path: Path) -> None:
    words = ["measure", "--patch", scene.patch, "--out", tmp_path / "out", "--debris", scene.debris[0], "--json"]
    result = RUNNER.invoke(app, [*map(str, words), str(scene.before), str(scene.afters[0])])
    assert result.exit_code == 0, result.output
    record = json.loads((tmp_path / "out" / "measurement.json").read_text(encoding="utf-8"))
    assert json.loads(result.stdout) == record
    assert record["passes"][0]["zones"]["patch"]["pickup_percent"] == pytest.approx(
        scene.scene.truth.pickup_percent(1)["patch"], abs=1.5
    )
    assert (tmp_path / "out" / "zones.csv").is_file()
    assert (tmp_path / "out" / "grains.csv").is_file()
