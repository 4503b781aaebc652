from pathlib import Path

import pytest

from debriscount.compare.labels import UNSAID, campaign_runs
from debriscount.compare.selected import Choice, select
from debriscount.errors import CompareError

from .conftest import filed_figure, filed_run, named


def test_runs_are_grouped_by_settings_and_numbers_stand_by_size() -> None:
    runs = named([filed_run(i, settings={"suction": str(level)}) for i, level in enumerate((10, 9, 10), start=1)])
    found = select(runs, ["setting.suction"], Choice())
    assert list(found.groups) == [("9",), ("10",)]
    assert [item.run.name for item in found.groups[("10",)]] == ["1", "3"]


def test_a_run_without_a_setting_is_a_group_of_its_own() -> None:
    runs = named([filed_run(1, settings={"brush": "a"}), filed_run(2)])
    assert set(select(runs, ["setting.brush"], Choice()).groups) == {("a",), (UNSAID,)}


def test_withdrawn_runs_stay_out_and_doubtful_ones_only_where_it_is_said() -> None:
    runs = named(
        [
            filed_run(1),
            filed_run(2, trust="doubtful"),
            filed_run(3, withdrawn="cable"),
            filed_run(4, None),
            filed_run(5),
        ]
    )
    found = select(runs, [], Choice())
    assert [item.run.name for item in found.groups[()]] == ["1", "2", "5"]
    assert found.left_out == {"3": "withdrawn: cable", "4": "not measurable"}
    found = select(runs, [], Choice(without_doubtful=True, without=("5",)))
    assert [item.run.name for item in found.groups[()]] == ["1"]
    assert found.left_out["2"] == "doubtful"
    assert found.left_out["5"] == "left out as asked"


def test_groups_by_zone_kind_and_pass() -> None:
    zones = {"patch": filed_figure(80.0), "open": filed_figure(85.0), "edge": filed_figure(60.0)}
    kinds = {"lentils": zones, "rice": {"patch": filed_figure(70.0)}}
    runs = named([filed_run(1, zones=zones, kinds=kinds, passes=2)])
    assert list(select(runs, ["zone"], Choice()).groups) == [("patch",), ("open",), ("edge",)]
    assert list(select(runs, ["zone"], Choice(zones=("edge", "open"))).groups) == [("open",), ("edge",)]
    assert list(select(runs, ["kind"], Choice()).groups) == [("lentils",), ("rice",)]
    assert list(select(runs, ["pass"], Choice()).groups) == [("1",), ("2",)]
    by_both = select(runs, ["kind", "zone"], Choice()).groups
    assert by_both[("rice", "patch")][0].figure.value == 70.0


def test_runs_of_several_campaigns_have_names_of_their_own() -> None:
    runs = campaign_runs({Path("a/one"): [filed_run(1)], Path("b/two"): [filed_run(1)]})
    assert [run.name for run in runs] == ["one/1", "two/1"]
    assert list(select(runs, ["campaign"], Choice()).groups) == [("one",), ("two",)]
    same = campaign_runs({Path("a/one"): [filed_run(1)], Path("b/one"): [filed_run(1)]})
    assert len({run.name for run in same}) == 2


@pytest.mark.parametrize(
    ("keys", "choice", "words"),
    [
        (["machin"], Choice(), 'runs cannot be told apart by "machin". Did you mean machine?'),
        (["setting.brushes"], Choice(), "Did you mean setting.brush?"),
        ([], Choice(figure="noise"), 'there is no figure "noise". Give one of: pickup, gone,'),
        ([], Choice(zones=("patch", "edge")), "patch cannot be taken together with other zones"),
        ([], Choice(zones=("edge", "margin")), "no debris is strewn there"),
        ([], Choice(zones=("hearth",)), "none of the 1 runs has pickup of hearth to give"),
        ([], Choice(without=("99",)), "there is no run 99 to leave out"),
    ],
)
def test_what_cannot_be_looked_at_is_told(keys: list[str], choice: Choice, words: str) -> None:
    with pytest.raises(CompareError, match=words.replace(".", r"\.").replace("?", r"\?")):
        select(named([filed_run(1, settings={"brush": "a"})]), keys, choice)


def test_a_campaign_without_runs() -> None:
    with pytest.raises(CompareError, match="there are no runs yet"):
        select([], [], Choice())
