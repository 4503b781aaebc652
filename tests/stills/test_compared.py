from pathlib import Path

import numpy as np
import pytest

from debriscount.page.side_by_side import means_by_zone
from debriscount.page.sources import read_sources
from debriscount.shipped import shipped_folder
from debriscount.stills import compared
from debriscount.stills.bars import BAR
from debriscount.stills.compared import compared_stills
from debriscount.stills.frame import Frame
from debriscount.stills.write import write_stills

FRAME = Frame(640, 360)
CAMPAIGN = shipped_folder("debriscount._reference", "reference_images") / "two-brushes"


def test_machines_and_settings_have_a_bar_each_as_long_as_their_mean() -> None:
    runs = read_sources([CAMPAIGN]).runs
    groups = means_by_zone(runs)["Whole patch"]
    assert [group.label for group in groups] == [
        "A, brush bristle", "A, brush rubber", "B, brush bristle", "B, brush rubber",
    ]  # fmt: skip
    for group in groups:
        own = [
            run.figures.passes[-1].zones["patch"].pickup_percent
            for run in runs
            if f"{run.filed.record.machine}, brush {run.filed.record.settings['brush']}" == group.label
        ]
        assert group.runs == len(own) == 4
        assert group.mean == pytest.approx(np.mean([percent for percent in own if percent is not None]), abs=1e-3)
        assert group.interval95 is not None and group.interval95[0] < group.mean < group.interval95[1]
    image = compared_stills(runs, FRAME)["compared-whole-patch"]()
    longest = max(groups, key=lambda group: group.mean)
    lengths = (image == BAR).all(axis=2).sum(axis=1)
    assert lengths.max() < image.shape[1] * longest.mean / 100
    assert image.shape == (360, 640, 3)


def test_each_zone_has_a_still_and_many_groups_have_several(monkeypatch: pytest.MonkeyPatch) -> None:
    runs = read_sources([CAMPAIGN]).runs
    assert list(compared_stills(runs, FRAME)) == [
        "compared-whole-patch", "compared-open-floor", "compared-along-the-wall",
    ]  # fmt: skip
    assert compared_stills(runs[:1], FRAME) == {}
    monkeypatch.setattr(compared, "MOST", 3)
    assert list(compared_stills(runs, FRAME))[:2] == ["compared-whole-patch-1", "compared-whole-patch-2"]


def test_a_campaign_whose_runs_have_no_pictures_is_compared_all_the_same(tmp_path: Path) -> None:
    later = [run for run in read_sources([CAMPAIGN]).runs if not (run.folder / "floor-before.jpg").exists()]
    names = {path.name for path in write_stills(later, tmp_path, FRAME)}
    assert names == {"compared-whole-patch.png", "compared-open-floor.png", "compared-along-the-wall.png"}
