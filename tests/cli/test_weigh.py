import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from debriscount.inputs.weighing import Net, Scale
from debriscount.inputs.weighing_file import read_weighing
from debriscount.safety import MINERAL_DUST, OPEN_MACHINE
from debriscount_cli.app import app

RUNNER = CliRunner()
ALL = [
    "--unit", "g", "--readability", "0.1", "--repeatability", "0.1", "--linearity", "0.2", "--full", "152.3",
    "--empty", "102.3", "--bin-before", "310.2", "--bin-after", "351.9", "--swept", "open=3.1", "--swept", "edge=5.1",
    "--elsewhere", "brush=0.4",
]  # fmt: skip


def weigh(*options: str, answers: str | None = None) -> Any:
    return RUNNER.invoke(app, ["weigh", *options], input=answers)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "weighing.toml"


def test_all_given_by_options_asks_nothing(out: Path) -> None:
    result = weigh("--out", str(out), *ALL)
    assert result.exit_code == 0, result.output
    weighing = read_weighing(out)
    assert weighing.scale == Scale(0.1, 0.1, 0.2)
    assert weighing.bin == Net((351.9,), (310.2,))
    assert "?" not in result.stdout
    assert result.stdout.startswith(out.read_text())  # what is saved is what was shown
    assert "pickup by scale" in result.stdout
    assert result.stderr == f"wrote {out}\n"


def test_questions_are_answered_read_back_and_saved(out: Path) -> None:
    answers = "g\n0.1\n\n152.3 152.4\n102.3\nweighed\n310.2\n351.9\nopen edge\n3.1\n14-10\nbrush\n0.4\ny\n"
    result = weigh("--out", str(out), answers=answers)
    assert result.exit_code == 0, result.output
    weighing = read_weighing(out)
    assert weighing.dispensed == Net((152.3, 152.4), (102.3,))
    assert weighing.swept == {"open": Net((3.1,)), "edge": Net((14.0,), (10.0,))}
    shown = result.stdout
    assert "Cup with the portion, g (repeats apart by blanks): " in shown  # no usual answer in brackets
    # Each danger is told of before the question that leads to it.
    assert f"{OPEN_MACHINE}\nBin weighed" in shown
    assert f"{MINERAL_DUST}\nSwept up in which zones" in shown
    assert f"{OPEN_MACHINE}\nDebris weighed elsewhere (brush" in shown
    assert shown.index("Cup after") < shown.index("full_g = [152.3, 152.4]") < shown.index(f"Save this as {out}?")


def test_a_wrong_answer_is_asked_for_again(out: Path) -> None:
    result = weigh("--out", str(out), answers="lb\ng\n0\n\n\n\n1,523\n152,3\n102.3\nmaybe\n\nhall\n\n\n\n")
    assert result.exit_code == 0, result.output
    assert read_weighing(out).dispensed.mass_g == pytest.approx(50)
    for words in ('unit "lb" is unknown', "smallest step", "a reading is needed", 'thousands', '"maybe" is unknown',
                  '"hall" is unknown'):  # fmt: skip
        assert words in result.stderr


def test_no_saves_nothing(out: Path) -> None:
    result = weigh("--out", str(out), "--full", "152", "--empty", "102", answers="\n\n\n\n\n\nn\n")
    assert (result.exit_code, out.exists()) == (0, False)
    assert result.stderr == "nothing saved\n"


def test_a_file_that_is_there_stays_unless_told(out: Path) -> None:
    out.write_text("mine")
    result = weigh("--out", str(out), *ALL)
    assert (result.exit_code, result.stdout, out.read_text()) == (2, "", "mine")
    assert result.stderr == f"{out}: is there already. Choose another name, or add --overwrite to replace it.\n"
    assert weigh("--out", str(out), "--overwrite", *ALL).exit_code == 0
    assert read_weighing(out).dispensed.mass_g == pytest.approx(50)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--empty", "102"], 'a reading is needed, such as "152.3"'),
        (["--full", "100", "--empty", "102"], "nothing was scattered: the cup must be heavier full than empty."),
        (["--full", "152", "--empty", "102", "--swept", "3"], 'a mass must be written "open=3.1"'),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_code_2(out: Path, options: list[str], words: str) -> None:
    result = weigh("--out", str(out), "--yes", *options)
    assert (result.exit_code, result.stdout, out.exists()) == (2, "", False)
    assert words in result.stderr
    assert result.stderr.count("\n") == 1


def test_answers_that_end_early_save_nothing(out: Path) -> None:
    result = weigh("--out", str(out), answers="g\n")
    assert (result.exit_code, out.exists()) == (2, False)
    assert "the answers ended before the last question. Answer all, or add --yes for the usual ones." in result.stderr


def test_ctrl_c_at_a_question_is_an_interrupt(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> str:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt:
            raise typer.Abort from None  # as typer's prompt does

    monkeypatch.setattr(typer, "prompt", interrupted)
    result = weigh("--out", str(out))
    assert (result.exit_code, result.output, out.exists()) == (130, "", False)


def test_a_run_without_photographs_is_shown(out: Path) -> None:
    assert weigh("--out", str(out), *ALL).exit_code == 0
    shown = weigh("--show", str(out))
    assert shown.exit_code == 0, shown.output
    assert shown.stdout.startswith("dispensed ")
    assert "pickup by scale" in shown.stdout
    record = json.loads(weigh("--show", str(out), "--json").stdout)
    assert record["format"] == "debriscount/weighing/1"
    assert record["by_residue_percent"]["value"] == 83.6


def test_an_impossible_balance_is_shown_with_a_warning_and_not_refused(out: Path) -> None:
    options = [option.replace("351.9", "391.9") for option in ALL]
    assert weigh("--out", str(out), *options).exit_code == 0
    shown = weigh("--show", str(out))
    assert shown.exit_code == 0
    assert "more was found than dispensed, which is impossible" in shown.stdout


def test_a_fault_of_the_file_is_one_line_and_exit_code_2(out: Path) -> None:
    out.write_text('[scale]\nkind = "kitchen"\n[dispensed]\nfull_g = 3\n')
    shown = weigh("--show", str(out))
    assert (shown.exit_code, shown.stdout) == (2, "")
    assert f"{out} line 3: [dispensed] lacks full_g and empty_g, or portion_g." in shown.stderr


def test_showing_a_weighing_loads_no_opencv(out: Path) -> None:
    assert weigh("--out", str(out), *ALL).exit_code == 0
    code = (
        "import sys; from typer.testing import CliRunner; from debriscount_cli.app import app;"
        f"r = CliRunner().invoke(app, ['weigh', '--show', {str(out)!r}]); assert r.exit_code == 0, r.output;"
        "assert 'cv2' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
