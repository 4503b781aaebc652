import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.pickup.detection import Limits
from debriscount.pickup.records import Amount
from debriscount.pickup.zone_figures import gone_percent, more_than_percent, zone_figures


def amount(area_mm2: float) -> Amount:
    return Amount(area_mm2, round(max(area_mm2, 0)), None)


def figures(before: dict[str, float], after: dict[str, float]) -> dict[str, tuple[float | None, float | None]]:
    found = zone_figures({k: amount(v) for k, v in before.items()}, {k: amount(v) for k, v in after.items()}, {})
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


def test_more_than_worked_out_by_hand() -> None:
    """Critical level 5, detection limit 10, 1000 before: 7 seen may be 12, and 10 seen is a figure of its own."""
    promised = [more_than_percent(amount(1000), left, Limits(5, 10)) for left in (-3, 0, 5, 7, 10)]
    assert promised == [99, 99, 99, pytest.approx(98.8), None]


@pytest.mark.parametrize("start", [-5.0, 0.0, 10.0])
def test_a_promise_that_says_nothing_is_none(start: float) -> None:
    assert more_than_percent(amount(start), 0, Limits(5, 10)) is None


def test_zones_without_limits_promise_nothing() -> None:
    zones = {"patch": amount(100), "edge": amount(100)}
    found = zone_figures(zones, {zone: amount(0) for zone in zones}, {"patch": Limits(5, 10)})
    assert (found["patch"].more_than_percent, found["patch"].limit_mm2) == (90, 10)
    assert (found["edge"].more_than_percent, found["edge"].limit_mm2) == (None, None)


areas = st.floats(0.1, 1e5)


@given(st.floats(0.1, 1e5), st.floats(-100, 1e5), st.floats(1e-3, 1e5))
def test_what_is_promised_is_below_the_estimate_and_below_all(start: float, left: float, critical: float) -> None:
    limits = Limits(critical, 2 * critical)
    promised = more_than_percent(amount(start), left, limits)
    if promised is not None:
        assert 0 < promised < 100
        assert promised <= 100 * (1 - left / start)


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
