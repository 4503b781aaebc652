from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from debriscount.inputs.patch import Marker
from debriscount.inputs.patch_file import read_patch
from debriscount.layout.lay_patch import lay_patch
from debriscount_cli.app import app

RUNNER = CliRunner()
ALL = [
    "--name", "bench", "--size", "600x400", "--place", "wall", "--wall", "left", "--edge", "25", "--margin", "50",
    "--marker-side", "45", "--paper", "letter",
]  # fmt: skip


def new(out: Path, *options: str, answers: str | None = None) -> Any:
    return RUNNER.invoke(app, ["patch", "new", "--out", str(out), *options], input=answers)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "patch.toml"


def test_all_given_by_options_asks_nothing(out: Path) -> None:
    result = new(out, *ALL)
    assert result.exit_code == 0, result.output
    expected = lay_patch(600, 400, ("left",), name="bench", edge_mm=25, margin_mm=50, marker_side_mm=45)
    assert read_patch(out) == expected
    assert result.stdout.startswith('Patch "bench": 600 x 400 mm, wall at left.\n')
    assert "?" not in result.stdout
    assert f"wrote {out}; print its markers with\n" in result.stderr
    assert f"debriscount markers --patch {out} --paper letter --out markers.pdf\n" in result.stderr


def test_questions_are_answered_read_back_and_saved(out: Path) -> None:
    result = new(out, answers="kitchen\n500x300\ncorner\ntop,left\n\n\n\n\nletter\ny\n")
    assert result.exit_code == 0, result.output
    assert read_patch(out) == lay_patch(500, 300, ("top", "left"), name="kitchen")
    shown = result.stdout
    assert (
        shown.index("Name of the patch [patch]") < shown.index('Patch "kitchen"') < shown.index(f"Save this as {out}?")
    )


def test_a_wrong_answer_is_asked_for_again(out: Path) -> None:
    answers = "bench\nlarge\n500x300\nstairs\nwall\nfloor\nbottom\n-1\n\n\nbig\n\nlegal\n\n\n"
    result = new(out, answers=answers)
    assert result.exit_code == 0, result.output
    assert read_patch(out) == lay_patch(500, 300, ("bottom",), name="bench")
    for words in (
        'the size must be written "600x400"', 'place "stairs" is unknown', 'wall "floor" is unknown',
        "a zone's width must be 0 or more", "the side of the black squares must be", 'paper "legal" is unknown',
    ):  # fmt: skip
        assert words in result.stderr


def test_no_saves_nothing(out: Path) -> None:
    result = new(out, answers="\n\n\n\n\n\nn\n")
    assert (result.exit_code, out.exists()) == (0, False)
    assert result.stderr == "nothing saved\n"


def test_the_usual_is_taken_for_the_rest(out: Path) -> None:
    assert new(out, "--yes", "--wall", "top", "--wall", "right").exit_code == 0
    assert read_patch(out) == lay_patch(600, 400, ("top", "right"), name="patch")


def test_own_places_are_kept(out: Path) -> None:
    markers = ["--marker", "7,-100,-100", "--marker", "8,700,-100", "--marker", "9,700,500"]
    assert new(out, "--yes", *markers).exit_code == 0
    assert read_patch(out).markers == tuple(
        Marker(n, place, 50) for n, place in ((7, (-100, -100)), (8, (700, -100)), (9, (700, 500)))
    )


def test_a_file_that_is_there_stays_unless_told(out: Path) -> None:
    out.write_text("mine")
    result = new(out)
    assert (result.exit_code, result.stdout, out.read_text()) == (2, "", "mine")
    assert result.stderr == f"{out}: is there already. Choose another name, or add --overwrite to replace it.\n"
    assert new(out, "--yes", "--overwrite").exit_code == 0
    assert read_patch(out).name == "patch"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--marker", "0,100,100"], "the layout has 1 of at least 3 markers."),
        (["--marker", "0,300,200", "--marker", "1,700,500", "--marker", "2,-99,500"], "hides floor of the patch."),
        (["--marker", "0,-80,200", "--marker", "1,700,500", "--marker", "2,-99,500"], "hides floor of the margin."),
        (["--wall", "top", "--marker", "0,700,-60", "--marker", "1,700,500", "--marker", "2,-100,500"],
         'marker 0 at [700, -60] lies behind the wall "top".'),
        (["--marker", "0,700,0", "--marker", "1,700,200", "--marker", "2,700,400"], "all markers lie on one line"),
        (["--marker", "0,700,0", "--marker", "1,700,40", "--marker", "2,-99,500"], "papers of markers 0 and 1 overlap."),
        (["--marker", "0,700,0", "--marker", "0,700,500", "--marker", "2,-99,500"], "marker 0 is laid twice."),
        (["--marker", "x"], 'a marker must be written "3,-50,30"'),
        (["--marker-side", "4"], "a square of 4 mm is too small to be read"),
        (["--marker-side", "140"], "does not fit a4 paper"),
        (["--megapixels", "0.1"], "in a photo of 0.1 megapixels"),
        (["--margin", "400"], "zone margin_mm must be 0 or more and less than the patch's short side, got 400."),
        (["--place", "open", "--wall", "top"], "a patch on open floor has no wall, got top."),
    ],
)  # fmt: skip
def test_what_cannot_work_is_one_line_and_exit_code_2(out: Path, options: list[str], words: str) -> None:
    result = new(out, "--yes", *options)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
    assert result.stderr.count("\n") == 1
    assert not out.exists()


def test_answers_that_end_early_save_nothing(out: Path) -> None:
    result = new(out, answers="bench\n")
    assert (result.exit_code, out.exists()) == (2, False)
    assert "the answers ended before the last question. Answer all, or add --yes for the usual ones." in result.stderr


def test_ctrl_c_at_a_question_is_an_interrupt(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> str:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt:
            raise typer.Abort from None  # as typer's prompt does

    monkeypatch.setattr(typer, "prompt", interrupted)
    result = new(out)
    assert (result.exit_code, result.output, out.exists()) == (130, "", False)


def test_help_names_the_command() -> None:
    result = RUNNER.invoke(app, ["patch", "--help"])
    assert result.exit_code == 0
    assert "new" in result.stdout


def test_a_room_is_laid_without_questions(tmp_path: Path) -> None:
    out = tmp_path / "room.toml"
    done = RUNNER.invoke(app, ["patch", "new", "--room", "4x3m", "--wall", "top", "--wall", "left", "--out", str(out)])
    assert done.exit_code == 0, done.output
    assert "Markers of 190 mm for a3 paper" in done.output
    patch = read_patch(out)
    assert (patch.width_mm, patch.height_mm, patch.walls) == (4000, 3000, ("top", "left"))
    again = RUNNER.invoke(app, ["patch", "new", "--room", "4x3m", "--out", str(out)])
    assert again.exit_code == 2  # a file that is there stays
    wrong = RUNNER.invoke(app, ["patch", "new", "--room", "large", "--out", str(tmp_path / "other.toml")])
    assert wrong.exit_code == 2
    assert '"4x3m"' in wrong.output
