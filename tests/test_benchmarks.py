"""The arithmetic of the benchmarks, on grains whose sums are done by hand. The benchmarks themselves need photos."""

import importlib
import json
import math
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import NormalDist
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from skimage.color import rgb2lab

from debriscount.geometry.grid import FloorGrid
from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Marker, Patch
from debriscount.simulate.pose import pose_shots

if TYPE_CHECKING:
    from tests.benchmarks import scores as scores_module

BENCHMARKS = Path(__file__).parent / "benchmarks"
NAMES = (
    "truth",
    "scenes",
    "scores",
    "plain_script",
    "accuracy",
    "speed",
    "grain_size",
    "geometry_scenes",
    "geometry_places",
    "geometry_markers",
    "geometry_shots",
    "geometry",
    "coverage",
    "leftovers",
)

# Two kinds, two passes. Grain 1 goes in pass 1, 2 is flung into the margin, 3 moves from edge to open, 4 stays, 5 leaves
# the photo, 6 lies in the margin all the time.
PARTICLES = """id,kind,area_mm2,mass_mg,zone_before,zone_pass1,zone_pass2
1,rice,10,20,open,,
2,rice,20,40,open,margin,margin
3,lentil,30,50,edge,open,
4,lentil,40,70,corner,corner,corner
5,rice,100,10,open,outside,outside
6,rice,5,9,margin,margin,margin
"""


@pytest.fixture
def load(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    monkeypatch.syspath_prepend(BENCHMARKS)
    yield importlib.import_module
    for name in NAMES:
        sys.modules.pop(name, None)


@pytest.fixture
def particles(load: Any, tmp_path: Path) -> Any:
    file = tmp_path / "particles.csv"
    file.write_text(PARTICLES, encoding="utf-8")
    return load("truth").read_particles(file)


@pytest.mark.parametrize("name", NAMES)
def test_each_file_imports(load: Any, name: str) -> None:
    assert load(name).__doc__


def test_a_grain_counts_whole_in_the_zone_of_its_centre(load: Any, particles: Any) -> None:
    amounts = load("truth").true_amounts(particles, 0)
    assert {zone: (a.grains, a.area_mm2, a.mass_mg) for zone, a in amounts.items()} == {
        "patch": (5, 200.0, 190.0),
        "open": (3, 130.0, 70.0),
        "edge": (1, 30.0, 50.0),
        "corner": (1, 40.0, 70.0),
        "margin": (1, 5.0, 9.0),
    }


def test_amounts_of_one_kind_after_a_pass(load: Any, particles: Any) -> None:
    amounts = load("truth").true_amounts(particles, 1, "lentil")
    assert (amounts["patch"].grains, amounts["patch"].area_mm2) == (2, 70.0)
    assert (amounts["open"].area_mm2, amounts["edge"].area_mm2, amounts["margin"].grains) == (30.0, 0.0, 0)


def test_pickup_takes_what_the_margin_gained_for_left(load: Any, particles: Any) -> None:
    truth = load("truth")
    before, after = ({z: a.area_mm2 for z, a in truth.true_amounts(particles, n).items()} for n in (0, 1))
    # patch: 200 before; 70 left and 25 - 5 = 20 flung out, so 1 - 90/200.
    assert truth.pickup_percent(before, after) == pytest.approx(
        {"patch": 55.0, "open": 100 * (1 - 30 / 130), "edge": 100.0, "corner": 0.0}
    )


def test_pickup_after_the_second_pass_is_against_before(load: Any, particles: Any) -> None:
    truth = load("truth")
    before, after = ({z: a.mass_mg for z, a in truth.true_amounts(particles, n).items()} for n in (0, 2))
    # 70 mg left, 49 - 9 = 40 mg flung out of 190 mg.
    assert truth.pickup_percent(before, after)["patch"] == pytest.approx(100 * (1 - 110 / 190))


def test_pickup_of_a_zone_without_grains_is_not_known_and_a_margin_that_lost_changes_nothing(
    load: Any,
) -> None:
    pickup = load("truth").pickup_percent(
        {"patch": 10.0, "edge": 0.0, "margin": 8.0}, {"patch": 4.0, "edge": 1.0, "margin": 2.0}
    )
    assert pickup == pytest.approx({"patch": 60.0, "edge": None})


def scene_score(module: Any, name: str, error: float, **rest: Any) -> "scores_module.SceneScore":
    zones = (
        module.ZoneScore(1, "patch", 500, 80 + error, 80.0, 81 + error, 81.0),
        module.ZoneScore(1, "edge", 49, 10.0, 90.0, None, 90.0),
        module.ZoneScore(1, "corner", 50, 50 - 3 * error, 50.0, None, 50.0),
    )
    shots = (
        module.ShotScore("before", 510, 500, 330.0, 300.0),
        module.ShotScore("after", 45, 49, 60.0, 50.0),
    )
    score: scores_module.SceneScore = module.SceneScore(
        name, 1.0, **{"kinds": 1, "grain_px": 6.0, "zones": zones, "shots": shots, **rest}
    )
    return score


def test_summary_and_bars(load: Any) -> None:
    scores = load("scores")
    runs = [
        scene_score(scores, "a", 0.2),
        scene_score(scores, "b", -0.6),
        scene_score(scores, "c", 1.0, kinds=2),
    ]
    summary = scores.summarise(runs)
    expected = {
        "scenes failed": 0,
        "markers missed": 0,
        "patch by area, median": 0.6,
        "patch by area, worst": 1.0,
        "patch by mass, median": 0.4,  # of the scenes with one kind
        "patch by mass, worst": 0.6,
        "edge and corner, median": 1.8,  # corners only: the edges held too few grains
        "edge and corner, worst": 3.0,
        "counts, median": 2.0,
        "counts, worst": 2.0,
        "area before over true, median": 1.1,
        "area before over true, lowest": 1.1,
        "area before over true, highest": 1.1,
    }
    assert summary == pytest.approx(expected)
    assert scores.missed_bars(summary, scores.BARS["now"]) == []
    assert scores.missed_bars(summary, {"patch by area, median": 0.5, "patch by area, worst": 1.5}) == [
        "patch by area, median"
    ]


def test_failures_lost_markers_and_unknown_figures_miss_bars(load: Any) -> None:
    scores = load("scores")
    unknown = scores.ZoneScore(1, "patch", 500, None, 80.0, None, 80.0)
    runs = [
        scores.SceneScore("a", 1.0, failure="no markers"),
        scene_score(scores, "b", 0.0, markers_missed=("before 3",), zones=(unknown,)),
    ]
    assert scores.missed_bars(scores.summarise(runs), scores.BARS["now"]) == [
        "scenes failed",
        "markers missed",
        "patch by area, median",
        "patch by area, worst",
    ]
    assert math.isinf(unknown.area_error)


def test_small_grains_do_not_enter_the_counts_and_an_empty_line_misses_no_bar(load: Any) -> None:
    scores = load("scores")
    summary = scores.summarise([scene_score(scores, "a", 0.0, grain_px=5.9)])
    assert summary["counts, worst"] is None
    assert scores.missed_bars(summary, {"counts, worst": 0.0}) == []


def test_zones_of_the_plain_script(load: Any) -> None:
    patch = {
        "patch": {"width_mm": 100, "height_mm": 80, "walls": ["top", "left"]},
        "zones": {"edge_mm": 10, "corner_mm": 20, "margin_mm": 5},
    }
    x, y = np.array([[15.0, 15], [30, 5], [5, 30], [50, 50], [104, 50], [102, 5]]).T
    plain = load("plain_script")
    assert plain.zones_of(x, y, patch).tolist() == ["corner", "edge", "edge", "open", "margin", "margin"]
    assert plain.outer_box(patch) == (0, 0, 105, 85)


def test_scenes_of_the_grain_sizes_hold_a_bounded_number_of_grains_at_one_scale(load: Any) -> None:
    grain_size = load("grain_size")
    # 20,000 grains of 1 px, 0.25 mm: 982 mm² of grains, so 16,362 mm² of patch; of 20 px, 5 mm: as large as can be.
    assert grain_size.patch_side_mm(1.0) == pytest.approx(127.9, abs=0.05)
    assert grain_size.patch_side_mm(20.0) == 240.0
    for size in grain_size.SIZES_PX:
        spec = grain_size.run_spec("hue alone", "usual", size)
        grain_mm2 = math.pi / 4 * (0.25 * size) ** 2
        assert spec.portions[0].cover_share * spec.patch.width_mm**2 / grain_mm2 < 20_001
        poses = pose_shots(spec.patch, spec.camera, 3, np.random.default_rng(0))
        scale = [pose.mm_per_px((spec.patch.width_mm / 2, spec.patch.height_mm / 2)) for pose in poses]
        assert scale == pytest.approx([0.25] * 3, rel=0.05)


def test_pairs_of_the_grain_sizes_are_of_the_lightness_they_claim(load: Any) -> None:
    pairs = load("grain_size").CONTRASTS
    lightness = {name: [rgb2lab(np.array([[c]]) / 255)[0, 0, 0] for c in pair] for name, pair in pairs.items()}
    assert lightness["hue alone"] == pytest.approx([58, 58], abs=0.2)
    assert lightness["dark on light"][0] > 2 * lightness["dark on light"][1]
    assert lightness["light on dark"][1] > 2 * lightness["light on dark"][0]


def test_medians_by_grain_size_leave_out_failures_and_take_errors_without_sign(load: Any) -> None:
    grain_size = load("grain_size")
    rows = [
        grain_size.Row("hue alone", "usual", 0.7, 9, 0.5, 0.9, -8.0, 0.2),
        grain_size.Row("hue alone", "usual", 1.0, 9, 0.9, 1.0, -2.0, 0.5),
        grain_size.Row("hue alone", "usual", 3.0, 9, 1.2, 1.4, 1.0, 0.7),
        grain_size.Row("hue alone", "usual", 5.0, 9, 1.5, 1.5, 3.0, 1.0),
        grain_size.Row("hue alone", "usual", 6.0, 9, failure="another floor"),
    ]
    medians = grain_size.class_medians(rows)
    assert medians["under 1 px"] == {"area before": 0.5, "area after": 0.9, "pickup error": 8.0, "grains": 0.2}
    assert medians["1 to 5 px"] == {"area before": 1.2, "area after": 1.4, "pickup error": 2.0, "grains": 0.7}
    assert set(medians["over 5 px"].values()) == {None}
    # From 1 px on: 10, 20, 50 % off and a failure; grains under a pixel and other cameras do not enter.
    others = [grain_size.Row("hue alone", "blurred", 3.0, 9, 9.0, 9.0, 0.0, 1.0)]
    assert grain_size.area_off_percent(rows + others) == pytest.approx((20 + 50) / 2)
    assert grain_size.area_off_percent(others) is None


@pytest.mark.parametrize(("bar", "code"), [("49", 1), ("51", 0), (None, 0)])
def test_exit_code_of_the_grain_sizes(
    load: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], bar: str | None, code: int
) -> None:
    grain_size = load("grain_size")
    monkeypatch.setattr(grain_size, "one_run", lambda case: grain_size.Row(*case, 9, 1.5, 1.4, -0.25, 0.8))
    monkeypatch.setattr(grain_size, "ProcessPoolExecutor", ThreadPoolExecutor)
    argv = ["--quick", "--factor", "usual", *(["--bar", bar] if bar else [])]
    assert grain_size.main(argv) == code
    out = capsys.readouterr().out
    assert "hue alone" in out
    assert out.count("1.50    1.40   -0.25    0.80") == 3 * 5
    assert "50.0 % off in the median" in out


@pytest.mark.parametrize("part", ["places", "markers", "false", "verdict"])
def test_scenes_of_the_geometry_come_from_the_seed_alone_and_hold_their_camera(load: Any, part: str) -> None:
    scenes = load("geometry_scenes")
    specs = [scenes.feasible(part, seed) for seed in range(6)]
    assert specs == [scenes.feasible(part, seed) for seed in range(6)]
    assert len({spec.camera.k1 for spec in specs}) == 6
    for spec in specs:
        poses = pose_shots(spec.patch, spec.camera, len(spec.shot_names), np.random.default_rng([spec.seed, 2]))
        width = max(poses[0].size_px) if spec.patch.width_mm > spec.patch.height_mm else min(poses[0].size_px)
        assert abs(spec.camera.k1) <= 0.06
        assert np.abs(spec.camera.center_offset_px).max() <= 0.01 * max(width, *poses[0].size_px)
        assert spec.camera.hand_held


def test_photos_of_the_places_have_two_tenths_of_a_millimetre_a_pixel(load: Any) -> None:
    scenes = load("geometry_scenes")
    for seed in range(6):
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
    from debriscount.geometry import register

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
    seeds = range(12)
    odd = [seed for seed in seeds if len(set(map(repr, scenes.verdict_shots(seed).values()))) > 1]
    assert 0 < len(odd) < len(seeds)
    lines = {seed: shots.run_facts(scenes.verdict_shots(seed)) for seed in seeds}
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


LEFT = """id,kind,area_mm2,x_mm,y_mm,zone_before,fate_pass1,x1_mm,y1_mm,zone_pass1,fate_pass2,x2_mm,y2_mm,zone_pass2
1,rice,10,50,5,open,removed,,,,gone,,,
2,rice,20,50,45,open,untouched,50,45,open,untouched,50,45,open
3,rice,30,50,10,open,displaced,80,45,open,untouched,80,45,open
4,rice,40,50,2,open,displaced,-20,2,margin,untouched,-20,2,margin
5,rice,60,50,95,edge,untouched,50,95,edge,removed,,,
"""


def test_truth_of_leftovers_is_against_before_and_reach_against_what_the_pass_found(load: Any, tmp_path: Path) -> None:
    """Lanes along x, 50 mm apart and 40 mm wide: middles at y = 0, 50, 100; strips from 20 to 30, 70 to 80."""
    file = tmp_path / "particles.csv"
    file.write_text(LEFT, encoding="utf-8")
    leftovers, rows = load("leftovers"), load("truth").read_particles(file)
    lanes = {"heading_deg": 0, "pitch_mm": 50, "width_mm": 40, "offset_mm": 0}
    first = leftovers.photo_truth(rows, 1, lanes)
    # 110 mm2 left, 30 of them shifted; 40 in the margin count as left: 1 - 150/160.
    assert first.untouched == pytest.approx(100 * 80 / 110)
    assert first.pickup == pytest.approx(100 * 10 / 160)
    assert first.reached == pytest.approx(100)
    assert (first.heading, first.pitch, first.strip) == (0, 50, 10)
    second = leftovers.photo_truth(rows, 2, {**lanes, "width_mm": 4})
    # What pass 2 found: 20 at y 45, 30 at 45, 60 at 95, none within 2 mm of a lane. Shifted since before stays shifted.
    assert second.untouched == pytest.approx(100 * 20 / 50)
    assert second.reached == 0


def test_errors_of_lanes_wrap_at_half_a_turn(load: Any) -> None:
    leftovers = load("leftovers")
    truth = leftovers.Truth(80.0, 90.0, 45.0, 179.5, 100.0, 20.0)
    score = leftovers.Score("a", 1, truth, 82.0, 91.0, (88.0, 93.0), 51.0, (0.5, 104.0, 18.0, 3), 0.1)
    assert leftovers.lane_errors(score) == pytest.approx((1.0, 4.0, -2.0))
    assert score.untouched_error == pytest.approx(2)
    assert score.there_error == pytest.approx(1)
    unseen = leftovers.Score("a", 1, truth, None, None, None, None, None, 0.1)
    assert (leftovers.lane_errors(unseen), unseen.untouched_error, unseen.there_error) == (None, None, None)


def test_bars_of_leftovers(load: Any, capsys: pytest.CaptureFixture[str]) -> None:
    leftovers = load("leftovers")
    none = leftovers.Truth(80.0, 90.0, 45.0, None, None, None)
    good = leftovers.Score("good", 1, none, 80.5, 90.0, (88.0, 92.0), 50.5, None, 0.1)
    assert leftovers.print_bars([good], [], [good])
    false = leftovers.Score("false", 1, none, 80.5, 90.0, (88.0, 92.0), 50.5, (0.0, 100.0, 20.0, 3), 0.1)
    assert not leftovers.print_bars([good], [], [false])
    assert "lanes reported where there are none: 1 of 2 ['false']" in capsys.readouterr().out
