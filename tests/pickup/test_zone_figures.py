import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.pickup.detection import Limits
from debriscount.pickup.records import Amount, ZoneFigures
from debriscount.pickup.zone_figures import TAKEN_OFF, gone_percent, more_than_percent, possible, zone_figures


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


def zone(before: float, after: float, interval: tuple[float, float] | None, limit: float | None = 10.0) -> ZoneFigures:
    pickup = 100 * (1 - after / before) if before > 0 else None
    return ZoneFigures(
        before=Amount(before, 9, before),
        after=Amount(after, 1, after),
        gone_percent=pickup,
        pickup_percent=pickup,
        interval95=interval,
        limit_mm2=limit,
    )


def alone(figures: ZoneFigures, margin: float = 0.0) -> ZoneFigures:
    return possible({"patch": figures, "margin": zone(margin, 0.0, None)})["patch"]


def test_nothing_lies_above_all_or_below_nothing() -> None:
    found = alone(zone(1000, -5, (99.0, 102.0)))
    assert (found.pickup_percent, found.gone_percent, found.interval95) == (100.0, 100.0, (99.0, 100.0))
    assert (found.after.area_mm2, found.after.mass_g) == (0.0, 0.0)


def test_a_sum_far_below_nothing_is_not_measurable() -> None:
    for figures in (zone(1000, -15, (99.0, 104.0)), zone(1000, -5, (100.1, 102.0)), zone(1000, -5, (100.1, 102), None)):
        found = alone(figures)
        assert (found.pickup_percent, found.interval95) == (None, None)
        assert (found.trust, found.why) == ("not measurable", TAKEN_OFF)
        assert found.after.area_mm2 == 0


def test_a_zone_that_held_less_than_nothing_has_no_pickup() -> None:
    found = alone(zone(-3, 5, None))
    assert (found.pickup_percent, found.before.area_mm2, found.after.area_mm2) == (None, 0.0, 5.0)


def test_no_more_is_pushed_in_than_lay_anywhere() -> None:
    # By hand: of 1000 mm² in the patch nothing can be added, from a margin with 30 mm² 3 %.
    assert alone(zone(1000, 980, (-4.0, 8.0))).interval95 == (0.0, 8.0)
    assert alone(zone(1000, 980, (-4.0, 8.0)), margin=30).interval95 == (-3.0, 8.0)
    zones = {"patch": zone(1000, 500, (40, 60)), "edge": zone(100, 150, (-80.0, 10.0))}
    assert possible(zones)["edge"].interval95 == (-80.0, 10.0)
    grown = alone(zone(1000, 3000, (-250.0, -150.0)))
    assert (grown.pickup_percent, grown.interval95) == (-200.0, (-250.0, -150.0))


@given(
    st.floats(0.1, 1e4), st.floats(-1e3, 1e4), st.floats(0, 1e3), st.floats(0, 100), st.floats(0, 100), st.floats(0, 50)
)
def test_what_is_given_can_be(before: float, after: float, margin: float, down: float, up: float, limit: float) -> None:
    amounts = {"patch": Amount(before, 9, None), "margin": Amount(margin, 1, None)}
    left = {"patch": Amount(after, 9, None), "margin": Amount(0.0, 1, None)}
    plain = zone_figures(amounts, left, {})
    pickup = plain["patch"].pickup_percent
    assert pickup is not None
    given_ = {
        "patch": ZoneFigures(
            before=amounts["patch"],
            after=left["patch"],
            gone_percent=pickup,
            pickup_percent=pickup,
            interval95=(pickup - down, pickup + up),
            limit_mm2=limit,
        ),
        "margin": plain["margin"],
    }
    found = possible(given_)["patch"]
    assert found.after.area_mm2 >= 0
    if found.pickup_percent is None:
        assert after < 0
        return
    assert found.pickup_percent <= 100
    assert found.interval95 is not None
    low, high = found.interval95
    assert low <= found.pickup_percent <= high + 1e-9 <= 100 + 1e-6
