import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount.report.record import agreement_json
from debriscount.scale.agreement import agree
from debriscount.stats.quantity import Quantity
from debriscount_cli.app import app


def run(*words: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["agreement", *map(str, words)])
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def folders(tmp_path: Path) -> list[Path]:
    """Four runs, the last not weighed."""
    made = []
    for i, difference in enumerate((0.2, -0.3, 0.1, None)):
        folder = tmp_path / f"run{i}"
        folder.mkdir()
        compared = None
        if difference is not None:
            compared = agreement_json(agree(Quantity(80.0 + i + difference, 0.5), Quantity(80.0 + i, 0.3)))
        record = {"format": "debriscount/measurement/1", "photos": {}, "agreement": compared}
        (folder / "measurement.json").write_text(json.dumps(record))
        made.append(folder)
    return made


def test_runs_are_compared_in_a_table(folders: list[Path]) -> None:
    code, out, err = run(*folders)
    assert (code, err) == (0, "")
    assert out.startswith("run ")
    assert "go on weighing up to 10." in " ".join(out.split())
    assert "Not weighed: run3." in out


def test_record_and_plot_go_to_a_folder(folders: list[Path], tmp_path: Path) -> None:
    code, out, err = run(*folders, "--json", "--out", tmp_path / "compared")
    assert code == 0
    assert err == f"wrote {tmp_path / 'compared'}: agreement.json, agreement.png, agreement.svg\n"
    assert json.loads(out) == json.loads((tmp_path / "compared" / "agreement.json").read_text())
    assert json.loads(out)["verdict"] == "go on weighing"


def test_bad_input_exits_with_2_in_one_line(folders: list[Path]) -> None:
    code, out, err = run(folders[3])
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "not weighed" in err


def test_no_run_is_no_comparison() -> None:
    assert run()[0] == 2
