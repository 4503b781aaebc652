"""Runs of a campaign on a page: grouped by what they differ in, hostile notes and settings, weighed only."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import html5lib
import pytest

from debriscount.demo import copy_campaign
from debriscount.page.private import Shown
from debriscount.page.side_by_side import side_by_side
from debriscount.page.sources import read_sources
from debriscount.page.write import page_html


@pytest.fixture(scope="session")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy_campaign(tmp_path_factory.mktemp("shipped") / "demo")


@pytest.fixture
def changed(tmp_path: Path) -> Callable[[int, Callable[[dict[str, Any]], object]], Path]:
    """The shipped campaign with run.json of a run changed."""

    def make(number: int, change: Callable[[dict[str, Any]], object]) -> Path:
        campaign = copy_campaign(tmp_path / "demo")
        path = campaign / "runs" / f"{number:04d}" / "run.json"
        run = json.loads(path.read_text(encoding="utf-8"))
        change(run)
        path.write_text(json.dumps(run), encoding="utf-8")
        return campaign

    return make


def test_runs_stand_in_groups_by_machine_and_brush(shipped: Path) -> None:
    found = side_by_side(read_sources([shipped]).runs)
    zones = found.parts[0]
    assert [chart.title for chart in zones.charts] == ["Whole patch", "Open floor", "Along the wall"]
    labels = [row.label for row in zones.charts[0].rows]
    assert labels == ["A, brush bristle", "A, brush rubber", "B, brush bristle", "B, brush rubber"]
    assert [len(row.dots) for row in zones.charts[0].rows] == [4, 4, 4, 4]
    assert all(row.mean is not None for row in zones.charts[0].rows)
    assert [part.title for part in found.parts][-1] == "By scale, percent picked up"
    assert [row.n for row in found.rows] == ["4"] * 4
    assert "in 5 % of cases two differ by more than" in found.repeats[0]


def test_a_result_in_no_campaign_stands_alone_beside_one(shipped: Path, result: Path) -> None:
    sources = read_sources([shipped, result])
    assert len(sources.runs) == 17
    assert side_by_side(sources.runs).parts == side_by_side(read_sources([shipped]).runs).parts


def test_single_results_are_rows_of_their_own(result: Path, second: Path) -> None:
    found = side_by_side(read_sources([result, second]).runs)
    assert [row.label for row in found.parts[0].charts[0].rows] == ["hall", "kitchen"]
    assert not found.means and found.found == () and found.rows == ()


def test_withdrawn_runs_are_left_out(changed: Callable[..., Path]) -> None:
    campaign = changed(3, lambda run: run.update(withdrawn={"when": "2026-12-01T10:00:00", "why": "bumped"}))
    assert "run 3" not in [run.name for run in read_sources([campaign]).runs]


def test_hostile_notes_and_settings_stay_text_and_times_go(changed: Callable[..., Path]) -> None:
    def change(run: dict[str, Any]) -> None:
        run |= {"when": "2026-11-23T14:15:30", "floor": "<script>alert(1)</script>", "machine": "A\u202e"}
        run["settings"] = {'"><img src=x>': "=1+1"}
        run["notes"] = [{"when": "2026-11-23T14:16:00", "text": "<b onclick=alert(1)>" + "x" * 10_000}]

    text = page_html(read_sources([changed(3, change)]), Shown())
    tree = html5lib.HTMLParser(strict=True).parse(text)
    html = "{http://www.w3.org/1999/xhtml}"
    assert len(list(tree.iter(html + "script"))) == 1
    assert list(tree.iter(html + "b")) == []
    assert "2026-11-23: <b onclick=alert(1)>xxx" in "".join(tree.itertext())
    assert "14:15" not in text and "\u202e" not in text
    assert not re.search("x{1000}", text)


def test_a_run_that_was_weighed_only_has_its_pickup_by_scale(changed: Callable[..., Path]) -> None:
    campaign = changed(
        5, lambda run: run.update(photos={}, result={"name": "weighing.json", "file": "weighing.json", "sha256": ""})
    )
    folder = campaign / "runs" / "0005"
    record = json.loads((folder / "measurement.json").read_text(encoding="utf-8"))
    weighing = {"format": "debriscount/weighing/1", "version": record["version"], **record["weighing"]}
    (folder / "weighing.json").write_text(json.dumps(weighing), encoding="utf-8")
    text = page_html(read_sources([campaign]), Shown())
    assert "This run was weighed only." in text
    assert re.search(r"Picked up \d\d\.\d % by scale", text)
