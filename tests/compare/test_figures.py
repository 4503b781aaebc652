from collections.abc import Callable
from dataclasses import replace

import pytest

from debriscount.campaign.records import Figures, SideMeasurement, WeighedFigure
from debriscount.compare.figures import all_figures, one_figure, zone_order

from .conftest import filed_figure, filed_run

ZONES = {
    "patch": filed_figure(78.0, before_mm2=1000),
    "open": filed_figure(90.0, u=0.5, before_mm2=700),
    "edge": filed_figure(50.0, u=2.0, before_mm2=300),
}


def test_zones_together_are_weighed_by_their_debris() -> None:
    """By hand: 0.7 of 90 and 0.3 of 50 are 78; uncertainties that zones share add up: 0.7 of 0.5 and 0.3 of 2."""
    found = one_figure(filed_run(1, zones=ZONES), "pickup", ("open", "edge"))
    assert found is not None
    assert found.value == pytest.approx(78.0)
    assert found.u == pytest.approx(0.95)
    assert found.zone == "open+edge"


def test_masses_weigh_where_all_are_known() -> None:
    zones = {"open": filed_figure(90.0, before_g=1.0), "edge": filed_figure(50.0, before_g=3.0)}
    found = one_figure(filed_run(1, zones=zones), "pickup", ("open", "edge"))
    assert found is not None
    assert found.value == pytest.approx(60.0)
    mass = one_figure(filed_run(1, zones=zones), "left-mass", ("open", "edge"))
    assert mass is not None
    assert mass.value == pytest.approx(1.6)
    assert mass.unit == "g"


def test_one_zone_at_the_ceiling_makes_both_more_than() -> None:
    zones = {**ZONES, "open": filed_figure(99.9, at_least=99.5, before_mm2=700)}
    found = one_figure(filed_run(1, zones=zones), "pickup", ("open", "edge"))
    assert found is not None
    assert found.at_least == pytest.approx(0.7 * 99.5 + 0.3 * 50)
    assert found.range == (found.at_least, 100.0)


def test_a_zone_that_cannot_be_known_makes_both_unknown_unless_nothing_lay_there() -> None:
    zones = {**ZONES, "edge": filed_figure(None, before_mm2=300)}
    found = one_figure(filed_run(1, zones=zones), "pickup", ("open", "edge"))
    assert found is not None
    assert not found.known
    zones["edge"] = filed_figure(None, before_mm2=0)
    found = one_figure(filed_run(1, zones=zones), "pickup", ("open", "edge"))
    assert found is not None
    assert found.value == pytest.approx(90)


def test_the_worst_trust_is_that_of_all() -> None:
    zones = {**ZONES, "edge": filed_figure(50.0, trust="doubtful", before_mm2=300)}
    found = one_figure(filed_run(1, zones=zones), "pickup", ("open", "edge"))
    assert found is not None
    assert (found.trust, found.why) == ("doubtful", "the photos are blurred")


def test_no_pickup_lies_above_the_ceiling() -> None:
    found = one_figure(filed_run(1, 100.4), "pickup")
    assert found is not None
    assert found.value == 100.0


def test_passes_and_kinds_are_found_by_name() -> None:
    run = filed_run(1, zones=ZONES, kinds={"lentils": {"patch": filed_figure(60.0)}}, passes=2)
    assert one_figure(run, "pickup").number == 2  # type: ignore[union-attr]
    assert one_figure(run, "pickup", number=1).number == 1  # type: ignore[union-attr]
    assert one_figure(run, "pickup", number=3) is None
    assert one_figure(run, "pickup", kind="lentils").value == 60.0  # type: ignore[union-attr]
    assert one_figure(run, "pickup", kind="rice") is None
    assert one_figure(run, "pickup", ("corner",)) is None


def test_figures_by_scale_and_beside_the_photos() -> None:
    run = filed_run(1, zones=ZONES)
    sound = SideMeasurement(quantity="sound-level", values=(60.0, 60.0), unit="dB(A)", at="high")
    run = replace(
        run,
        record=replace(run.record, side=(sound,)),
        figures=Figures(weighed={"pickup": WeighedFigure(80.0, 0.5, (79.0, 81.0))}),
    )
    assert one_figure(run, "scale-pickup").value == 80.0  # type: ignore[union-attr]
    level = one_figure(run, "sound-level at high")
    assert level is not None
    assert level.value == pytest.approx(60.0)
    assert level.unit == "dB(A)"
    assert one_figure(run, "pickup") is None
    assert {figure.figure for figure in all_figures(run)} == {"scale-pickup", "sound-level at high"}


def test_no_interval_by_scale_goes_beyond_all_that_was_strewn() -> None:
    weighed = Figures(weighed={"pickup": WeighedFigure(86.0, 9.0, (68.0, 104.0))})
    found = one_figure(replace(filed_run(1, zones=ZONES), figures=weighed), "scale-pickup")
    assert found is not None
    assert found.interval95 == (68.0, 100.0)


def test_a_side_measurement_spoilt_by_hand_is_unknown_and_says_why() -> None:
    run = filed_run(1)
    spoilt = SideMeasurement(quantity="mass", values=(1.0,), unit="m")
    run = replace(run, record=replace(run.record, side=(spoilt,)))
    found = one_figure(run, "mass")
    assert found is not None
    assert not found.known
    assert '"m"' in found.why


def test_what_is_not_known_lies_nowhere() -> None:
    found = one_figure(filed_run(1, None), "pickup")
    assert found is not None
    with pytest.raises(ValueError, match="lies nowhere"):
        _ = found.range


def test_zones_stand_in_the_order_of_reports() -> None:
    assert zone_order(["hearth", "corner", "open", "patch", "edge"]) == ["patch", "open", "edge", "corner", "hearth"]


def test_conftest_makes_runs(make_runs: Callable[..., list[object]]) -> None:
    assert len(make_runs(A=[80.0, 81.0], B=[70.0])) == 3
