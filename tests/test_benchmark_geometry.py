"""The arithmetic of the geometry benchmarks, on scenes and grains made up by hand."""

import json
import math
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import NormalDist
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Marker, Patch
from debriscount.registration.grid import FloorGrid
from debriscount.simulate.pose import pose_shots


@pytest.mark.parametrize("part", ["places", "markers", "false", "verdict"])
def test_scenes_of_the_geometry_come_from_the_seed_alone_and_hold_their_camera(load: Any, part: str) -> None:
    scenes = load("geometry_scenes")
    specs = [scenes.feasible(part, seed) for seed in range(3)]
    assert specs[0] == scenes.feasible(part, 0)
    assert len({spec.camera.k1 for spec in specs}) == 3
    for spec in specs:
        poses = pose_shots(spec.patch, spec.camera, len(spec.shot_names), np.random.default_rng([spec.seed, 2]))
        width = max(poses[0].size_px) if spec.patch.width_mm > spec.patch.height_mm else min(poses[0].size_px)
        assert abs(spec.camera.k1) <= 0.06
        assert np.abs(spec.camera.center_offset_px).max() <= 0.01 * max(width, *poses[0].size_px)
        assert spec.camera.hand_held


def test_photos_of_the_places_have_two_tenths_of_a_millimetre_a_pixel(load: Any) -> None:
    scenes = load("geometry_scenes")
    for seed in range(2):
        spec = scenes.feasible("places", seed)
        pose = pose_shots(spec.patch, spec.camera, 1, np.random.default_rng(0))[0]
        middle = (spec.patch.width_mm / 2, spec.patch.height_mm / 2)
        assert pose.mm_per_px(middle) == pytest.approx(0.2, rel=0.05)


def test_edges_of_the_markers_are_spread_over_three_pixels_at_most(load: Any) -> None:
    scenes = load("geometry_scenes")
    # 2.563 is twice the normal deviate of 90 % (published, any table of the normal distribution).
    assert abs(scenes.SPREAD_PER_SIGMA - 2 * NormalDist().inv_cdf(0.9)) < 1e-3
    sigmas = [scenes.marker_spec(np.random.default_rng(seed), seed).imaging.blur_px for seed in range(50)]
    assert 2.5 < max(sigmas) * scenes.SPREAD_PER_SIGMA <= 3.0


def lying_truth(places: list[list[list[float]]], fate: list[int]) -> Any:
    """What the functions on places read of a truth: a state a list, every grain lying there unless it is removed."""
    count = len(fate)
    lying = np.array([[True] * count, [f != 2 for f in fate]])
    return SimpleNamespace(places_mm=np.array(places, float), lying=lying, fate=np.array([fate]))


def grain_table(places: list[list[float]]) -> GrainTable:
    x, y = np.array(places, float).reshape(-1, 2).T
    return GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), 12.0), np.zeros(len(x), np.int8))


def test_lone_grains_are_compared_with_the_nearest_one_found(load: Any) -> None:
    places = load("geometry_places")
    # Grains 0 and 1 lie 10 mm apart, too near to each other; 2 and 3 are alone; 4 is removed.
    first = [[0.0, 0.0], [10.0, 0.0], [50.0, 0.0], [90.0, 0.0], [0.0, 90.0]]
    truth = lying_truth([first, [*first[:3], [90.0, 40.0], first[4]]], [0, 0, 0, 1, 2])
    assert places.alone(truth, 0).tolist() == [False, False, True, True, True]
    assert places.alone(truth, 1).tolist() == [False, False, True, True, False]
    # One is off by a 3-4-5 triangle, the next by more than 2 mm, the third was not found.
    before = grain_table([[50.3, 0.4], [90.0, 2.1], [10.0, 0.0]])
    assert places.grain_errors_mm(truth, 0, before) == pytest.approx([0.5, math.inf, math.inf])
    after = grain_table([[50.3, 0.3], [90.0, 40.0]])
    # Only grain 2 is alone in both and lay still; grain 3 was shifted.
    assert places.grains_apart_mm(truth, before, after) == pytest.approx([0.1])


def test_places_without_any_grain_found_are_not_known(load: Any) -> None:
    places = load("geometry_places")
    assert np.isnan(places.found_at(grain_table([]), np.array([[1.0, 1.0]]))).all()
    assert places.found_at(grain_table([[1.0, 1.0]]), np.zeros((0, 2))).shape == (0, 2)


def test_runs_that_failed_miss_the_bars_of_places(load: Any) -> None:
    geometry, places = load("geometry"), load("geometry_places")
    good = places.PlaceRow(1, "tile", error_mm=(0.1, 0.12), apart_mm=(0.05,), residual_mm=0.02)
    smooth = places.PlaceRow(2, "plain", error_mm=(0.1, 0.1), apart_mm=(9.0,))
    summary = places.summarise_places([good, smooth]) | places.summarise_alignment([good, smooth])
    assert geometry.missed_bars(summary) == []
    assert summary["places: error, median, mm"] == pytest.approx(0.1)
    assert summary["alignment: same grain in both shots, median, mm"] == 0.05  # not the floor without texture
    failed = [good, places.PlaceRow(3, "tile", failure="no markers")]
    assert geometry.missed_bars(places.summarise_places(failed)) == [
        "places: runs failed",
        "places: error, 95th percentile, mm",
    ]


def test_floor_places_are_compared_through_the_view_that_a_photo_was_resampled_with_last(load: Any) -> None:
    places = load("geometry_places")
    spec = load("geometry_scenes").feasible("places", 0)
    poses = pose_shots(spec.patch, spec.camera, 1, np.random.default_rng(0))
    pixels = np.arange(12, dtype=np.uint8).reshape(2, 2, 3)
    scene = SimpleNamespace(spec=spec, truth=SimpleNamespace(poses={"before": poses[0]}), pixels=lambda _: pixels)

    class Aside:
        """A shift of 0.3 mm along x and 0.4 mm along y."""

        def at(self, xy_mm: Any) -> Any:
            return np.broadcast_to([0.3, 0.4], xy_mm.shape)

    true, other = (poses[0].view, None), np.zeros_like(pixels)
    assert places.offsets_mm(scene, "before", [(pixels, true)]) == pytest.approx(np.zeros((130, 2)), abs=1e-6)
    kept = [(pixels, true), (pixels.copy(), (poses[0].view, Aside())), (other, true)]
    assert places.offsets_mm(scene, "before", kept) == pytest.approx(np.full((130, 2), [0.3, 0.4]), abs=1e-6)


def test_the_mapping_kept_is_the_one_that_was_used(load: Any) -> None:
    from debriscount.registration import register

    places = load("geometry_places")
    spec = load("geometry_scenes").feasible("places", 0)
    view = pose_shots(spec.patch, spec.camera, 1, np.random.default_rng(0))[0].view
    pixels, grid = np.full((40, 60, 3), 90, np.uint8), FloorGrid(0.0, 0.0, 1.0, 8, 8)
    with places.kept_mappings() as kept:
        register.resample(pixels, view, grid)  # type: ignore[attr-defined]
    register.resample(pixels, view, grid)  # type: ignore[attr-defined]
    assert [(photo is pixels, laid) for photo, laid in kept] == [(True, (view, None))]


def test_markers_cut_by_the_photo_are_not_asked_for(load: Any) -> None:
    markers = load("geometry_markers")
    patch = Patch("p", 100, 100, (), (Marker(0, (20, 20), 20), Marker(1, (90, 20), 20)), 0, 0, 0)
    # A pixel a millimetre: the black square of marker 1 ends at 100 mm, the photo with pixel 95.
    pose = SimpleNamespace(view=SimpleNamespace(project=lambda xy_mm: xy_mm), size_px=(96, 72))
    assert markers.shown_whole(patch, pose) == [0]


def test_a_shot_counts_as_found_only_with_all_its_markers(load: Any) -> None:
    geometry, markers = load("geometry"), load("geometry_markers")
    whole = [markers.MarkerRow(n, "tile", 5.0, 1.0, (9, 9), (50.0, 50.0), {0: 0.1, 1: 1.0}) for n in range(3)]
    one_off = markers.MarkerRow(3, "tile", 5.0, 1.0, (9, 9), (50.0, 50.0), {0: 0.1, 1: 1.1})
    lost = markers.MarkerRow(4, "tile", 5.0, 1.0, (9, 9), (50.0, 50.0), {0: math.inf, 1: 0.1})
    assert (one_off.missed, lost.missed, whole[0].missed) == ((1,), (0,), ())
    summary = markers.summarise_markers([*whole, one_off, lost])
    assert summary["markers: shots with all found, %"] == pytest.approx(60)
    assert summary["markers: found of all, %"] == pytest.approx(80)
    assert geometry.missed_bars(summary) == ["markers: shots with all found, %"]
    assert geometry.missed_bars(markers.summarise_markers(whole)) == []


def test_one_false_marker_misses_the_bar(load: Any) -> None:
    geometry, markers = load("geometry"), load("geometry_markers")
    clean = [markers.FalseRow(n, "tile", ()) for n in range(9)]
    assert geometry.missed_bars(markers.summarise_false(clean)) == []
    summary = markers.summarise_false([*clean, markers.FalseRow(9, "planks", (17,))])
    assert geometry.missed_bars(summary) == ["false: markers seen"]


def test_pictures_without_markers_show_none(load: Any) -> None:
    row = load("geometry_markers").false_run(3)
    assert row.seen == ()


@pytest.mark.parametrize("code", [0, 3])
def test_both_answers_of_the_check_are_timed_in_turn_with_the_bare_imports(load: Any, code: int) -> None:
    shots = load("geometry_shots")
    row = shots.timed([sys.executable, "-c", f"exit({code})"], [sys.executable, "-c", ""], 2)
    assert (len(row.shot_s), len(row.bare_s), row.failure) == (2, 2, None)


def test_a_check_that_gives_no_answer_misses_the_bar_and_says_why(load: Any) -> None:
    shots = load("geometry_shots")
    row = shots.timed([sys.executable, "-c", "raise SystemExit('no such command')"], [sys.executable, "-c", ""], 2)
    assert row.failure == "exit code 1: no such command"
    assert load("geometry").missed_bars(shots.summarise_time(row)) == ["time: shot of 12 megapixels, median, s"]


def test_times_and_their_ratio(load: Any) -> None:
    shots = load("geometry_shots")
    summary = shots.summarise_time(shots.TimeRow((0.6, 0.9, 0.7), (0.1, 0.2, 0.14)))
    assert list(summary.values()) == pytest.approx([0.7, 5.0])


def test_words_that_hold_and_good_runs_called_unfit(load: Any, capsys: pytest.CaptureFixture[str]) -> None:
    geometry, shots = load("geometry"), load("geometry_shots")

    def row(seed: int, faults: tuple[str, ...], error: float | None) -> Any:
        return shots.VerdictRow(seed, 1.0, not faults, faults, error, "lentils", None if error else "no markers")

    rows = [row(1, (), 0.9), row(2, (), -1.0), row(3, (), 1.1), row(4, (), None)]
    rows += [row(5, ("before: noise", "after: noise"), 0.2), row(6, ("after: slant",), 5.0)]
    summary = shots.summarise_verdicts(rows)
    assert list(summary.values()) == pytest.approx([50.0, 100 * 2 / 3])
    assert geometry.missed_bars(summary) == ["verdict: within the accuracy wanted, of those called fit, %"]
    shots.print_verdicts(rows)
    out = capsys.readouterr().out
    assert "all, fit                       2       2" in out
    assert "all, not fit                   1       1" in out
    assert "   1  noise\n" in out
    assert "seed 3: fit for 1, off by +1.10: lentils\n" in out
    assert "seed 4: fit for 1, not measured: lentils: no markers" in out


def test_a_shot_that_is_worse_than_the_others_is_named(load: Any) -> None:
    scenes, shots = load("geometry_scenes"), load("geometry_shots")
    made = {seed: scenes.verdict_shots(seed) for seed in range(6)}
    odd = [seed for seed, of_run in made.items() if len(set(map(repr, of_run.values()))) > 1]
    assert 0 < len(odd) < len(made)
    lines = {seed: shots.run_facts(of_run) for seed, of_run in made.items()}
    assert all(("blur" in line) and (line.count("blur") > 1) == (seed in odd) for seed, line in lines.items())


def test_what_is_not_finite_becomes_null(load: Any) -> None:
    row = load("geometry_markers").MarkerRow(3, "tile", 5.0, 1.0, (9, 9), (50.0,), {7: math.inf})
    text = json.dumps(load("geometry").plain({"rows": [row], "value": math.nan}), allow_nan=False)
    assert json.loads(text)["rows"][0]["off_px"] == {"7": None}
    assert json.loads(text)["value"] is None


def test_exit_code_and_record_of_the_geometry(
    load: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    geometry, markers = load("geometry"), load("geometry_markers")
    monkeypatch.setitem(geometry._RUNNERS, "false", lambda seed: markers.FalseRow(seed, "tile", (4,) * (seed == 7)))
    monkeypatch.setattr(geometry, "ProcessPoolExecutor", ThreadPoolExecutor)
    record = tmp_path / "geometry.json"
    assert geometry.main(["--part", "false", "--runs", "5"]) == 0
    assert geometry.main(["--part", "false", "--runs", "5", "--first", "5", "--json", str(record)]) == 1
    assert "false: markers seen" in capsys.readouterr().out
    assert json.loads(record.read_text(encoding="utf-8"))["parts"]["false"][2] == {
        "seed": 7,
        "floor": "tile",
        "seen": [4],
    }
