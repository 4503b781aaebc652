from hypothesis import given
from hypothesis import strategies as st

from debriscount.pickup.possible import TAKEN_OFF, possible
from debriscount.pickup.records import Amount, ZoneFigures
from debriscount.pickup.zone_figures import zone_figures


def zone(before: float, after: float, interval: tuple[float, float] | None, limit: float | None = 10.0) -> ZoneFigures:
    pickup = 100 * (1 - after / before) if before > 0 else None
    return ZoneFigures(Amount(before, 9, before), Amount(after, 1, after), pickup, pickup, interval, limit_mm2=limit)


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
            amounts["patch"], left["patch"], pickup, pickup, (pickup - down, pickup + up), limit_mm2=limit
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
