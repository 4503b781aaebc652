from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount_cli.app import app

RUNNER = CliRunner()


def test_a_folder_with_other_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    result = RUNNER.invoke(app, ["demo", str(tmp_path)])
    assert result.exit_code == 2
    assert result.stderr == f"{tmp_path}: holds files that are no earlier demo's. Give a new or empty folder.\n"
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.slow
def test_the_demo_prints_figures_beside_the_truth_and_may_run_again(tmp_path: Path) -> None:
    for _ in range(2):
        result = RUNNER.invoke(app, ["demo", str(tmp_path / "demo")])
        assert result.exit_code == 0, result.output
        assert "77.5 %" in result.stdout  # counted from the rendered scene, see truth.json
        assert "Open these pictures:" in result.stdout
        assert result.stdout.endswith(f"to open in a browser:\n  {tmp_path / 'demo' / 'page.html'}\n")
        page = (tmp_path / "demo" / "page.html").read_text(encoding="utf-8")
        assert "two brushes" in page and "Picked up 77.2 %" in page
