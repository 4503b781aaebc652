"""From photos of weighed portions to a debris file."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from debriscount.errors import NoDebrisError, OutputError, PortionError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.patch import Patch
from debriscount.portions.arguments import PortionArgument
from debriscount.portions.calibrate import calibrate, calibration_file, learn, write_calibration
from debriscount.portions.crowding import portion_area_mm2
from debriscount.portions.photos import count_portions, portion_shot
from debriscount.portions.records import WeighedPortion
from debriscount.report.formats import PortionRecord
from debriscount.report.portion import calibration_json, calibration_text
from debriscount.run.count import count
from debriscount.simulate.spec import Portion as SimulatedPortion
from debriscount.stats.quantity import Quantity

from ..report.described import described

Make = Callable[..., WeighedPortion]
LENTILS = DebrisKind("red lentils", (212, 100, 49), (4.4, 5.6))


def learned(make_portion: Make, **options: Any):  # type: ignore[no-untyped-def]
    portions = [make_portion(m, grains=31.9) for m in (5, 10, 20)]
    return learn(LENTILS, portions, "bench", "2026-11-25", **options)


def test_the_kind_keeps_what_it_was_and_gains_its_masses(make_portion: Make) -> None:
    kind = learned(make_portion, thousand_g=Quantity(31.9, 0.1)).kind
    assert (kind.name, kind.color_srgb, kind.size_mm) == (LENTILS.name, LENTILS.color_srgb, LENTILS.size_mm)
    assert kind.area_mass_mg_per_mm2 == pytest.approx(1.75)
    assert kind.grain_mass_mg == pytest.approx(31.9, rel=0.005)
    how = kind.calibration
    assert how is not None
    assert [p.grams for p in how.portions] == [5, 10, 20]
    assert how.portions[0].sha256 == (f"{0:064x}",)
    assert (how.date, how.patch, how.thousand_grain_mass_g, how.dof_area_mass) == ("2026-11-25", "bench", 31.9, None)


def test_the_file_is_read_as_what_was_learned(make_portion: Make, tmp_path: Path) -> None:
    found = learned(make_portion, remark="made up of numbers")
    path = write_calibration(found, tmp_path / "new" / "lentils.toml")
    assert path.read_text(encoding="utf-8").startswith(
        "# Masses learned from photos of 3 weighed portions on 2026-11-25"
    )
    kind = read_debris(path)
    assert kind.calibration is not None
    assert kind.calibration.remark == "made up of numbers"
    assert kind.area_mass_mg_per_mm2 == pytest.approx(found.kind.area_mass_mg_per_mm2, rel=1e-6)
    before = path.read_bytes()
    with pytest.raises(OutputError, match=r"lentils\.toml: is there already\. Choose another name, or add --overwrite"):
        write_calibration(found, path)
    assert path.read_bytes() == before
    write_calibration(learned(make_portion), path, overwrite=True)
    assert "made up" not in path.read_text(encoding="utf-8")
    assert "a weighed portion on" in calibration_file(learn(LENTILS, [make_portion(5)], "bench", "2026-11-25"))


def test_what_is_found_is_said(make_portion: Make) -> None:
    found = learned(make_portion, thousand_g=Quantity(25.0, 0.1), at_g=15.0, told=["a.jpg: it is dark"])
    text = calibration_text(found)
    assert max(map(len, text.splitlines())) <= 100
    text = text.replace("\n  ", " ")
    assert "Red lentils: a mm² seen from above weighs 1.75" in text
    assert "A mass of 15 g read off one photo later is known to ± 0." in text
    assert "A grain weighs 31.9" in text
    assert "A grain weighs 25.0" in text
    assert "Both ways do not agree." in text
    assert "Warning: a.jpg: it is dark\n" in text
    assert "the photos show fewer grains than lay there, or others" in text
    assert "Mass goes in proportion to area (lack of fit against stated uncertainties: p = 1)." in text
    fine = calibration_text(learn(LENTILS, [make_portion(5)], "bench", "2026-11-25"))
    assert "Grains are too fine in these photos to be counted surely" in fine


def test_the_record_has_plain_values(make_portion: Make) -> None:
    record = calibration_json(learned(make_portion, thousand_g=Quantity(31.9, 0.1)))
    assert record["format"] == "debriscount/portion/1"
    assert described(PortionRecord, record)
    low, high = record["area_mass_mg_per_mm2"]["interval95"]
    assert low < 1.75 < high
    assert record["area_mass_mg_per_mm2"]["dof"] is None  # infinite
    assert record["grain_mass_mg"]["agree"] is True
    assert record["crowding"]["used"] == 0
    assert [p["grams"] for p in record["portions"]] == [5, 10, 20]
    assert sum(p["leverage"] for p in record["portions"]) == pytest.approx(1)
    crowded = [make_portion(20, cover=c, kappa=0.8) for c in (0.03, 0.03, 0.1, 0.3, 0.3)]
    found = learn(LENTILS, crowded, "bench", "2026-11-25")
    assert described(PortionRecord, calibration_json(found))
    assert calibration_json(found)["crowding"]["adopted"] is True
    assert found.kind.crowding == pytest.approx(0.8, abs=0.01)
    assert "Crowding: 0.80 (from 0." in calibration_text(found)


@pytest.mark.parametrize(
    ("portions", "at_g", "message"),
    [
        ([], None, r"^no portion is given\. Give PHOTO=GRAMS for one weighed portion or more\."),
        (["a.jpg=3"], 0.0, r"^the mass to be read off later must be greater than 0 g, got 0\."),
        (["a.jpg=3"], float("nan"), r"must be greater than 0 g, got nan\."),
        (["a.jpg"], None, "must be written PHOTO=GRAMS"),
    ],
)
def test_what_cannot_be_is_refused_before_photos_are_read(
    portions: list[str], at_g: float | None, message: str
) -> None:
    patch = Patch("bench", 400, 300, (), (), 0, 0, 0)
    with pytest.raises(PortionError, match=message):
        calibrate(patch, LENTILS, portions, at_g=at_g)


@pytest.mark.slow
def test_a_simulated_portion_is_counted_and_a_photo_given_twice_refused(scene) -> None:  # type: ignore[no-untyped-def]
    truth = scene.scene.truth.amounts(0)["patch"]
    kind = replace(LENTILS, area_mass_mg_per_mm2=None)
    patch = scene.scene.spec.patch
    counted = count(scene.before, patch=patch, blank=scene.blank, debris=[kind])
    shot = portion_shot(counted, kind)
    assert shot.cell_mm2 * float(shot.cell_cover.sum()) - shot.bare_mm2 == pytest.approx(
        counted.zones["patch"].area_mm2 + counted.zones["margin"].area_mm2
    )
    assert shot.sha256 == hashlib.sha256(scene.before.read_bytes()).hexdigest()
    assert shot.file == "before.jpg"
    assert shot.grains is not None
    assert abs(shot.grains - truth.grains) < 4 * max(shot.u_grains, 1)
    fine = portion_shot(counted, replace(kind, size_mm=(0.1, 0.2)))
    assert fine.grains is None
    given = PortionArgument((scene.before,), Quantity(truth.mass_g, 0.1))
    with pytest.raises(PortionError, match=r"before\.jpg: is the same photo as .*before\.jpg\. Give each photo once"):
        count_portions([given, given], patch, kind, blank=scene.blank)
    empty = replace(counted, grains=counted.grains.take(np.zeros(len(counted.grains), bool)))
    with pytest.raises(NoDebrisError, match=r"before\.jpg: shows no red lentils\. Give a photo of the portion"):
        portion_shot(empty, kind)


@pytest.mark.slow
def test_what_portions_taught_weighs_another_portion(make_scene) -> None:  # type: ignore[no-untyped-def]
    """Grains drawn with 1.75 mg/mm² on one kind of floor: three portions teach, a fourth is read off within its interval."""
    kind = replace(LENTILS, area_mass_mg_per_mm2=1.75)
    given = []
    for seed, grams in ((1, 4.0), (2, 8.0), (3, 16.0), (4, 6.0)):
        made = make_scene(portions=(SimulatedPortion(kind, grams=grams),), passes=(), seed=seed)
        true_g = made.scene.truth.amounts(0)["patch"].mass_g
        given.append(PortionArgument((made.before,), Quantity(true_g, 0.004)))
        patch = made.scene.spec.patch
    found = calibrate(patch, LENTILS, given[:3], at_g=6.0, date="2026-11-25")
    assert found.kind.area_mass_mg_per_mm2 == pytest.approx(1.75, rel=0.2)  # light makes grains larger or smaller
    assert found.kind.grain_mass_mg == pytest.approx(1000 * 4 / 119, rel=0.05)
    (fourth,), _ = count_portions(given[3:], patch, LENTILS)
    read = found.area.area_mass_mg_per_mm2.value * portion_area_mm2(fourth.shots, found.kind.crowding) / 1000
    assert abs(read - fourth.mass_g.value) < 1.5 * found.read_off_g.expanded95
