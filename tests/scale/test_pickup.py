import math
from dataclasses import replace

import numpy as np
import pytest

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.scale.pickup import WeighedPickup, weighed_pickup
from debriscount.stats.quantity import Quantity

SCALE = Scale(0.1, 0.05, 0.0)
RUN = Weighing(
    SCALE,
    Net((152.3,), (102.3,)),
    bin=Net((351.9,), (310.2,)),
    swept={"open": Net((3.1,)), "edge": Net((4.0,)), "corner": Net((1.1,))},
    elsewhere={"brush": Net((0.4,))},
)


def value(quantity: Quantity | None) -> float:
    assert quantity is not None
    return quantity.value


def test_pickup_by_what_was_collected_and_by_what_was_left() -> None:
    weighed = weighed_pickup(RUN)
    assert value(weighed.by_collection_percent) == pytest.approx(100 * (41.7 + 0.4) / 50)
    assert value(weighed.by_residue_percent) == pytest.approx(100 * (1 - 8.2 / 50))
    assert weighed.by_residue_percent is not None
    assert weighed.by_collection_percent is not None
    assert weighed.pickup_percent is not None
    assert 83.6 < weighed.pickup_percent.value < 84.2
    assert weighed.pickup_percent.u < min(weighed.by_residue_percent.u, weighed.by_collection_percent.u)
    assert {zone: q.value for zone, q in weighed.swept_g.items()} == {"open": 3.1, "edge": 4.0, "corner": 1.1}
    assert value(weighed.elsewhere_percent) == pytest.approx(0.8)
    assert value(weighed.unaccounted_percent) == pytest.approx(-0.6)
    assert weighed.hair is None


@pytest.mark.parametrize(
    ("changes", "known"),
    [
        ({"swept": {}}, (True, True, False)),
        ({"bin": None}, (True, False, True)),
        ({"bin": None, "swept": {}}, (False, False, False)),
        ({"bin": None, "emptied": Net((41.6,))}, (True, True, True)),
        ({"swept": {"edge": Net((4.0,))}}, (True, True, False)),
        ({"swept": {"total": Net((8.2,))}}, (True, True, True)),
    ],
)
def test_each_way_is_there_if_its_readings_are(changes: dict[str, object], known: tuple[bool, bool, bool]) -> None:
    weighed = weighed_pickup(replace(RUN, **changes))  # type: ignore[arg-type]
    ways = (weighed.pickup_percent, weighed.by_collection_percent, weighed.by_residue_percent)
    assert tuple(way is not None for way in ways) == known
    if known.count(True) == 2:
        assert weighed.pickup_percent == next(way for way in ways[1:] if way)


@pytest.mark.parametrize(
    ("zones", "known"),
    [
        (("open", "edge", "corner", "margin"), True),
        (("open", "edge", "corner"), True),
        (("open",), True),
        (None, True),
    ],
)
def test_leftovers_tell_pickup_where_all_zones_of_the_patch_were_swept(
    zones: tuple[str, ...] | None, *, known: bool
) -> None:
    assert (weighed_pickup(RUN, zones).by_residue_percent is not None) is known


def test_leftovers_of_some_zones_alone_tell_none() -> None:
    some = replace(RUN, swept={"open": Net((3.1,))})
    weighed = weighed_pickup(some, ("open", "edge"))
    assert weighed.by_residue_percent is None
    assert (weighed.balance.closed, weighed.unaccounted_percent) == (False, None)
    assert set(weighed.swept_g) == {"open"}


def test_a_factor_that_all_readings_share_cancels() -> None:
    wrong = replace(RUN, scale=replace(SCALE, sensitivity_percent=5.0))
    plain, off = weighed_pickup(RUN), weighed_pickup(wrong)
    for name in ("pickup_percent", "by_collection_percent", "by_residue_percent"):
        assert getattr(off, name).u == pytest.approx(getattr(plain, name).u, rel=1e-9)


def best_of(weighing: Weighing) -> tuple[WeighedPickup, Quantity]:
    weighed = weighed_pickup(weighing)
    assert weighed.pickup_percent is not None
    return weighed, weighed.pickup_percent


def test_uncertainty_is_what_simulated_readings_scatter() -> None:
    """Independent of the slopes: 3,000 weighings of the same run, read with rounding and scatter."""
    rng = np.random.default_rng(11)

    def read(load: float) -> tuple[float, ...]:
        return (float(np.round((load + rng.normal(0, 0.05)) / 0.1) * 0.1),)

    found = []
    for _ in range(3000):
        cup, box = rng.uniform(100, 101, 2)
        found.append(
            weighed_pickup(
                replace(
                    RUN,
                    dispensed=Net(read(cup + 50), read(cup)),
                    bin=Net(read(box + 41.4), read(box)),
                    swept={"total": Net(read(cup + 8.2), read(cup))},
                    elsewhere={"brush": Net(read(cup + 0.4), read(cup))},
                )
            )
        )
    for name in ("pickup_percent", "by_collection_percent", "by_residue_percent"):
        values = np.array([getattr(weighed, name).value for weighed in found])
        stated = float(np.median([getattr(weighed, name).u for weighed in found]))
        assert values.mean() == pytest.approx(83.6, abs=0.03)
        assert stated == pytest.approx(float(values.std()), rel=0.06), name


def test_the_best_of_both_ways_weighs_them_by_their_covariance() -> None:
    """Least variance of two correlated values (L. Lyons et al., Nucl. Instrum. Methods A 270 (1988) 110, from memory).

    The two ways are apart by what is unaccounted for, whose uncertainty so tells how they go together.
    """
    weighed, best = best_of(replace(RUN, bin=Net((351.9, 351.9, 351.9), (310.2, 310.2, 310.2))))
    first, second, apart = weighed.by_collection_percent, weighed.by_residue_percent, weighed.unaccounted_percent
    assert first is not None and second is not None and apart is not None
    together = (first.u**2 + second.u**2 - apart.u**2) / 2
    assert abs(together) > 0.05 * first.u * second.u
    weight = (first.u**2 - together) / (first.u**2 + second.u**2 - 2 * together)
    assert best.value == pytest.approx(first.value + weight * (second.value - first.value), abs=1e-3)


def test_missing_mass_was_picked_up_or_left_and_nobody_knows_which() -> None:
    weighed, best = best_of(replace(RUN, bin=Net((341.9,), (310.2,))))
    assert [flag.kind for flag in weighed.balance.flags] == ["unaccounted"]
    low, high = value(weighed.by_collection_percent), value(weighed.by_residue_percent)
    assert best.value == pytest.approx((low + high) / 2)
    assert best.u == pytest.approx((high - low) / math.sqrt(12), rel=0.01)


def test_without_any_uncertainty_both_ways_count_the_same() -> None:
    _, best = best_of(replace(RUN, scale=Scale(1e-9, 0.0, 0.0), swept={"total": Net((7.9,))}))
    assert best.value == pytest.approx(84.2)


def test_hair_counts_on_the_brush_in_the_bin_and_left() -> None:
    hair = replace(
        RUN, bin=Net((313.2,), (310.2,)), dispensed=Net((15.0,), (10.0,)), swept={"total": Net((0.5,))},
        elsewhere={"hair": Net((1.2,)), "brush": Net((0.2,)), "wheels": Net((0.1,))},
    )  # fmt: skip
    weighed, best = best_of(hair)
    assert weighed.hair is not None
    assert value(weighed.hair.bin_percent) == pytest.approx(60.0)
    assert value(weighed.hair.brush_percent) == pytest.approx(28.0)
    assert value(weighed.hair.left_percent) == pytest.approx(10.0)
    assert value(weighed.hair.wrap_percent) == pytest.approx(100 * 1.4 / 4.5)
    assert best.value == pytest.approx(90.0, abs=0.5)


def test_hair_without_a_bin_has_no_wrap_share() -> None:
    hair = weighed_pickup(replace(RUN, bin=None, swept={}, elsewhere={"hair": Net((1.2,))})).hair
    assert hair is not None
    assert (hair.bin_percent, hair.left_percent, hair.wrap_percent) == (None, None, None)
    assert value(hair.brush_percent) == pytest.approx(2.4)


def test_nothing_picked_up_has_no_wrap_share() -> None:
    hair = weighed_pickup(replace(RUN, bin=Net((310.0,), (310.0,)), elsewhere={"hair": Net((0.0,))})).hair
    assert hair is not None
    assert hair.wrap_percent is None
    assert value(hair.bin_percent) == 0.0


def test_a_zone_left_out_may_hold_nothing_or_all_that_was_laid_there() -> None:
    """Rectangular from 0 to the 10 % laid there (JCGM 100, 4.3.7): half of it, and 10/√12 beside the readings."""
    some = replace(RUN, bin=None, elsewhere={}, swept={"open": Net((3.0,)), "corner": Net((1.0,))})
    whole = weighed_pickup(replace(some, swept={**some.swept, "edge": Net((0.0,))}), ("open", "edge", "corner"))
    found = weighed_pickup(some, ("open", "edge", "corner", "margin"), {"open": 85.0, "edge": 10.0, "corner": 5.0})
    assert whole.pickup_percent is not None
    assert found.pickup_percent is not None
    assert (found.not_swept, whole.not_swept) == (("edge",), ())
    assert found.pickup_percent.value == pytest.approx(whole.pickup_percent.value - 5)
    assert found.pickup_percent.u == pytest.approx(math.hypot(whole.pickup_percent.u, 10 / math.sqrt(12)), rel=0.02)
    assert not found.balance.closed


def test_a_corner_that_was_swept_has_edges_beside_it() -> None:
    some = replace(RUN, bin=None, elsewhere={}, swept={"open": Net((3.0,)), "corner": Net((1.0,))})
    found = weighed_pickup(some)
    assert (found.not_swept, found.pickup_percent) == (("edge",), None)


def test_the_bin_counts_alone_where_a_zone_was_left_out() -> None:
    some = replace(RUN, swept={"open": Net((3.0,))})
    found = weighed_pickup(some, ("open", "edge"), {"open": 90.0, "edge": 10.0})
    assert found.pickup_percent == found.by_collection_percent
    assert found.by_residue_percent is not None
    assert found.unaccounted_percent is None
