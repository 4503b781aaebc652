import pytest

from debriscount.shot_check.causes import EXPLAINED_BY, causes
from debriscount.shot_check.records import Finding, at_least, at_most


def fault(code: str, value: float = 2.0) -> Finding:
    return at_most(code, value, "", 1.0, "", "do it", code)


def codes(*faults: Finding, elsewhere: tuple[Finding, ...] = ()) -> list[str]:
    return [finding.code for finding in causes(faults, elsewhere)]


def test_a_blurred_photo_is_not_told_to_measure_its_markers_again() -> None:
    assert codes(fault("markers-off"), fault("places-uncertain"), fault("blurred")) == ["blurred"]
    assert codes(fault("places-uncertain"), fault("markers-off")) == ["markers-off"]
    assert codes(fault("places-uncertain")) == ["places-uncertain"]


def test_a_fault_of_the_other_shot_explains_as_well() -> None:
    assert codes(fault("noise-differs")) == ["noise-differs"]
    assert codes(fault("noise-differs"), elsewhere=(fault("blurred"),)) == []


def test_of_two_kinds_the_worse_one_speaks() -> None:
    worse = fault("noisy", 3.0)
    assert causes([fault("noisy"), worse]) == (worse,)


def test_what_has_no_place_in_the_order_comes_last() -> None:
    assert codes(fault("new"), fault("shadow")) == ["shadow", "new"]


def test_causes_stand_before_their_symptoms() -> None:
    order = list(EXPLAINED_BY)
    for symptom, by in EXPLAINED_BY.items():
        assert all(order.index(cause) < order.index(symptom) for cause in by)


@pytest.mark.parametrize(
    ("finding", "excess"),
    [
        (at_most("", 3.0, "", 2.0, "", ""), 1.5),
        (at_least("", 2.0, "", 3.0, "", ""), 1.5),
        (at_least("", 0.0, "", 3.0, "", ""), float("inf")),
        (Finding(name="", value=None, unit="", limit=3.0, least=True, fit=False, reason=""), float("inf")),
        (Finding(name="", value=None, unit="", limit=None, least=False, fit=True, reason=""), 1.0),
    ],
)
def test_the_excess_is_how_many_times_a_value_is_beyond_its_limit(finding: Finding, excess: float) -> None:
    assert finding.excess == excess
