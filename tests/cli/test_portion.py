import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.debris_names import shipped_debris
from debriscount.portions import calibrate as stage
from debriscount.portions.records import PortionCalibration, PortionShot, WeighedPortion
from debriscount.safety import MINERAL_DUST
from debriscount.stats.quantity import Quantity
from debriscount_cli._group import ErrorsToExitCodes
from debriscount_cli.portion import portion

RUNNER = CliRunner()
APP = typer.Typer(cls=ErrorsToExitCodes, pretty_exceptions_enable=False)
APP.command()(portion)


@APP.callback()
def _group() -> None:
    pass


def run(*arguments: str | Path):  # type: ignore[no-untyped-def]
    return RUNNER.invoke(APP, ["portion", *(str(argument) for argument in arguments)])


@pytest.fixture
def learned(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Put made-up portions in the place of photos; holds what learning was called with."""
    calls: list[dict[str, Any]] = []
    cells = np.full(20, 0.05)
    portions = [
        WeighedPortion(
            Quantity(m, 0.02),
            (
                PortionShot(
                    file=f"{m}.jpg",
                    sha256="0" * 64,
                    cell_cover=cells,
                    cell_mm2=m * 30.0,
                    bare_mm2=0.0,
                    u_bare_mm2=0.0,
                    grains=2 * m,
                    u_grains=0.5,
                ),
            ),
        )
        for m in (5, 10, 20)
    ]

    def calibrate(patch: Path, debris: Path, given: list[str], **options: Any) -> PortionCalibration:
        calls.append({"patch": patch, "debris": debris, "portions": given, **options})
        kind = DebrisKind("rice", (220, 210, 190), (1.1, 1.9) if debris.name == "sand.toml" else (4.4, 5.6))
        return stage.learn(kind, portions, "bench", "2026-11-25", told=["5.jpg: it is dark"])

    monkeypatch.setattr(stage, "calibrate", calibrate)
    return calls


COMMON = ("--patch", "p.toml", "--debris", "d.toml")


def test_every_option_reaches_the_library(learned: list[dict[str, Any]]) -> None:
    result = run(
        "a.jpg=5", "b.jpg=10±0.1", *COMMON, "--blank", "c.jpg", "--thousand-grain-mass-g", "16.7±0.2",
        "--at-g", "12", "--remark", "made up", "--lens", "l.toml",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    (call,) = learned
    assert (call["patch"], call["debris"], call["blank"]) == (Path("p.toml"), Path("d.toml"), Path("c.jpg"))
    assert call["lens"] == Path("l.toml")
    assert call["portions"] == ["a.jpg=5", "b.jpg=10±0.1"]
    assert (call["thousand_g"], call["at_g"], call["remark"]) == (Quantity(16.7, 0.1), 12.0, "made up")


def test_debris_may_be_named(learned: list[dict[str, Any]]) -> None:
    assert run("a.jpg=5", "--patch", "p.toml", "--debris", "red-lentils").exit_code == 0
    assert learned[0]["debris"] == shipped_debris() / "red-lentils.toml"


@pytest.mark.usefixtures("learned")
def test_text_goes_to_stdout_and_nothing_is_written_unasked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("a.jpg=5", *COMMON)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Rice: a mm² seen from above weighs" in result.stdout
    assert "Warning: 5.jpg: it is dark" in result.stdout
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("learned")
def test_json_is_all_that_stdout_gets(tmp_path: Path) -> None:
    result = run("a.jpg=5", *COMMON, "--json", "--out", tmp_path / "rice.toml")
    assert json.loads(result.stdout)["format"] == "debriscount/portion/1"
    assert result.stderr == "Warning: 5.jpg: it is dark\n"
    assert read_debris(tmp_path / "rice.toml").calibration is not None


@pytest.mark.usefixtures("learned")
def test_quiet_leaves_the_warnings_and_the_file(tmp_path: Path) -> None:
    result = run("a.jpg=5", *COMMON, "--quiet", "--out", tmp_path / "rice.toml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", "Warning: 5.jpg: it is dark\n")
    assert (tmp_path / "rice.toml").is_file()


def test_a_file_that_is_there_is_refused_before_photos_are_read(tmp_path: Path, learned: list[dict[str, Any]]) -> None:
    file = tmp_path / "rice.toml"
    file.write_text("mine")
    result = run("a.jpg=5", *COMMON, "--out", file)
    assert (result.exit_code, result.stdout, learned) == (2, "", [])
    assert "rice.toml: is there already." in result.stderr
    assert file.read_text() == "mine"
    result = run("a.jpg=5", *COMMON, "--out", file, "--overwrite")
    assert result.exit_code == 0
    assert result.stderr == f"wrote {file}\n"
    assert "[calibration]" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["a.jpg=5", "--patch", "none.toml", "--debris", "d.toml"], "none.toml: there is no such file."),
        (["a.jpg=5", *COMMON, "--thousand-grain-mass-g", "x"], '--thousand-grain-mass-g: "x" is no mass in grams.'),
    ],
)
def test_wrong_input_is_one_line_and_exit_code_2(arguments: list[str], message: str) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_portion_patch_and_debris_are_required() -> None:
    assert run(*COMMON).exit_code == 2
    assert run("a.jpg=5", "--patch", "p.toml").exit_code == 2
    assert run("a.jpg=5", "--debris", "d.toml").exit_code == 2


@pytest.mark.usefixtures("learned")
@pytest.mark.parametrize(("debris", "told"), [("sand.toml", True), ("rice.toml", False)])
def test_how_to_clear_up_fine_dust_is_told(debris: str, told: bool) -> None:
    result = run("a.jpg=5", "--patch", "p.toml", "--debris", debris)
    assert result.exit_code == 0, result.output
    assert (MINERAL_DUST in result.stderr) is told
