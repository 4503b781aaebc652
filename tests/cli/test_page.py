from pathlib import Path

from typer.testing import CliRunner

from debriscount.demo import CAMPAIGN, copy_campaign
from debriscount_cli.app import app

RUNNER = CliRunner()


def test_a_campaign_becomes_a_page(tmp_path: Path) -> None:
    campaign, out = copy_campaign(tmp_path / "demo"), tmp_path / "page.html"
    result = RUNNER.invoke(app, ["page", str(campaign), "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert result.stderr == f"wrote {out}: 16 runs\n"
    text = out.read_text(encoding="utf-8")
    assert "<h1>two brushes</h1>" in text
    # The same sentence as debriscount compare --factor setting.brush prints.
    assert "Brush rubber picked up 4.2 points more than brush bristle (0.0 to 8.5, in 4 blocks)." in text
    assert result.stdout == ""


def test_a_title_of_ones_own(tmp_path: Path) -> None:
    campaign, out = copy_campaign(tmp_path / "demo"), tmp_path / "page.html"
    assert RUNNER.invoke(app, ["page", str(campaign), "--out", str(out), "--title", "Rubber & <b>"]).exit_code == 0
    assert "<h1>Rubber &amp; &lt;b&gt;</h1>" in out.read_text(encoding="utf-8")


def test_a_page_that_is_there_is_not_replaced(tmp_path: Path) -> None:
    campaign, out = copy_campaign(tmp_path / "demo"), tmp_path / "page.html"
    out.write_text("mine")
    result = RUNNER.invoke(app, ["page", str(campaign), "--out", str(out)])
    assert (result.exit_code, out.read_text()) == (2, "mine")
    assert result.stderr.startswith(f"{out}: is there already.")


def test_a_folder_of_photos_is_refused(tmp_path: Path) -> None:
    result = RUNNER.invoke(app, ["page", str(tmp_path), "--out", str(tmp_path / "page.html")])
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{tmp_path}: holds no measurement.json.")


def test_a_run_that_cannot_be_read_is_named_and_keeps_no_other_back(tmp_path: Path) -> None:
    campaign, out = copy_campaign(tmp_path / "demo"), tmp_path / "page.html"
    (campaign / "runs" / "0003" / "run.json").write_text("{")
    result = RUNNER.invoke(app, ["page", str(campaign), "--out", str(out)])
    assert result.exit_code == 0
    assert "Warning: 0003: " in result.stderr and result.stderr.endswith("15 runs\n")
    assert "Not shown:" in out.read_text(encoding="utf-8")
    assert CAMPAIGN in str(campaign)
