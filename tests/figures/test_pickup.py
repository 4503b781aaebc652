import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.figures.pickup import gone_percent, zone_figures
from debriscount.figures.records import Amount


def amount(area_mm2: float) -> Amount:
    return Amount(area_mm2, round(max(area_mm2, 0)), None)


def figures(before: dict[str, float], after: dict[str, float]) -> dict[str, tuple[float | None, float | None]]:
    found = zone_figures({k: amount(v) for k, v in before.items()}, {k: amount(v) for k, v in after.items()})
    return {name: (zone.gone_percent, zone.pickup_percent) for name, zone in found.items()}


def test_pickup_of_a_run_worked_out_by_hand() -> None:
    """200 mm² before, 50 after; the margin grew from 4 to 14: 10 of what left the patch was flung out."""
    found = figures(
        {"patch": 200, "open": 150, "edge": 50, "margin": 4}, {"patch": 50, "open": 30, "edge": 20, "margin": 14}
    )
    assert found["patch"] == (75, 70)
    assert found["open"] == (80, 80)
    assert found["edge"] == (60, 60)
    assert found["margin"] == (-250, -250)


def test_what_the_margin_lost_changes_nothing() -> None:
    found = figures({"patch": 200, "margin": 30}, {"patch": 50, "margin": 5})
    assert found["patch"] == (75, 75)


def test_a_patch_without_a_margin_has_only_itself() -> None:
    assert figures({"patch": 200, "open": 200}, {"patch": 50, "open": 50})["patch"] == (75, 75)


def test_debris_pushed_in_is_a_negative_pickup() -> None:
    found = figures({"patch": 100, "open": 80, "edge": 20}, {"patch": 60, "open": 30, "edge": 30})
    assert found["edge"] == (-50, -50)
    # More in the patch than before is negative as well, and the margin's gain still counts against it.
    assert figures({"patch": 100, "margin": 0}, {"patch": 150, "margin": 10})["patch"] == (-50, -60)


@pytest.mark.parametrize("start", [0.0, -3.0])
def test_a_zone_that_held_nothing_has_no_share(start: float) -> None:
    found = figures({"patch": 100, "corner": start}, {"patch": 50, "corner": 5})
    assert found["corner"] == (None, None)
    assert gone_percent(amount(start), amount(5)) is None


def test_a_patch_that_held_nothing_has_no_pickup_whatever_the_margin_does() -> None:
    assert figures({"patch": 0, "margin": 0}, {"patch": 5, "margin": 5})["patch"] == (None, None)


def test_below_the_bare_floors_own_area_is_more_than_all() -> None:
    # After less the background came out at -2: not clipped to 100.
    assert figures({"patch": 100}, {"patch": -2})["patch"] == (102, 102)


areas = st.floats(0.1, 1e5)


@given(areas, areas, areas, areas, st.floats(0.01, 100))
def test_a_common_factor_of_all_areas_cancels(a: float, b: float, c: float, d: float, factor: float) -> None:
    plain = figures({"patch": a, "margin": b}, {"patch": c, "margin": d})
    scaled = figures({"patch": a * factor, "margin": b * factor}, {"patch": c * factor, "margin": d * factor})
    assert scaled["patch"] == pytest.approx(plain["patch"], rel=1e-9, abs=1e-6)


@given(areas, areas, areas, areas)
def test_pickup_is_at_most_what_is_gone(a: float, b: float, c: float, d: float) -> None:
    gone, pickup = figures({"patch": a, "margin": b}, {"patch": c, "margin": d})["patch"]
    assert gone is not None
    assert pickup is not None
    assert pickup <= gone
