import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.weighing_file import read_weighing
from debriscount.layout.lay_patch import lay_patch
from debriscount.pickup.records import Amount, PassFigures, ZoneFigures
from debriscount.run.measure import measure
from debriscount.run.weighed import best_pickups, photo_pickup, scale_figures
from debriscount.stats.quantity import Quantity

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

PATCH = lay_patch(400, 300, ("top",))
RICE = DebrisKind("rice", (226, 214, 190), (2.8, 3.9), area_mass_mg_per_mm2=2.0)


def zone(before: float, after: float, interval: tuple[float, float] | None = None, mass: bool = True) -> ZoneFigures:
    pickup = 100 * (1 - after / before) if before else None
    amounts = [Amount(area, round(area), area / 500 if mass else None) for area in (before, after)]
    return ZoneFigures(
        before=amounts[0],
        after=amounts[1],
        gone_percent=pickup,
        pickup_percent=pickup,
        interval95=interval,
        more_than_percent=None,
        limit_mm2=5.0,
    )


def one_pass(mass: bool = True, gain: float = 0.0) -> PassFigures:
    zones = {
        "patch": zone(10_000, 2_000, (79.0, 81.0), mass),
        "open": zone(9_000, 1_400, (83.4, 85.5), mass),
        "edge": zone(1_000, 600, (35.0, 45.0), mass),
        "margin": zone(0.0, gain, None, mass),
    }
    return PassFigures(1, zones, {"rice": zones}, with_patch={"patch": 1.0, "open": 0.8, "edge": 2.5})


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


def test_the_best_figure_of_a_zone_is_by_mass_where_masses_are_known() -> None:
    """By hand: 18 g and 1.8 g are 90 %; photo and scale say the same of the patch, so that nothing moves."""
    photo = one_pass()
    open_floor = photo.zones["open"]
    lighter = replace(open_floor, after=replace(open_floor.after, mass_g=1.8))
    photo = replace(photo, zones={**photo.zones, "open": lighter})
    best = best_pickups(photo, Quantity(80.0, 0.5), Quantity(80.0, 0.3))
    assert best["open"].percent == pytest.approx(90.0)
    assert best["edge"].percent == pytest.approx(40.0)


def test_where_they_agree_both_count(tmp_path: Path) -> None:
    """The patch is the mean weighted by 1/u²; zones move by their share of what the patch moves."""
    photo = one_pass(gain=100.0)
    found = scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=15.9)), [photo], [RICE], 0.05)
    agreement, best = found.agreement, found.best
    assert agreement is not None
    assert agreement.verdict == "agree"
    weights = agreement.photo_u**-2, agreement.scale_u**-2
    mean = (weights[0] * agreement.photo_percent + weights[1] * agreement.scale_percent) / sum(weights)
    assert best["patch"].percent == pytest.approx(mean)
    assert best["patch"].u_percent == pytest.approx(sum(weights) ** -0.5)
    moved = mean - agreement.photo_percent
    sums_to = 0.9 * 0.8 + 0.1 * 2.5
    assert best["open"].percent - 100 * (1 - 1_400 / 9_000) == pytest.approx(0.8 / sums_to * moved)
    assert best["edge"].percent - 40 == pytest.approx(2.5 / sums_to * moved)
    assert best["edge"].u_percent < 10 / 3.92


@given(st.floats(14.5, 17.0), st.floats(0.2, 1.5), st.floats(0.2, 5), st.floats(0, 200))
def test_zones_still_sum_to_the_patch(bin_g: float, open_slope: float, edge_slope: float, gain: float) -> None:
    figures = replace(one_pass(gain=gain), with_patch={"open": open_slope, "edge": edge_slope})
    photo = photo_pickup(figures)
    assert photo is not None
    best = best_pickups(figures, photo, Quantity(5 * bin_g, 0.4))
    left = 0.9 * (100 - best["open"].percent) + 0.1 * (100 - best["edge"].percent) + 100 * gain / 10_000
    assert 100 - left == pytest.approx(best["patch"].percent, abs=1e-9)
    for name in ("patch", "open", "edge"):
        before = figures.zones[name].interval95
        assert before is not None
        assert best[name].u_percent <= (before[1] - before[0]) / 3.92 + 1e-9


def test_no_best_figure_is_above_all() -> None:
    figures = one_pass()
    best = best_pickups(figures, Quantity(99.9, 0.3), Quantity(100.6, 0.3))
    assert best["patch"].percent == 100
    assert best["patch"].interval95[1] == 100
    assert best["patch"].interval95[0] < 100


def test_where_they_do_not_agree_there_is_no_best(tmp_path: Path) -> None:
    assert scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=12.0)), [one_pass()], [RICE], 0.05).best == {}


def test_a_balance_in_doubt_gives_no_best_and_names_why(tmp_path: Path) -> None:
    """A twentieth was spilled: bin and sweep have 95 % of theirs, and half way between the two lies the photo."""
    file = tmp_path / "weighing.toml"
    file.write_text(
        "[scale]\nreadability_g = 0.01\nrepeatability_g = 0.01\nlinearity_g = 0.01\n"
        "[dispensed]\nfull_g = 121.0\nempty_g = 100.0\n[bin]\nbefore_g = 300.0\nafter_g = 316.0\n"
        "[swept]\nopen_g = 2.8\nedge_g = 1.2\n",
        encoding="utf-8",
    )
    found = scale_figures(PATCH, read_weighing(file), [one_pass()], [RICE], 0.05)
    assert found.agreement is not None
    assert found.agreement.verdict == "agree"
    assert found.best == {}
    assert "portion not all on the patch" in {cause.name for cause in found.agreement.causes}
    assert "they agree, but what was weighed does not fit together; most likely " in found.agreement.sentence


def test_exchanged_readings_come_first(tmp_path: Path) -> None:
    found = scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=-16.0)), [one_pass()], [RICE], 0.05)
    assert found.agreement is not None
    assert found.agreement.causes[0].name == "exchanged readings"
    assert "the bin before and after the run" in found.agreement.causes[0].sentence


def test_what_before_excludes_is_no_cause(tmp_path: Path) -> None:
    """20.0 g dispensed and 20.0 g on the photo: none of it was spilled, however little the bin holds."""
    found = scale_figures(PATCH, read_weighing(weighing(tmp_path, bin_g=11.0)), [one_pass()], [RICE], 0.05)
    assert found.agreement is not None
    assert found.agreement.causes
    assert "portion not all on the patch" not in {cause.name for cause in found.agreement.causes}
    assert "forgotten tare" not in {cause.name for cause in found.agreement.causes}


def test_a_zone_that_was_not_swept_counts_with_what_was_laid_there(tmp_path: Path) -> None:
    file = tmp_path / "weighing.toml"
    file.write_text(
        "[scale]\nreadability_g = 0.01\n[dispensed]\nfull_g = 120.0\nempty_g = 100.0\n[swept]\nopen_g = 2.8\n",
        encoding="utf-8",
    )
    found = scale_figures(PATCH, read_weighing(file), [one_pass()], [RICE], 0.05)
    assert found.weighed.not_swept == ("edge",)
    assert found.weighed.pickup_percent is not None
    # 14 % left on open floor, and of the 10 % along the wall between none and all.
    assert found.weighed.pickup_percent.value == pytest.approx(100 - 14 - 5)
    assert found.weighed.pickup_percent.u == pytest.approx(10 / 12**0.5, rel=0.01)


@pytest.mark.slow
def test_a_weighed_run_from_end_to_end(scene: "SceneOnDisk", tmp_path: Path) -> None:
    """The simulated truth is what the scale says; the photos are measured without knowing it."""
    from debriscount.report.record import measurement_json
    from debriscount.report.tables import table_text, zones_csv

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
    assert "Photo and scale agree on the pickup of the patch:" in table_text(run)
    assert "swept_g,swept_u_g" in zones_csv(run).splitlines()[0]
    best = record["agreement"]["best"]["patch"]
    assert best["percent"] == pytest.approx(true, abs=0.2)
    assert f",{best['percent']},{best['interval95'][0]},{best['interval95'][1]}" in zones_csv(run).splitlines()[1]
