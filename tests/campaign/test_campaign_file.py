from pathlib import Path

import pytest

from debriscount.campaign.campaign_file import (
    Campaign,
    CampaignScale,
    Common,
    DebrisBatch,
    Floor,
    Machine,
    PlannedRun,
    read_campaign,
)
from debriscount.campaign.campaign_write import campaign_toml, make_campaign
from debriscount.errors import CampaignError, InputFileError

WHOLE = Campaign(
    campaign=Common(name="trials", debris=("rice",), floor="oak", passes=2),
    debris=(DebrisBatch(name="rice", batch="7"),),
    floors=(Floor(name="oak", note="oiled"),),
    machines=(Machine(name="A", software="1.2", settings={"brush": "rubber", "suction": "3"}), Machine(name="B")),
    scale=CampaignScale(readability_g=0.01, cup_g=102.3),
    planned=(PlannedRun(machine="A", settings={"brush": "bristle"}, block="1"),),
)


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    (tmp_path / "campaign.toml").write_text(campaign_toml(WHOLE), encoding="utf-8")
    assert read_campaign(tmp_path) == WHOLE


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[campaign]\nname = "x"\nflor = "oak"',
            r'campaign\.toml line 3: \[campaign\] flor is unknown\. Did you mean "floor"\?',
        ),
        ('[campaign]\nname = "x"\n[[machine]]\nname = "A"', r'line 3: machine is unknown\. Did you mean "machines"\?'),
        ('[[machines]]\nname = "A"', r"the file lacks \[campaign\]"),
        ('[campaign]\nname = "x"\npasses = 0', "passes must be at least 1, got 0"),
        (
            '[campaign]\nname = "x"\n[[machines]]\nname = "A"\n[[machines]]\nname = "a"',
            r'line 6: \[\[machines\]\] name "a" stands on line 4 already',
        ),
        (
            '[campaign]\nname = "x"\n[[machines]]\nname = "Able"\n[[planned]]\nmachine = "Abel"',
            r'machine "Abel" is none of \[\[machines\]\]\. Did you mean "Able"\?',
        ),
        ('[campaign]\nname = "x"\n[[machines]]\nname = "A"\nsettings = { brush = [] }', "must be a word or a number"),
        ('[campaign]\nname = "x"\n[scale]\nreadability_g = -1', "readability_g must be greater than 0, got -1"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=message):
        read_campaign(tmp_path)


def test_settings_are_text_however_they_are_written(tmp_path: Path) -> None:
    text = '[campaign]\nname = "x"\n[[machines]]\nname = "A"\nsettings = { a = 3, b = 2.5, c = true, d = "3" }'
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    assert read_campaign(tmp_path).machines[0].settings == {"a": "3", "b": "2.5", "c": "true", "d": "3"}


def test_a_campaign_is_made_once(home: Path) -> None:
    for name in ("inbox", "runs", "blanks", "patch.toml", "debris/red-lentils.toml", ".gitignore"):
        assert (home / name).exists()
    with pytest.raises(CampaignError, match="is a campaign already"):
        make_campaign(home, WHOLE, home / "patch.toml", ())


def test_what_a_stopped_attempt_has_left_is_no_hindrance(home: Path) -> None:
    (home / "campaign.toml").unlink()
    make_campaign(home, WHOLE, home / "patch.toml", (home / "debris" / "red-lentils.toml",))
    assert read_campaign(home) == WHOLE
