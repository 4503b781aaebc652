from collections.abc import Callable
from pathlib import Path

import pytest

from debriscount.campaign.changes import add_note, add_side, restore, withdraw
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun
from debriscount.campaign.side import side_measurement
from debriscount.errors import CampaignError


@pytest.fixture(name="one", autouse=True)
def _one(add: Callable[..., FiledRun]) -> FiledRun:
    return add(1)


def test_notes_and_measurements_are_added_to_those_there_are(home: Path) -> None:
    add_note(home, 1, "first\nnote")
    add_note(home, 1, "second")
    add_side(home, 1, side_measurement("mass", ["3.2"], "kg"))
    (run,) = read_runs(home).runs
    assert [note.text for note in run.record.notes] == ["first note", "second"]
    assert run.record.side[0].values == (3.2,)


def test_a_withdrawn_run_keeps_all_and_can_be_restored(home: Path, one: FiledRun) -> None:
    before = sorted(path.name for path in one.folder.iterdir())
    withdraw(home, 1, "wrong brush")
    (run,) = read_runs(home).runs
    assert run.record.withdrawn is not None
    assert run.record.withdrawn.why == "wrong brush"
    assert sorted(path.name for path in one.folder.iterdir()) == before
    with pytest.raises(CampaignError, match="withdrawn already, because wrong brush"):
        withdraw(home, 1, "again")
    restore(home, 1)
    (run,) = read_runs(home).runs
    assert run.record.withdrawn is None
    assert "wrong brush" in run.record.notes[0].text
    with pytest.raises(CampaignError, match="run 1 is not withdrawn"):
        restore(home, 1)


@pytest.mark.parametrize("text", ["", "  \n "])
def test_an_empty_reason_is_none(text: str, home: Path) -> None:
    with pytest.raises(CampaignError, match="--why must not be empty"):
        withdraw(home, 1, text)


def test_a_run_that_is_not_there_is_named(home: Path) -> None:
    with pytest.raises(CampaignError, match=r"run 5: the campaign has no such run\. They go from 1 to 1\."):
        add_note(home, 5, "x")
