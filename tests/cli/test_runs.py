"""summary, compare, plan and agreement on the shipped campaign."""

import json
import shutil
from functools import partial
from pathlib import Path

import pytest
from typer.testing import CliRunner

from debriscount.demo import CAMPAIGN
from debriscount.plan import of_campaign
from debriscount.shipped import shipped_folder
from debriscount.simulate.spec import Camera, SceneSpec
from debriscount_cli.app import app

ROOT = Path(__file__).parents[2]


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    folder = tmp_path / CAMPAIGN
    shutil.copytree(shipped_folder("debriscount._reference", "reference_images") / CAMPAIGN, folder)
    return folder


def ran(*arguments: str | Path, code: int = 0) -> str:
    done = CliRunner().invoke(app, [str(argument) for argument in arguments], catch_exceptions=False)
    assert done.exit_code == code, done.output
    return done.stdout if code == 0 else " ".join(done.stderr.split())


def test_summary_as_json(campaign: Path) -> None:
    record = json.loads(ran("summary", "--campaign", campaign, "--by", "machine", "--json"))
    assert [group["group"] for group in record["groups"]] == [{"machine": "A"}, {"machine": "B"}]
    assert [group["n"] for group in record["groups"]] == [8, 8]
    assert record["repeatability"] > 0


def test_compare_as_json_and_within_blocks(campaign: Path) -> None:
    record = json.loads(ran("compare", "--campaign", campaign, "--factor", "machine", "--json"))
    (found,) = record["differences"]
    assert (found["first"], found["second"], found["blocks"]) == ("A", "B", 4)
    alone = json.loads(ran("compare", "--campaign", campaign, "--factor", "machine", "--unpaired", "--json"))
    assert alone["differences"][0]["blocks"] is None


def test_inside_the_folder_the_campaign_need_not_be_named(campaign: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(campaign / "runs")
    assert ran("summary").startswith("Pickup of the patch: 16 runs")
    monkeypatch.chdir(campaign.parent)
    assert "no campaign.toml here or above" in ran("summary", code=2)


def test_several_campaigns_at_once(campaign: Path) -> None:
    other = campaign.with_name("second")
    shutil.copytree(campaign, other)
    said = ran("compare", "--campaign", campaign, "--campaign", other, "--factor", "campaign", "--unpaired")
    assert "campaign two-brushes and campaign second cannot be told apart" in " ".join(said.split())


def test_tables_and_pictures_are_written_once(campaign: Path, tmp_path: Path) -> None:
    table, picture = tmp_path / "runs.csv", tmp_path / "runs.png"
    ran("summary", "--campaign", campaign, "--csv", table, "--picture", picture)
    assert len(table.read_text(encoding="utf-8").splitlines()) > 16 * 8
    assert picture.stat().st_size > 5000
    assert "is there already" in ran("summary", "--campaign", campaign, "--csv", table, code=2)
    assert ran("summary", "--campaign", campaign, "--csv", "-", "--decimal-comma").startswith(
        "campaign;run;date;machine;"
    )


def test_a_damaged_run_is_named_and_the_others_go_on(campaign: Path) -> None:
    (campaign / "runs" / "0003" / "measurement.json").write_text("{", encoding="utf-8")
    done = CliRunner().invoke(app, ["summary", "--campaign", str(campaign)])
    assert done.exit_code == 0
    assert done.stdout.startswith("Pickup of the patch: 15 runs")
    assert "not read:" in done.stderr
    assert "0003" in done.stderr


def test_a_wrong_key_is_told_with_the_nearest(campaign: Path) -> None:
    assert "Did you mean setting.brush?" in ran("compare", "--campaign", campaign, "--factor", "setting.brusch", code=2)


def test_plan_writes_a_sheet_and_keeps_the_runs(campaign: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "runs.pdf"
    said = ran(
        "plan", "--campaign", campaign, "--factor", "setting.brush", "--machine", "B", "--runs", "3", "--sheet", sheet,
        "--keep",
    )  # fmt: skip
    assert "Strew " in said
    assert "in 3 blocks" in " ".join(said.split())
    assert sheet.read_bytes().startswith(b"%PDF")
    text = (campaign / "campaign.toml").read_text(encoding="utf-8")
    assert text.count("[[planned]]") == 6
    assert text.startswith("# A campaign of debriscount.")
    record = json.loads(ran("plan", "--campaign", campaign, "--json"))
    assert (record["factor"], record["levels"], record["dof"]) == ("machine", ["A", "B"], 12)
    assert "say with --machine which machine runs" in ran(
        "plan", "--campaign", campaign, "--factor", "setting.brush", "--keep", code=2
    )


def test_agreement_names_the_spoilt_weighing_and_asks_for_no_calibration(campaign: Path) -> None:
    said = " ".join(ran("agreement", "--campaign", campaign).split())
    assert "No reason to recalibrate." in said
    assert "There the weighing is the uncertain one, which no calibration cures: look into that of 11" in said
    assert "not both" in ran("agreement", campaign / "runs" / "0001", "--campaign", campaign, code=2)


@pytest.mark.slow
def test_made_up_runs_say_how_exact_a_run_will_be(campaign: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the command to photos that are made and measured, of few megapixels."""
    monkeypatch.setattr(of_campaign, "SceneSpec", partial(SceneSpec, camera=Camera(megapixels=1.5)))
    record = json.loads(ran("plan", "--campaign", campaign, "--simulate", "1", "--floor-kind", "plain", "--json"))
    assert 0 < record["expected_points"] < 10
    assert "Known are: plain, planks" in ran(
        "plan", "--campaign", campaign, "--simulate", "1", "--floor-kind", "grass", code=2
    )


def test_what_was_measured_beside_the_photos_is_summed_up_and_compared(campaign: Path) -> None:
    for run in ("2", "3", "5"):
        ran("run", "side", run, "sound-level", f"60.{run}", "--unit", "dB(A)", "--at", "boost", "--campaign", campaign)
    for run in ("1", "4", "7"):
        ran("run", "side", run, "sound-level", f"64.{run}", "--unit", "dB(A)", "--at", "boost", "--campaign", campaign)
    asked = ("--campaign", campaign, "--figure", "sound-level at boost")
    record = json.loads(ran("summary", *asked, "--by", "machine", "--json"))
    assert (record["unit"], [group["n"] for group in record["groups"]]) == ("dB(A)", [3, 3])
    assert [group["mean"] for group in record["groups"]] == pytest.approx([60.333, 64.4], abs=1e-3)
    assert "machine B" in ran("compare", *asked, "--factor", "machine", "--unpaired")
    ran("run", "side", "6", "sound-level", "70", "--unit", "dBC", "--at", "boost", "--campaign", campaign)
    assert "cannot be taken together with that of run 6 (dB(C))." in ran("summary", *asked, code=2)
    assert ran("summary", *asked, "--without", "6").startswith("Sound level at boost: 6 runs")
    assert "sound-level at boost." in ran("summary", "--campaign", campaign, "--figure", "sound-level", code=2)
