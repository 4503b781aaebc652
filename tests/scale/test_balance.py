import math
from dataclasses import replace

import pytest

from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.safety import MACHINE_OFF
from debriscount.scale.balance import Balance, balance_weights, mass_balance, summed
from debriscount.scale.readings import masses, scale_errors

#: Digit 0.1 g and nothing else: each reading has u = 0.1/√12.
SCALE = Scale(0.1, 0.0, 0.0)
DIGIT = 0.1 / math.sqrt(12)
SOUND = Weighing(
    SCALE,
    Net((152.3,), (102.3,)),
    bin=Net((351.9,), (310.2,)),
    swept={"open": Net((13.1,), (10.0,)), "edge": Net((15.1,), (10.0,))},
    elsewhere={"brush": Net((1.0,), (1.0,))},
)


def balanced(weighing: Weighing, *, swept_all: bool = True) -> Balance:
    return mass_balance(weighing, masses(weighing), scale_errors(weighing), swept_all=swept_all)


def kinds(weighing: Weighing) -> list[str]:
    return [flag.kind for flag in balanced(weighing).flags]


def test_what_was_dispensed_is_what_was_found_and_the_rest() -> None:
    balance = balanced(SOUND)
    assert balance.dispensed_g.value == pytest.approx(50.0)
    assert balance.bin_g is not None
    assert balance.bin_g.value == pytest.approx(41.7)
    assert balance.swept_g is not None
    assert balance.swept_g.value == pytest.approx(8.2)
    assert balance.unaccounted_g is not None
    assert balance.unaccounted_g.value == pytest.approx(0.1)
    assert balance.unaccounted_g.u == pytest.approx(DIGIT * math.sqrt(10))
    assert (balance.closed, balance.flags) == (True, ())


def test_what_stayed_in_the_cup_was_not_dispensed() -> None:
    balance = balanced(replace(SOUND, left_in_cup=Net((1.1,), (1.0,))))
    assert balance.dispensed_g.value == pytest.approx(49.9)
    assert balance.left_in_cup_g is not None
    assert balance.left_in_cup_g.value == pytest.approx(0.1)
    assert balance.left_in_cup_g.u == pytest.approx(DIGIT * math.sqrt(2))


def test_the_shared_factor_of_a_scale_leaves_a_balance_closed() -> None:
    wrong = replace(SOUND, scale=replace(SCALE, sensitivity_percent=1.0))
    balance, plain = balanced(wrong), balanced(SOUND)
    assert balance.dispensed_g.u == pytest.approx(math.hypot(plain.dispensed_g.u, 0.5))
    assert balance.unaccounted_g is not None
    assert plain.unaccounted_g is not None
    assert balance.unaccounted_g.u == pytest.approx(plain.unaccounted_g.u, rel=1e-3)


def test_more_found_than_dispensed_is_flagged_with_its_chance() -> None:
    flag = balanced(replace(SOUND, bin=Net((352.6,), (310.2,)))).flags[0]
    assert flag.kind == "impossible"
    assert flag.excess_g.value == pytest.approx(-0.6)
    assert flag.message == (
        "0.60 ± 0.18 g more was found than dispensed, which is impossible (chance below one in a million). "
        "Was the scale set to zero, the bin clean before the run, all of the portion weighed?"
    )
    # Independent: normal distribution, z = 0.6/(0.1 √(10/12)).
    assert flag.probability == pytest.approx(math.erfc(0.6 / (DIGIT * math.sqrt(10)) / math.sqrt(2)))


def test_little_more_than_dispensed_is_no_flag() -> None:
    assert not kinds(replace(SOUND, bin=Net((352.1,), (310.2,))))


def test_what_is_missing_is_flagged_only_if_all_leftovers_were_weighed() -> None:
    lost = replace(SOUND, bin=Net((351.0,), (310.2,)))
    assert kinds(lost) == ["unaccounted"]
    (flag,) = balanced(lost).flags
    assert "1.00 ± 0.18 g of what was dispensed was found nowhere" in flag.message
    assert f"brush, filter and wheels ({MACHINE_OFF})" in flag.message
    assert not balanced(lost, swept_all=False).flags
    assert not balanced(lost, swept_all=False).closed
    unswept = balanced(replace(lost, swept={}))
    assert unswept.unaccounted_g is not None
    assert unswept.unaccounted_g.value == pytest.approx(9.2)
    assert (unswept.closed, unswept.swept_g, unswept.flags) == (False, None, ())


def test_without_a_bin_nothing_is_balanced() -> None:
    balance = balanced(replace(SOUND, bin=None))
    assert (balance.bin_g, balance.unaccounted_g, balance.closed) == (None, None, False)
    assert balance.swept_g is not None


def test_more_in_the_bin_than_dispensed_is_impossible_without_sweeping_too() -> None:
    assert kinds(replace(SOUND, bin=Net((362.0,), (310.2,)), swept={})) == ["impossible"]


def test_emptied_content_stands_for_the_bin_and_beside_it_shows_residue() -> None:
    emptied = balanced(replace(SOUND, bin=None, emptied=Net((51.7,), (10.0,))))
    assert emptied.bin_g is not None
    assert emptied.bin_g.value == pytest.approx(41.7)
    both = balanced(replace(SOUND, emptied=Net((50.7,), (10.0,))))
    assert both.bin_g is not None
    assert both.bin_g.value == pytest.approx(41.7)
    assert [flag.kind for flag in both.flags] == ["bin residue"]
    assert "the bin kept 1.00 ± 0.11 g of what it gained" in both.flags[0].message
    more = balanced(replace(SOUND, emptied=Net((52.7,), (10.0,)))).flags[0]
    assert "the bin gave 1.00 ± 0.11 g more than it gained" in more.message
    assert not kinds(replace(SOUND, emptied=Net((51.6,), (10.0,))))


def test_a_bin_that_became_lighter_is_flagged() -> None:
    flags = balanced(replace(SOUND, bin=Net((310.2,), (351.9,)))).flags
    assert [flag.kind for flag in flags] == ["unaccounted", "bin loss"]
    assert "the bin weighs 41.700 ± 0.080 g less after the run than before" in flags[1].message


@pytest.mark.parametrize(
    ("changes", "kind", "words"),
    [
        ({"usual_cup_g": (102.0,)}, "cup tare", "the cup is 0.300 ± 0.080 g heavier than when clean"),
        ({"usual_bin_g": (311.0, 311.0)}, "bin tare", "the bin is 0.800 ± 0.080 g lighter than when clean"),
    ],
)
def test_a_tare_far_from_the_usual_is_flagged(changes: dict[str, tuple[float, ...]], kind: str, words: str) -> None:
    flag = balanced(replace(SOUND, **changes)).flags[0]  # type: ignore[arg-type]
    assert flag.kind == kind
    assert words in flag.message


def test_a_tare_near_the_usual_is_not() -> None:
    assert not kinds(replace(SOUND, usual_cup_g=(102.2,), usual_bin_g=(310.3,)))


def test_a_misread_repeat_is_flagged() -> None:
    swapped = replace(SOUND, bin=Net((351.9, 351.9, 359.1), (310.2,)))
    flag = next(flag for flag in balanced(swapped).flags if flag.kind == "repeats")
    assert "repeats of one load (bin) are 7.2 g apart, more than the scale scatters" in flag.message
    close = replace(SOUND, bin=Net((351.9, 351.9, 351.8), (310.2,)))
    assert not kinds(close)


def test_repeats_on_a_scale_that_nobody_stated_need_to_be_far_apart() -> None:
    usual = replace(SOUND, scale=Scale(0.1))
    assert "repeats" not in kinds(replace(usual, bin=Net((351.9, 352.2), (310.2,))))
    assert "repeats" in kinds(replace(usual, bin=Net((351.9, 395.1), (310.2,))))


def test_weights_of_the_balance_are_those_of_its_parts() -> None:
    parts = balance_weights(replace(SOUND, left_in_cup=Net((0.1,))))
    assert parts["unaccounted"] == {
        "dispensed": 1, "left in cup": -1, "bin": -1, "swept open": -1, "swept edge": -1, "brush": -1,
    }  # fmt: skip
    assert summed([(2.0, {"a": 1.0}), (-1.0, {"a": 0.5, "b": 3.0})]) == {"a": 1.5, "b": -3.0}
