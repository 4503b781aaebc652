from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from debriscount.errors import ShotOrderError
from debriscount.flags import Flag, Severity, sentences
from debriscount.photo.read import Photo, photo_from_array
from debriscount.photo.settings import CameraSettings
from debriscount.photo.shots import side_by_side
from debriscount.plausibility.noticed import WANTS, fault_flags, photo_flags, refused_for_its_cause
from debriscount.shot_check.records import Finding, Fitness, at_most


def fault(code: str, value: float, limit: float) -> Finding:
    return at_most(code, value, "px", limit, "", f"Mend {code}.", code)


def checked(faults: Mapping[str, Sequence[tuple[str, float]]], limit: float) -> dict[str, Fitness]:
    return {
        shot: Fitness(f"{shot}.jpg", "", 1.0, tuple(fault(code, value, limit) for code, value in those))
        for shot, those in faults.items()
    }


Faults = Mapping[str, Sequence[tuple[str, float]]]


def flags(faults: Faults, limits: tuple[float, float] = (2.0, 4.0)) -> dict[tuple[str, str | None], Severity]:
    return {(f.code, f.shot): f.severity for f in _flags(faults, limits)}


def _flags(faults: Faults, limits: tuple[float, float] = (2.0, 4.0)) -> list[Flag]:
    """Flags of faults whose limit is 1 at the usual accuracy and ``limits`` at less."""
    by_want = {want: checked(faults, limit) for want, limit in zip(WANTS, limits, strict=True)}
    return fault_flags(checked(faults, 1.0), by_want)


def test_a_fault_is_as_grave_as_the_accuracy_that_it_spoils() -> None:
    faults = {"blank": [], "before": [("blurred", 1.5)], "after": [("blurred", 3.0)], "after2": [("blurred", 5.0)]}
    assert flags(faults) == {
        ("blurred", "before"): "note",
        ("blurred", "after"): "doubtful",
        ("blurred", "after2"): "unfit",
    }


@pytest.mark.parametrize(
    ("value", "severity"), [(1.4, "note"), (1.42, "doubtful"), (1.86, "doubtful"), (1.87, "unfit")]
)
def test_a_limit_that_is_the_same_for_any_accuracy_is_passed_a_little(value: float, severity: Severity) -> None:
    """By hand: the square roots of the accuracies over the usual are 1.414 and 1.861."""
    assert flags({"before": [("slanted", value)], "after": []}, (1.0, 1.0)) == {("slanted", "before"): severity}


def test_a_fault_that_all_shots_share_is_less_grave() -> None:
    grave = [("burnt-out", 5.0)]
    assert set(flags({"before": grave, "after": grave}).values()) == {"doubtful"}
    assert set(flags({"blank": [], "before": grave, "after": grave}).values()) == {"unfit"}


@pytest.mark.parametrize("code", ["noisy", "compressed"])
def test_noise_that_all_shots_share_is_in_the_interval(code: str) -> None:
    grave = [(code, 5.0)]
    assert set(flags({"before": grave, "after": grave}).values()) == {"note"}
    assert set(flags({"blank": [], "before": grave, "after": grave}).values()) == {"unfit"}


def test_what_cancels_in_a_pickup_is_a_note() -> None:
    assert flags({"before": [("too-coarse", 9.0)], "after": []}) == {("too-coarse", "before"): "note"}


def test_a_cause_is_as_grave_as_its_symptoms_which_are_not_told() -> None:
    faults = {"before": [("markers-off", 3.0), ("blurred", 1.5)], "after": []}
    assert flags(faults) == {("blurred", "before"): "doubtful"}


def test_a_fault_of_the_first_shot_explains_what_the_others_show_against_it() -> None:
    faults = {"before": [("blurred", 3.0)], "after": [("noise-differs", 1.5)]}
    assert flags(faults) == {("blurred", "before"): "doubtful"}


def test_a_blurred_shot_explains_that_places_are_uncertain_in_all() -> None:
    uncertain = [("places-uncertain", 1.5)]
    faults = {"blank": uncertain, "before": [("blurred", 5.0), *uncertain], "after": uncertain}
    assert flags(faults) == {("blurred", "before"): "unfit"}


def test_that_the_other_shot_is_blurred_is_said_of_that_shot() -> None:
    (flag,) = _flags({"blank": [], "after": [("other-blurred", 3.0)]})
    assert (flag.code, flag.shot, flag.severity) == ("blurred", "blank", "doubtful")
    assert flag.sentence == "edges are spread over 3 px, more than in after. Retake it, if it can be."


def test_shots_with_one_fault_say_the_same_of_the_worst_of_them() -> None:
    found = _flags({"blank": [("noisy", 1.2)], "before": [("noisy", 1.7)], "after": [("noisy", 1.4)]})
    assert sentences(found) == ("blank, before and after: noisy 1.7 px, at most 1 will do. Mend noisy.",)


@pytest.mark.parametrize("shots", [["before"], ["blank", "before", "after"]])
def test_nothing_is_said_of_good_shots(shots: list[str]) -> None:
    assert flags({shot: [] for shot in shots}) == {}


def photo(name: str, *warnings: str, grey: bool = False) -> Photo:
    pixels = np.zeros((64, 64, 3), np.uint8)
    return replace(photo_from_array(pixels, name), warnings=warnings, grey=grey)


def test_settings_that_differ_are_told_together_where_the_same_helps() -> None:
    photos = {"before": photo("b.jpg"), "after": photo("a.jpg", "its profile is damaged")}
    told = (
        "after: its profile is damaged",
        "exposure time differs (a, b); fix it",
        "sensitivity differs (c, d); fix it",
        "flash differs (e, f); leave it",
    )
    assert [(f.code, f.shot, f.sentence) for f in photo_flags(photos, told)] == [
        ("photo-file", "after", "its profile is damaged"),
        ("settings-differ", None, "exposure time differs (a, b), sensitivity differs (c, d); fix it"),
        ("settings-differ", None, "flash differs (e, f); leave it"),
    ]


def test_missing_colour_makes_figures_doubtful() -> None:
    photos = {"before": photo("b.jpg", grey=True), "after": photo("a.jpg", grey=True)}
    found = photo_flags(photos, ("exposure time differs (a, b); fix it", "before: shows no colour"))
    assert [(f.code, f.severity) for f in found] == [("no-colour", "doubtful"), ("settings-differ", "note")]


def test_what_side_by_side_tells_is_what_is_taken_apart() -> None:
    """The order that `photo_flags` relies on."""
    settings = [CameraSettings(iso=iso) for iso in (100.0, 200.0)]
    shots = [replace(photo(n, f"{n} is odd"), settings=s) for n, s in zip("ba", settings, strict=True)]
    photos, told = side_by_side({"before": shots[0], "after": replace(shots[1], grey=True)})
    codes = [(f.code, f.shot) for f in photo_flags(photos, told)]
    assert codes == [("no-colour", None), ("photo-file", "before"), ("photo-file", "after"), ("settings-differ", None)]


@pytest.mark.parametrize(
    ("flag", "said"),
    [
        (
            Flag(code="burnt-out", severity="unfit", sentence="30 % is burnt out.", shot="after"),
            "after.jpg: 30 % is burnt",
        ),
        (Flag(code="burnt-out", severity="note", sentence="1 % is burnt out.", shot="after"), "before.jpg: shows more"),
        (Flag(code="slanted", severity="unfit", sentence="is slanted.", shot="after"), "before.jpg: shows more"),
    ],
)
def test_a_refusal_gives_the_photos_own_fault(flag: Flag, said: str) -> None:
    photos = {name: photo(f"{name}.jpg") for name in ("before", "after")}
    with pytest.raises(ShotOrderError, match=f"^{said}"), refused_for_its_cause(photos, lambda: [flag]):
        raise ShotOrderError("before.jpg: shows more debris than after.jpg")


def test_a_fault_said_without_a_full_stop_gets_one_before_what_follows() -> None:
    toned = Flag(
        code="other-tone", severity="doubtful", sentence="after is toned otherwise. Use no filter", shot="after"
    )
    photos = {name: photo(f"{name}.jpg") for name in ("before", "after")}
    wanted = r"^after\.jpg: after is toned otherwise\. Use no filter\. Debris cannot be told from floor in it\.$"
    with pytest.raises(ShotOrderError, match=wanted), refused_for_its_cause(photos, lambda: [toned]):
        raise ShotOrderError("after.jpg: shows more than twice the debris of before.jpg")
