from dataclasses import replace

import pytest

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.scale.exchanged import exchanges_that_explain
from debriscount.stats.quantity import Quantity

#: 50.0 g dispensed, 41.7 g in the bin, 8.2 g swept up: 83.5 %.
SOUND = Weighing(
    Scale(0.1, 0.05, 0.1, 1000.0),
    Net((152.3,), (102.3,)),
    bin=Net((351.9,), (310.2,)),
    swept={"open": Net((3.1,)), "edge": Net((14.0,), (10.0,)), "corner": Net((1.1,))},
)
PHOTO, BEFORE = Quantity(83.2, 0.6), Quantity(49.0, 2.5)


def named(weighing: Weighing, photo: Quantity = PHOTO, before: Quantity | None = BEFORE) -> list[str]:
    return [exchange.what for exchange in exchanges_that_explain(photo, before, weighing)]


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"bin": Net((310.2,), (351.9,))}, "the bin before and after the run"),
        ({"bin": Net((310.2,), (351.9,)), "swept": {}}, "the bin before and after the run"),
        (
            {"bin": None, "emptied": Net((8.2,)), "swept": {"total": Net((41.7,))}},
            "the bin's content and what was swept up",
        ),
        (
            {"dispensed": Net((41.7,)), "bin": None, "emptied": Net((50.0,)), "swept": {}},
            "the portion and the bin's content",
        ),
        (
            {"swept": {"open": Net((3.1,)), "edge": Net((10.0,), (14.0,)), "corner": Net((1.1,))}},
            "the full and the empty vessel of what was swept up (edge)",
        ),
    ],
)
def test_an_exchange_is_found(changes: dict[str, object], what: str) -> None:
    assert named(replace(SOUND, **changes))[0] == what  # type: ignore[arg-type]


def test_the_pickup_of_the_other_way_round_is_told() -> None:
    turned = replace(SOUND, bin=Net((310.2,), (351.9,)), swept={})
    (found,) = exchanges_that_explain(PHOTO, BEFORE, turned)
    assert found.pickup_percent.value == pytest.approx(83.4)
    assert found.sentence.startswith(
        "the bin before and after the run seem to be exchanged; the other way round the scale says 83.40 ± "
    )


def test_an_exchange_that_leaves_something_open_is_none() -> None:
    turned = replace(SOUND, bin=Net((310.2,), (351.9,)))
    assert named(turned, Quantity(75.0, 0.6)) == []
    assert named(turned, PHOTO, Quantity(30.0, 1.5)) == []
    assert named(turned, PHOTO, None) == ["the bin before and after the run"]


def test_other_faults_are_no_exchange() -> None:
    assert named(replace(SOUND, bin=Net((346.9,), (310.2,)))) == []
    assert named(replace(SOUND, dispensed=Net((162.3,), (102.3,)))) == []
