import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import debriscount
from debriscount.grains.table import GrainTable
from debriscount.pickup.records import Amount
from debriscount.registration.grid import FloorGrid
from debriscount.run.records import Counted, KindColor
from debriscount.shipped import shipped_folder
from debriscount_cli.app import app

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

RUNNER = CliRunner()
SCENE = shipped_folder("debriscount._reference", "reference_images") / "lentils-oak-corner"


def run(*arguments: str | Path):  # type: ignore[no-untyped-def]
    return RUNNER.invoke(app, ["count", *(str(argument) for argument in arguments)])


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Put a made-up result in the place of counting; holds what counting was called with, photo by photo."""
    none = np.zeros(0)
    grid = FloorGrid(0.1, 0.1, 0.2, 200, 300)
    amount = Amount(123.0, 7, None)
    calls: list[dict[str, Any]] = []

    def count(photo: Path, **options: Any) -> Counted:
        calls.append({"photo": photo, **options})
        return Counted(
            file=photo.name, sha256="0" * 64, blank_file="", blank_sha256="", patch=None, region=(0, 0, 300, 200), mm_per_px=0.2, grid=grid,
            kinds=(KindColor("debris", (200, 90, 50)),), zones={"patch": amount}, by_kind={"debris": {"patch": amount}},
            grains=GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8)),
            floor_view=np.full((*grid.shape, 3), 150, np.uint8), kind_map=np.zeros(grid.shape, np.uint8), warnings=("it is dark.",),
        )  # fmt: skip

    monkeypatch.setitem(vars(debriscount), "count", count)
    return calls


def test_every_option_reaches_the_library(counted: list[dict[str, Any]]) -> None:
    result = run(
        "a.jpg", "b.jpg", "--mm-per-px", "0.2", "--region", "1,2,300,200", "--blank", "c.jpg",
        "--debris", "d.toml", "--debris", "e.toml",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert [call["photo"] for call in counted] == [Path("a.jpg"), Path("b.jpg")]
    for call in counted:
        assert (call["patch"], call["mm_per_px"], call["region"]) == (None, 0.2, (1, 2, 300, 200))
        assert call["blank"] == Path("c.jpg")
        assert list(call["debris"]) == [Path("d.toml"), Path("e.toml")]
        assert call["progress"] is None  # stderr is no terminal here
    assert run("a.jpg", "--patch", "p.toml").exit_code == 0
    assert (counted[-1]["patch"], counted[-1]["mm_per_px"], counted[-1]["region"]) == (Path("p.toml"), None, None)
    assert list(counted[-1]["debris"]) == []


@pytest.mark.usefixtures("counted")
def test_the_table_goes_to_stdout_and_nothing_is_written_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("a.jpg", "b.jpg", "--mm-per-px", "0.2")
    assert (result.exit_code, result.stderr) == (0, "")
    assert [line.split(":")[0] for line in result.stdout.splitlines() if "region" in line] == ["a.jpg", "b.jpg"]
    assert result.stdout.count("Warning: it is dark.") == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("counted")
def test_json_is_all_that_stdout_gets(tmp_path: Path) -> None:
    result = run("a.jpg", "b.jpg", "--mm-per-px", "0.2", "--json", "--out", tmp_path / "out")
    record = json.loads(result.stdout)
    assert record["format"] == "debriscount/count/1"
    assert [photo["file"] for photo in record["photos"]] == ["a.jpg", "b.jpg"]
    assert record["photos"][0]["zones"] == {
        "patch": {"area_mm2": 123.0, "grains": 7, "grains_interval95": None, "mass_g": None}
    }
    assert record["photos"][0]["warnings"] == ["it is dark."]
    assert record == json.loads((tmp_path / "out" / "count.json").read_text(encoding="utf-8"))
    assert result.stderr == "Warning: a.jpg: it is dark.\nWarning: b.jpg: it is dark.\n"


@pytest.mark.usefixtures("counted")
def test_quiet_leaves_the_warnings_and_the_files(tmp_path: Path) -> None:
    result = run("a.jpg", "--mm-per-px", "0.2", "--quiet", "--out", tmp_path / "out")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == "Warning: a.jpg: it is dark.\n"
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"count.json", "zones.csv", "grains.csv", "overlay-a.jpg"}


@pytest.mark.usefixtures("counted")
def test_what_was_written_is_told(tmp_path: Path) -> None:
    result = run("a.jpg", "--mm-per-px", "0.2", "--out", tmp_path / "out")
    assert result.stderr == f"wrote {tmp_path / 'out'}: count.json, zones.csv, grains.csv, overlay-a.jpg\n"


@pytest.mark.usefixtures("counted")
def test_a_result_that_cannot_be_written_is_exit_code_2(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    result = run("a.jpg", "--mm-per-px", "0.2", "--out", tmp_path / "out")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "out: is a file, not a folder." in result.stderr


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ([], "with its scale (--mm-per-px); got neither of them."),
        (["--patch", "p.toml", "--mm-per-px", "0.1"], "with its scale (--mm-per-px); got both."),
        (["--patch", "p.toml", "--region", "0,0,100,100"], "a region goes with the scale of a photo without markers"),
        (["--mm-per-px", "0"], "mm_per_px must be a number from 1e-06 to 1000, got 0. It is"),
        (["--mm-per-px", "nan"], "mm_per_px must be a number from 1e-06 to 1000, got nan. It is"),
        (["--mm-per-px", "0.1", "--region", "0,0,100"], 'region must be written "X,Y,W,H"'),
        (["--mm-per-px", "0.1", "--region", "0,0,9999,100"], "region 0,0,9999,100: reaches beyond before.jpg"),
        (["--mm-per-px", "0.1", "--region", "-1,0,100,100"], "region -1,0,100,100: reaches beyond before.jpg"),
        (["--mm-per-px", "1e-5", "--debris", str(SCENE / "red-lentils.toml")], "less than a grain of red lentils"),
        (["--mm-per-px", "0.1", "--debris", "none.toml"], "none.toml: there is no such file."),
        (["--patch", "none.toml"], "none.toml: there is no such file."),
        (["--mm-per-px", "0.1", "--blank", "none.jpg"], "none.jpg: there is no such file."),
    ],
)
def test_wrong_input_is_one_line_and_exit_code_2(options: list[str], message: str) -> None:
    result = run(SCENE / "before.jpg", *options)
    assert (result.exit_code, result.stdout) == (2, "")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


def test_help_names_every_option() -> None:
    result = run("--help")
    assert result.exit_code == 0
    for option in ("--patch", "--mm-per-px", "--region", "--blank", "--debris", "--out", "--json", "--quiet"):
        assert option in result.stdout


def test_a_scale_that_is_no_number_is_exit_code_2() -> None:
    assert run("a.jpg", "--mm-per-px", "fine").exit_code == 2


def test_a_photo_is_required() -> None:
    result = run("--mm-per-px", "0.1")
    assert result.exit_code == 2
    assert "PHOTO" in result.stderr


def test_a_photo_without_the_patchs_markers_is_exit_code_3(tmp_path: Path) -> None:
    Image.fromarray(np.full((300, 400, 3), 150, np.uint8)).save(tmp_path / "floor.png")
    result = run(tmp_path / "floor.png", "--patch", SCENE / "patch.toml", "--out", tmp_path / "out")
    assert (result.exit_code, result.stdout) == (3, "")
    assert "floor.png: found 0 of the patch's" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_leftovers_are_counted_and_written(scene: "SceneOnDisk", tmp_path: Path) -> None:
    words: list[str | Path] = [
        "--patch",
        scene.patch,
        "--blank",
        str(scene.blank),
        "--debris",
        scene.debris[0],
        "--json",
    ]
    result = run(scene.afters[0], *words, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    photo = json.loads(result.stdout)["photos"][0]
    for zone, amount in scene.scene.truth.amounts(1).items():
        if zone in ("patch", "open", "edge"):
            assert photo["zones"][zone]["grains"] == pytest.approx(amount.grains, rel=0.1)
    assert (tmp_path / "out" / "overlay-after.jpg").is_file()
