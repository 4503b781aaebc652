from dataclasses import replace

import pytest

from debriscount.flags import Flag
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.pickup.trust import OF_PHOTOS, SOUND, SOUND_ZONE, TOO_WIDE, judged, reason, untold
from debriscount.shot_check.causes import EXPLAINED_BY

FILES = {"blank": "blank.jpg", "before": "before.jpg", "after": "a1.jpg", "after2": "a2.jpg"}


def figures(area: float = 1000.0, half: float = 1.0, pickup: float | None = 80.0) -> ZoneFigures:
    interval = None if pickup is None else (pickup - half, pickup + half)
    return ZoneFigures(
        before=Amount(area, 100, None),
        after=Amount(0.2 * area, 20, None),
        gone_percent=pickup,
        pickup_percent=pickup,
        interval95=interval,
    )


def flag(code: str, severity: str = "doubtful", shot: str | None = None, zone: str | None = None) -> Flag:
    return Flag(code=code, severity=severity, sentence=f"Something about {code}. Do it.", shot=shot, zone=zone)  # type: ignore[arg-type]


def trust(*flags: Flag, source: str = "", **zones: ZoneFigures) -> dict[str, tuple[str, str]]:
    """Trust and reason by zone after the first of two passes."""
    one = PassFigures(1, {"patch": figures(), **zones}, {"rice": {"patch": figures()}})
    found = judged((one, replace(one, number=2)), flags, FILES, source)[0]
    return {
        **{zone: (f.trust, f.why) for zone, f in found.zones.items()},
        "rice": (found.kinds["rice"]["patch"].trust, found.kinds["rice"]["patch"].why),
    }


def test_a_figure_that_nothing_speaks_against_is_sound() -> None:
    assert trust(edge=figures(half=3.9)) == dict.fromkeys(("patch", "edge", "rice"), ("sound", ""))
    assert trust(flag("settings-differ", "note"))["patch"] == ("sound", "")


@pytest.mark.parametrize(("half", "word"), [(SOUND - 0.01, "sound"), (SOUND + 0.01, "doubtful")])
def test_what_is_not_known_well_enough_is_doubtful(half: float, word: str) -> None:
    assert trust(patch=figures(half=half))["patch"][0] == word


def test_a_wide_interval_has_its_largest_source_for_a_reason() -> None:
    assert trust(patch=figures(half=5), source="floor")["patch"][1] == (
        "its 95 % interval is wider than 4 points: the floor's own pattern looks like this debris"
    )
    assert trust(corner=figures(half=SOUND_ZONE + 1), source="floor")["corner"][1] == (
        "its 95 % interval is wider than 8 points"
    )
    lost = untold(figures(), TOO_WIDE)
    assert trust(patch=lost, source="floor")["patch"][1] == (
        "its 95 % interval is wider than 30 points: the floor's own pattern looks like this debris"
    )
    assert trust(edge=lost, source="floor")["edge"][1] == "its 95 % interval is wider than 30 points"
    unknown = replace(figures(), interval95=None)
    assert trust(patch=unknown)["patch"] == ("doubtful", "how well it is known cannot be told")


def test_a_figure_that_is_not_given_is_not_measurable() -> None:
    assert trust(edge=untold(figures(), "of this"))["edge"] == ("not measurable", "of this")
    nothing = trust(edge=figures(area=0.0, pickup=None))["edge"]
    assert nothing == ("not measurable", "no debris lay here before")
    gone = untold(figures(), "of this")
    assert (gone.pickup_percent, gone.interval95, gone.gone_percent, gone.more_than_percent) == (None,) * 4


def test_a_fault_of_a_photo_makes_all_doubtful_that_rests_on_it() -> None:
    assert trust(flag("blurred", shot="before"), edge=figures()) == dict.fromkeys(
        ("patch", "edge", "rice"), ("doubtful", "before.jpg is blurred")
    )
    assert trust(flag("blurred", shot="after2"))["patch"] == ("sound", "")


@pytest.mark.parametrize(("area", "word"), [(15.0, "sound"), (25.0, "doubtful")])
def test_a_fault_of_a_zone_counts_for_the_patch_by_what_lies_there(area: float, word: str) -> None:
    """Of 1000 mm²: 1.5 % cannot move the pickup by more than a sound figure may be off."""
    found = trust(flag("shadow", shot="after", zone="edge"), edge=figures(area=area), open=figures())
    assert (found["patch"][0], found["edge"][0], found["open"][0]) == (word, "doubtful", "sound")


def test_the_reason_names_all_photos_of_the_worst_fault() -> None:
    flags = [flag("noisy", shot="before"), *(flag("blurred", "unfit", shot) for shot in ("blank", "after"))]
    assert reason(flags, FILES) == "blank.jpg and a1.jpg are blurred"
    assert reason([flag("patch-cut", shot="blank"), flag("patch-cut", shot="after")], FILES) == (
        "blank.jpg and a1.jpg do not show the whole patch"
    )
    missing = [replace(flag("not-found"), sentence=f"no {kind} was found") for kind in ("rice", "sand")]
    assert reason(missing[:1], FILES) == "no rice was found"
    assert reason(missing, FILES) == "no rice was found and no sand was found"
    assert reason([flag("unheard-of")], FILES) == "something about unheard-of"
    assert reason([], FILES) == ""


def test_every_way_in_which_a_shot_was_taken_otherwise_has_its_words() -> None:
    assert {"other-noise", "other-tone", "moire", "other-lens", "taken-backwards"} <= set(OF_PHOTOS)


def test_every_fault_of_a_shot_has_its_words() -> None:
    of_files = {"not-found", "grain-size", "size-range"}
    assert set(EXPLAINED_BY) - {"other-blurred", "wants-too-much", "same-photo", *of_files} <= set(OF_PHOTOS)
