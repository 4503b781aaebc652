import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from debriscount.figures.records import Amount, PassFigures, ZoneFigures
from debriscount.figures.run import measure
from debriscount.figures.weighed import photo_pickup, scale_figures
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.lay_patch import lay_patch
from debriscount.inputs.weighing_file import read_weighing

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

PATCH = lay_patch(400, 300, ("top",))
RICE = DebrisKind("rice", (226, 214, 190), (2.8, 3.9), area_mass_mg_per_mm2=2.0)


def zone(before: float, after: float, interval: tuple[float, float] | None = None, mass: bool = True) -> ZoneFigures:
    pickup = 100 * (1 - after / before) if before else None
    amounts = [Amount(area, round(area), area / 500 if mass else None) for area in (before, after)]
    return ZoneFigures(amounts[0], amounts[1], pickup, pickup, interval, None, 5.0)


def one_pass(mass: bool = True, gain: float = 0.0) -> PassFigures:
    zones = {
        "patch": zone(10_000, 2_000, (79.0, 81.0), mass),
        "edge": zone(1_000, 600, None, mass),
        "margin": zone(0.0, gain, None, mass),
    }
    return PassFigures(1, zones, {"rice": zones})


def weighing(folder: Path, *, bin_g: float) -> Path:
    file = folder / "weighing.toml"
    file.write_text(
        "[scale]\nreadability_g = 0.01\nrepeatability_g = 0.01\nlinearity_g = 0.01\n"
        "[dispensed]\nfull_g = 120.0\nempty_g = 100.0\n"
        f"[bin]\nbefore_g = 300.0\nafter_g = {300 + bin_g}\n",
        encoding="utf-8",
    )
    return file


def test_photos_pickup_by_mass_counts_what_was_flung_out_as_left() -> None:
    found = photo_pickup(one_pass(gain=500.0))
    assert found is not None
    assert found.value == pytest.approx(100 * (1 - 2_500 / 10_000))
    assert found.u == pytest.approx(2.0 / 3.92)


def test_without_masses_area_stands_for_it() -> None:
    found = photo_pickup(one_pass(mass=False))
    assert found is not None
    assert found.value == pytest.approx(80.0)


def test_without_an_interval_there_is_nothing_to_compare() -> None:
    bare = PassFigures(1, {"patch": zone(10_000, 2_000)}, {})
    assert photo_pickup(bare) is None


def test_an_interval_that_is_cut_at_all_or_nothing_says_no_less() -> None:
    for pickup, interval in ((99.5, (97.54, 100.0)), (0.5, (0.0, 2.46))):
        whole = replace(zone(10_000, 100 * (100 - pickup), None, mass=False), interval95=interval)
        found = photo_pickup(PassFigures(1, {"patch": whole}, {}))
        assert found is not None
        assert found.u == pytest.approx(1.0)  # by hand: 1.96 points to the side that is whole


def test_photo_and_scale_that_agree(tmp_path: Path) -> None:
    found = scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=16.0)), [one_pass()], [RICE], 0.05)
    assert found.agreement is not None
    assert found.agreement.verdict == "agree"
    assert found.agreement.scale_percent == pytest.approx(80.0)


def test_photo_and_scale_that_do_not(tmp_path: Path) -> None:
    found = scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=12.0)), [one_pass()], [RICE], 0.05)
    assert found.agreement is not None
    assert found.agreement.verdict == "disagree"
    assert found.agreement.zeta > 3


@pytest.mark.slow
def test_a_weighed_run_from_end_to_end(scene: "SceneOnDisk", tmp_path: Path) -> None:
    """The simulated truth is what the scale says; the photos are measured without knowing it."""
    from debriscount.report import measurement_json, table_text, zones_csv

    true = scene.scene.truth.pickup_percent(1)["patch"]
    assert true is not None
    run = measure(
        scene.patch,
        scene.before,
        scene.afters,
        blank=scene.blank,
        debris=scene.debris,
        weighing=weighing(tmp_path, bin_g=round(0.2 * true, 2)),
    )
    record = json.loads(json.dumps(measurement_json(run), allow_nan=False))
    assert record["agreement"]["verdict"] == "agree", record["agreement"]
    assert record["agreement"]["scale_percent"] == pytest.approx(true, abs=0.1)
    assert record["weighing"]["file"] == "weighing.toml"
    assert "they agree" in table_text(run)
    assert "swept_g,swept_u_g" in zones_csv(run).splitlines()[0]
