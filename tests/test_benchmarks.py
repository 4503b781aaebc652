"""The arithmetic of the benchmarks, on grains whose sums are done by hand. The benchmarks themselves need photos."""

import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from skimage.color import rgb2lab

from debriscount.simulate.pose import pose_shots

if TYPE_CHECKING:
    from tests.benchmarks import scores as scores_module

NAMES = (
    "truth",
    "scenes",
    "scores",
    "floor_scores",
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
    "trust",
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


def floor_score(load: Any, name: str, measured: float | None, low: float, high: float, *, grains: int = 100) -> Any:
    """One pass whose patch truly lost 80 percent, with an edge of as much; 100 grains of 8 px lay there."""
    scores = load("scores")
    interval = None if measured is None else (low, high)
    zones = tuple(scores.ZoneScore(1, zone, 60, measured, 80.0, None, 80.0, interval) for zone in ("patch", "edge"))
    shot = scores.ShotScore("before", grains, 100, 1.0, 1.0, grains > 0)
    return scores.SceneScore(name, 1.0, 1, 8.0, (), zones, (shot,), untouched=((50.0, 47.0), (None, 10.0)))


def test_the_table_of_other_floors_is_as_counted_by_hand(load: Any) -> None:
    table = load("floor_scores")
    runs = [
        floor_score(load, "near", 80.2, 79.0, 81.0),
        floor_score(load, "far", 84.0, 81.0, 87.0, grains=90),
        floor_score(load, "not told", None, 0.0, 0.0, grains=0),
        load("scores").SceneScore("refused", 1.0, failure="no markers"),
    ]
    found = table.floor_table(runs)
    assert found["sets refused or patches not told"] == 2
    assert found["patch by area, median"] == pytest.approx((0.2 + 4.0) / 2)
    assert found["patch by area, 90 %"] == pytest.approx(0.2 + 0.9 * 3.8)
    assert found["intervals that hold, patch"] == 50
    assert found["intervals that hold, zones"] == 50
    assert found["half width of the patch's interval, median"] == pytest.approx(2.0)
    assert found["misses by more than a width"] == 0
    assert found["counts, worst"] == pytest.approx(10)
    assert found["counts not told, %"] == pytest.approx(100 / 3)
    assert found["untouched share, worst"] == pytest.approx(3)
    assert "patch by area, median" in table.missed(found)
    assert "intervals that hold, patch" in table.missed(found)
    assert "misses by more than a width" not in table.missed(found)


def test_the_plain_script_is_compared_pass_by_pass(load: Any) -> None:
    ours = [floor_score(load, "a", 80.5, 79, 81), floor_score(load, "b", 82.0, 79, 85)]
    plain = [floor_score(load, "a", 90.0, 79, 81), floor_score(load, "b", 81.0, 79, 85)]
    found = load("floor_scores").floor_table(ours, plain)
    assert found["nearer than the plain script, %"] == 50
    assert found["farther than the plain script by, worst"] == pytest.approx(1.0)


def test_the_interval_of_a_share_is_the_exact_one(load: Any) -> None:
    """*Published*: for 81 of 263 the exact 95 % interval is 0.2527 to 0.3676 (Newcombe, Stat. Med. 17 (1998) 857)."""
    low, high = load("floor_scores").share_interval(81, 263)
    assert (low, high) == (pytest.approx(25.27, abs=0.005), pytest.approx(36.76, abs=0.005))
    assert load("floor_scores").share_interval(0, 0) == (None, None)


def test_a_miss_is_counted_in_widths(load: Any) -> None:
    zone = load("scores").ZoneScore(1, "patch", 60, 70.0, 80.0, None, 80.0, (69.0, 71.0))
    assert (zone.held, zone.missed_by) == (False, 4.5)
    assert load("scores").ZoneScore(1, "patch", 60, None, 80.0, None, 80.0).held is None


def test_what_no_pass_moved_is_untouched(load: Any, particles: Any) -> None:
    """By hand: grain 4 stays in both passes, 3 only moved; after pass 2 it alone is left."""
    rows = [dict(row, fate_pass1="untouched", fate_pass2="untouched") for row in particles]
    rows[2]["fate_pass1"] = "displaced"
    of = load("truth").untouched_percent
    assert of(rows, 1) == pytest.approx(100 * 40 / 70)
    assert of(rows, 2) == 100
    assert of([], 1) is None


def test_what_is_called_sound_must_be_right(load: Any) -> None:
    trust = load("trust")

    def one(word: str, percent: float | None, half: float = 2.0) -> Any:
        interval = None if percent is None else (percent - half, percent + half)
        return trust.Called("a", 1, "patch", word, percent, interval, 80.0)

    # By hand: four of eight sound, of which three near and three held (79.0 by 2, 80.5 by 1, 82.0 by 2; 81.0 not by 0.5).
    figures = [one("sound", 79.0), one("sound", 80.5, 1.0), one("sound", 82.0), one("sound", 81.0, 0.5)]
    figures += [one("doubtful", 60.0)] * 2 + [one("not measurable", None), one("refused", None)]
    table = trust.trust_table(figures)
    assert table == {
        "sound": 50.0, "doubtful": 25.0, "not measurable": 12.5, "refused": 12.5,
        "sound: within 1.5 points": 75.0, "sound: in the interval": 75.0,
    }  # fmt: skip
    assert trust.missed(table) == list(trust.BARS)
    assert trust.missed(trust.trust_table([one("sound", 80.0)])) == []
    assert trust.trust_table([one("doubtful", 80.0)])["sound: in the interval"] is None


def test_every_pickup_of_a_refused_scene_is_refused(load: Any, particles: Any) -> None:
    scene = load("scenes").Scene("a", Path(), Path(), (Path("b"), Path("c")), None, (), particles)
    found = load("trust").called(scene, None)
    assert [(f.number, f.zone) for f in found] == [(n, z) for n in (1, 2) for z in ("patch", "open", "edge", "corner")]
    assert {f.trust for f in found} == {"refused"}


def test_stages_are_read_from_what_timings_writes(load: Any) -> None:
    text = "loading            0.50 s\nreading photos     1.25 s\npeak memory         612 MiB\n"
    assert load("speed").stages(text) == {"loading": 0.5, "reading photos": 1.25, "peak memory": 612}
    assert load("speed").stages("wrote result: a.json, b.csv\n") == {}


def test_each_bar_of_the_speed_is_missed_alone(load: Any) -> None:
    speed = load("speed")
    held = (speed.MOST_DECODINGS, 1.0, speed.LEAST_QUICKER * speed.MOST_DECODINGS, speed.MOST_MIB)
    assert speed.missed(*held) == []
    assert speed.missed(held[0], 0.99, held[2], held[3]) == ["times of decoding"]
    assert speed.missed(held[0], 1.0, 0.99 * held[2], held[3]) == ["quicker than the plain script"]
    assert speed.missed(*held[:3], held[3] + 1) == ["memory"]
