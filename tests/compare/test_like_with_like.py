from typing import Any

import pytest

from debriscount.compare.compare import compare

from .conftest import filed_run, named


def warnings(
    first: dict[str, Any], second: dict[str, Any], factor: str = "machine", within: tuple[str, ...] = ()
) -> str:
    """What is warned of where runs of two kinds are compared, two of each."""
    made = [filed_run(i, 80.0 + i, **(first if i < 3 else second)) for i in (1, 2, 3, 4)]
    return " ".join(compare(named(made), factor, within).warnings)


A, B = {"machine": "A"}, {"machine": "B"}


def test_like_with_like_is_silent() -> None:
    assert warnings(A, B) == ""


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"floor": "tile"}, "floor differs (machine A: oak; machine B: tile)"),
        ({"patch": "hall"}, "patch differs"),
        ({"debris": "rice"}, "debris differs"),
        ({"batch": "2"}, "debris batch differs"),
        ({"floor": ""}, "machine B: not said"),
    ],
)
def test_what_differs_beside_the_factor_is_told(changed: dict[str, Any], words: str) -> None:
    said = warnings(A, {**B, **changed})
    assert "not like with like" in said
    assert words in said


def test_settings_that_both_have_are_told_and_those_of_one_are_not() -> None:
    said = warnings({**A, "settings": {"suction": "high", "mop": "on"}}, {**B, "settings": {"suction": "low"}})
    assert "setting suction differs (machine A: high; machine B: low)" in said
    assert "mop" not in said


def test_machines_have_software_of_their_own_but_one_machine_should_not_change() -> None:
    assert warnings({**A, "software": "1.0"}, {**B, "software": "7.3"}) == ""
    a, b = {"settings": {"brush": "a"}, "software": "1.0"}, {"settings": {"brush": "b"}, "software": "1.1"}
    assert "software of machine A differs (brush a: 1.0; brush b: 1.1)" in warnings(a, b, "setting.brush")
    runs = [filed_run(i, 80.0 + i, machine="AB"[i > 2], software="1.0" if i != 2 else "1.1") for i in (1, 2, 3, 4)]
    (said,) = compare(named(runs), "machine").warnings
    assert "machine A ran with different software (1.0 and 1.1)" in said


def test_within_a_thing_it_is_not_told() -> None:
    rows = [("A", "oak"), ("A", "oak"), ("B", "oak"), ("B", "oak"), ("A", "tile"), ("A", "tile"), ("B", "tile")]
    runs = named([filed_run(i + 1, 80.0 + i, machine=m, floor=f) for i, (m, f) in enumerate(rows)])
    assert not compare(runs, "machine", ["floor"]).warnings
    assert not compare(runs, "machine").warnings  # floors are mixed nearly alike


def test_floors_mixed_in_other_shares_are_told() -> None:
    rows = [("A", "oak")] * 3 + [("A", "tile")] + [("B", "oak")] + [("B", "tile")] * 3
    runs = named([filed_run(i + 1, 80.0 + i, machine=m, floor=f) for i, (m, f) in enumerate(rows)])
    (said,) = compare(runs, "machine").warnings
    assert said == "floor is mixed in different shares. Compare within it: --within floor."


def test_a_patch_file_that_was_changed_is_told() -> None:
    from dataclasses import replace

    made = [filed_run(i, 80.0 + i, machine="AB"[i > 2]) for i in (1, 2, 3, 4)]
    patch = replace(made[3].record.patch, sha256="ff")
    made[3] = replace(made[3], record=replace(made[3].record, patch=patch))
    (said,) = compare(named(made), "machine").warnings
    assert said.startswith('the patch file of "bench" was changed between runs: 2 versions.')
