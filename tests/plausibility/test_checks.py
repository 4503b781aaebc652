"""What cannot be measured is refused, or said: made-up grains and figures."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from debriscount.cover.kinds import KindHint
from debriscount.errors import ShotOrderError, UnknownDebrisError
from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Marker, Patch
from debriscount.pickup.pass_figures import pass_figures
from debriscount.pickup.records import Amount, ZoneFigures
from debriscount.pickup.trust import WIDEST
from debriscount.pickup.uncertainty import Doubts, ShotGrains
from debriscount.plausibility.checks import check_debris, check_guess, kind_flags

PATCH = Patch("bench", 400, 300, ("top",), tuple(Marker(i, (-100.0, 100.0 * i), 50.0) for i in range(3)), 30, 60, 50)
KINDS = [DebrisKind("beads", (0, 0, 0), (4.0, 6.0))]


def grains(*areas: float) -> GrainTable:
    place = 25.0 + np.arange(len(areas), dtype=np.float64) * 3
    zone = PATCH.zone_codes(place, np.full(len(areas), 100.0))
    return GrainTable(np.zeros(len(areas), np.int16), place, np.full(len(areas), 100.0), np.array(areas, float), zone)


def test_grains_alike_in_size_need_no_debris_file() -> None:
    check_guess("photo.jpg", grains(*[19.0, 20.0, 22.0] * 8), (24, 25))


def test_specks_of_the_floor_are_not_taken_for_grains() -> None:
    specks = grains(*[20.0] * 17, *[0.5] * 300)
    with pytest.raises(
        UnknownDebrisError, match=r"photo\.jpg: what of it is debris cannot be told \(only 5 % .*--debris"
    ):
        check_guess("photo.jpg", specks, (317, 320))


def test_what_hangs_together_is_not_counted_without_a_file() -> None:
    with pytest.raises(UnknownDebrisError, match="too much of it hangs together to be counted"):
        check_guess("photo.jpg", grains(*[20.0] * 10), (10, 40))
    with pytest.raises(UnknownDebrisError, match="too much of it hangs together"):
        check_guess("photo.jpg", grains(*[20.0] * 10), None)


def test_nothing_that_looks_like_grains_is_no_count_of_zero() -> None:
    with pytest.raises(UnknownDebrisError, match="nothing that stands out looks like grains"):
        check_guess("photo.jpg", grains(), (0, 0))


def measured(still_mm2: float, blind_share: float = 0.0) -> object:
    from debriscount.pickup.detection import FalseGrains

    doubts: dict[int | None, Doubts] = {k: Doubts(blind_share, still_mm2=still_mm2) for k in (None, 0)}
    shots = {
        "before": ShotGrains(grains(*[20.0] * 100), np.zeros(100), 0.01),
        "after": ShotGrains(grains(*[20.0] * 30), np.zeros(30), 0.01),
    }
    (figures,), _ = pass_figures(PATCH, shots, KINDS, 0.3, FalseGrains(grains(), (5.0,)), doubts)
    return figures


def grown(*factors: float) -> tuple[Any, Any]:
    """Photos and passes after which a corner has lost debris and the patch holds so many times what lay there."""

    def zone(share: float) -> ZoneFigures:
        pickup = 100 * (1 - share)
        return ZoneFigures(
            before=Amount(1000.0, 50, None),
            after=Amount(1000.0 * share, round(50 * share), None),
            gone_percent=pickup,
            pickup_percent=pickup,
            interval95=(pickup - 10, pickup + 10),
        )

    passes = [
        SimpleNamespace(number=k, zones={"patch": zone(factor), "corner": zone(0.5)})
        for k, factor in enumerate(factors, start=1)
    ]
    names = ("before", "after", *(f"after{k}" for k in range(2, len(factors) + 1)))
    return {name: SimpleNamespace(name=f"{name}.jpg") for name in names}, passes


def test_debris_that_more_than_doubled_was_not_pushed_in() -> None:
    check_debris(*grown(1.5), allow_growth=False)
    check_debris(*grown(3.5), allow_growth=True)
    for factors, photo in (((3.5,), "after"), ((1.2, 3.5), "after2")):
        with pytest.raises(ShotOrderError, match=rf"^{photo}\.jpg: shows more than twice the debris of before\.jpg"):
            check_debris(*grown(*factors), allow_growth=False)


def test_a_figure_that_may_be_anything_is_not_given_nor_are_its_parts() -> None:
    sure, unsure = measured(10.0), measured(1500.0)
    assert sure.zones["patch"].pickup_percent == pytest.approx(70)  # type: ignore[attr-defined]
    low, high = sure.zones["patch"].interval95  # type: ignore[attr-defined]
    assert high - low < 2 * WIDEST
    for name in ("patch", "open"):
        zone = unsure.zones[name]  # type: ignore[attr-defined]
        assert (zone.pickup_percent, zone.gone_percent, zone.interval95) == (None, None, None)
        assert zone.before.area_mm2 == 2000


def test_a_kind_that_most_of_the_floor_hides_is_not_given_nor_what_holds_it() -> None:
    hidden, seen = measured(10.0, 0.8), measured(10.0, 0.4)
    for zones in (hidden.zones, hidden.kinds[KINDS[0].name]):  # type: ignore[attr-defined]
        assert (zones["patch"].pickup_percent, zones["patch"].trust) == (None, "not measurable")
        assert zones["patch"].why == f"{KINDS[0].name} can hardly be told from the floor on most of it"
    assert seen.zones["patch"].pickup_percent == pytest.approx(70)  # type: ignore[attr-defined]


def test_kinds_that_are_not_there_are_told_in_one_sentence() -> None:
    names, samples = ("beads", "peas", "rice", "sand"), (50, 0, 0, 0)
    kinds = [DebrisKind(name, (0, 0, 0), (4.0, 6.0)) for name in names]
    hints = [KindHint(np.zeros(3), (8.0, 12.0))] * 4
    maps: Any = SimpleNamespace(colours=[SimpleNamespace(samples=n) for n in samples], blind_share=(0.5, 0.5, 0.0, 0.0))
    assert [flag.sentence for flag in kind_flags(maps, kinds, hints)] == [
        "no peas, rice or sand was found",
        "beads can hardly be told from the floor on 50 % of it; its figures are doubtful",
    ]
