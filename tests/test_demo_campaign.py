from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from debriscount.campaign.read_runs import read_runs
from debriscount.demo_campaign import BRISTLES, MACHINES, REMARK, write_demo_campaign
from debriscount.errors import CampaignError
from debriscount_cli.app import app


def test_the_demo_writes_it(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["demo", "--campaign", str(tmp_path)])
    assert done.exit_code == 0
    home = done.stdout.split()[-1]
    listed = CliRunner().invoke(app, ["run", "list", "--campaign", home]).stdout
    assert len(listed.splitlines()) == 17


def test_sixteen_runs_of_two_machines_and_two_brushes(tmp_path: Path) -> None:
    read = read_runs(write_demo_campaign(tmp_path / "demo"))
    assert not read.unread
    records = [run.record for run in read.runs]
    assert len(records) == 16
    assert {(one.machine, one.settings["brush"], one.block) for one in records} == {
        (machine, brush, str(block)) for machine in MACHINES for brush in ("rubber", "bristle") for block in range(1, 5)
    }
    assert all(one.notes[0].text == REMARK for one in records)
    edge = {
        brush: [
            run.figures.passes[0].zones["edge"].pickup_percent or 0
            for run in read.runs
            if run.record.settings["brush"] == brush
        ]
        for brush in ("rubber", "bristle")
    }
    # Means of eight runs differ by 2 points at most from what they were drawn from.
    assert np.mean(edge["bristle"]) - np.mean(edge["rubber"]) == pytest.approx(BRISTLES["edge"], abs=3)
    with pytest.raises(CampaignError, match="is a campaign already"):
        write_demo_campaign(tmp_path / "demo")
