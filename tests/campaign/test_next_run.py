from collections.abc import Callable
from pathlib import Path

from debriscount.campaign.campaign_file import Campaign, Common, Machine, PlannedRun, read_campaign
from debriscount.campaign.changes import withdraw
from debriscount.campaign.next_run import next_choice, setting_doubts
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun

Add = Callable[..., FiledRun]


def test_the_first_run_is_as_the_file_has_it(home: Path) -> None:
    campaign = read_campaign(home)
    assert next_choice(campaign, ()).machine == ""  # two machines: nothing tells which
    choice = next_choice(campaign, (), machine="B", settings={"brush": "bristle"})
    assert (choice.machine, choice.software, choice.settings) == ("B", "1.2", {"brush": "bristle"})
    assert (choice.floor, choice.debris) == ("oak", ("red-lentils",))


def test_the_next_run_is_as_the_last_that_counts(add: Add, home: Path) -> None:
    add(1, settings={"brush": "bristle"}, floor="tile")
    add(2, machine="B")
    assert next_choice(read_campaign(home), read_runs(home).runs).machine == "B"
    withdraw(home, 2, "wrong floor")
    choice = next_choice(read_campaign(home), read_runs(home).runs)
    assert (choice.machine, choice.settings, choice.floor, choice.why) == (
        "A",
        {"brush": "bristle"},
        "tile",
        "as run 1",
    )


def planned(home: Path) -> Campaign:
    plans = (PlannedRun(machine="A", block="1"), PlannedRun(machine="B", settings={"brush": "felt"}, block="1"))
    return Campaign(
        campaign=Common(name="x", floor="oak"),
        machines=(Machine(name="A", settings={"brush": "rubber"}), Machine(name="B")),
        planned=plans,
    )


def test_planned_runs_come_in_their_order_and_once(add: Add, home: Path) -> None:
    campaign = planned(home)
    first = next_choice(campaign, ())
    assert (first.machine, first.settings, first.block, first.planned) == ("A", {"brush": "rubber"}, "1", 1)
    (home / "campaign.toml").write_text(
        (home / "campaign.toml").read_text() + '\n[[planned]]\nmachine = "A"\n[[planned]]\nmachine = "B"\n'
    )
    assert add(1, machine="").record.planned == 1
    assert add(2, machine="").record.planned == 2
    withdraw(home, 1, "again")
    assert next_choice(read_campaign(home), read_runs(home).runs).planned == 1


def test_what_is_said_chooses_among_the_planned_runs(home: Path) -> None:
    assert next_choice(planned(home), (), machine="b").planned == 2
    assert next_choice(planned(home), (), settings={"brush": "felt"}).planned == 2
    assert next_choice(planned(home), (), machine="A", settings={"brush": "felt"}).planned is None


def test_a_setting_that_is_nearly_known_is_doubted(home: Path) -> None:
    campaign = read_campaign(home)
    assert setting_doubts(campaign, (), {"brsh": "rubber"}) == (
        'setting "brsh" is new in this campaign. Did you mean "brush"?',
    )
    assert setting_doubts(campaign, (), {"brush": "felt", "suction": "3"}) == ()
