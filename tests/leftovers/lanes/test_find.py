from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import find_peaks, lombscargle, peak_widths

from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.records import Fates, Lanes
from debriscount.simulate.spec import Cleaning, Portion, SceneSpec, Strewing

from ..conftest import lanes_in, true_fates

GRIT = DebrisKind("grit", (90, 150, 60), (1.2, 1.8))
OPEN_FLOOR = lay_patch(600, 400)
CORNER = lay_patch(600, 400, ("top", "left"))


def spec_of(
    seed: int, patch: Patch = CORNER, cover: float = 0.03, scatter: Strewing | None = None, **cleaning: Any
) -> SceneSpec:
    values: dict[str, Any] = {"pitch_mm": 150.0, "width_mm": 130.0, "offset_mm": 40.0} | cleaning
    return SceneSpec(
        patch,
        (Portion(GRIT, cover_share=cover),),
        scatter=scatter or Strewing(),
        passes=(Cleaning(**values),),
        seed=seed,
    )


def lanes_of(seed: int, patch: Patch = CORNER, **changes: Any) -> Lanes | None:
    return lanes_in(true_fates(spec_of(seed, patch, **changes)), patch)


def seen(seed: int, patch: Patch = CORNER, **changes: Any) -> Lanes:
    lanes = lanes_of(seed, patch, **changes)
    assert lanes is not None
    return lanes


def turned(a: float, b: float) -> float:
    """Angle between two headings, degrees."""
    return abs((a - b + 90) % 180 - 90)


def made_up(patch: Patch, count: int, missed: Any, stays: float = 0.1, seed: int = 0) -> Fates:
    """Grains strewn evenly, of which all stay where ``missed(x, y)`` holds and a share elsewhere."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, patch.width_mm, count), rng.uniform(0, patch.height_mm, count)
    stayed = missed(x, y) | (rng.random(count) < stays)
    grains = GrainTable(np.zeros(count, np.int16), x, y, np.ones(count), patch.zone_codes(x, y))
    later = grains.take(stayed)
    return Fates(
        earlier=grains, later=later, stayed=stayed.astype(float), untouched=np.ones(len(later)), matched=(True,), least_shift_mm=(0.3,), u_untouched_percent=(1.0,), chance_percent=(0.0,)
    )  # fmt: skip


@pytest.mark.parametrize("heading", [0.0, 8.0, 30.0, 90.0, 137.0, 179.5])
def test_heading_pitch_and_strips_are_those_that_were_driven(heading: float) -> None:
    lanes = seen(1, heading_deg=heading)
    assert turned(lanes.heading_deg, heading) < 0.5
    assert lanes.pitch_mm == pytest.approx(150, rel=0.02)
    assert lanes.strip_mm == pytest.approx(20, abs=3)
    assert 0 <= lanes.heading_deg < 180


def test_uncertainties_cover_the_errors() -> None:
    errors = []
    for seed in range(10, 22):
        lanes = seen(seed, heading_deg=25.0 + seed, cover=0.015)
        assert lanes.pitch_mm is not None and lanes.pitch_u_mm is not None
        errors += [
            (lanes.heading_deg - 25.0 - seed) / lanes.heading_u_deg,
            (lanes.pitch_mm - 150) / lanes.pitch_u_mm,
            (lanes.strip_mm - 20) / lanes.strip_u_mm,
        ]
    # Of 36 standard normal numbers the root mean square is between 0.7 and 1.4 in 99 of 100 cases.
    assert 0.7 < float(np.sqrt(np.mean(np.square(errors)))) < 1.4


def test_a_strip_tells_where_it_lies_and_what_it_holds() -> None:
    fates = made_up(OPEN_FLOOR, 6000, lambda x, y: (np.abs(y - 130) < 10) | (np.abs(y - 290) < 10), stays=0.02)
    lanes = lanes_in(fates, OPEN_FLOOR)
    assert lanes is not None
    middles = sorted(strip.ends_mm[0][1] for strip in lanes.strips)
    assert middles == pytest.approx([130, 290], abs=1)
    assert {round(x) for strip in lanes.strips for x, _ in strip.ends_mm} == {0, 600}
    assert lanes.lanes == 3
    # By hand: 40 mm of 400 in strips, and a fiftieth of the rest.
    assert lanes.share_percent == pytest.approx(100 * 40 / (40 + 0.02 * 360), abs=3)
    assert lanes.share_percent == pytest.approx(sum(strip.share_percent for strip in lanes.strips))


def test_a_missing_strip_does_not_double_the_pitch() -> None:
    # Strips at -1, 0 and 2: between 0 and 2 the lanes happened to overlap.
    fates = made_up(
        OPEN_FLOOR,
        8000,
        lambda x, y: np.isin(np.round(x / 130), (1, 2, 4)) & (np.abs(x / 130 - np.round(x / 130)) < 7 / 130),
    )
    lanes = lanes_in(fates, OPEN_FLOOR)
    assert lanes is not None and lanes.pitch_mm == pytest.approx(130, rel=0.02)
    assert len(lanes.strips) == 3 and lanes.lanes == 5


def test_a_strip_alone_has_a_width_but_no_pitch() -> None:
    lanes = lanes_in(made_up(OPEN_FLOOR, 6000, lambda x, y: np.abs(x - 300) < 12), OPEN_FLOOR)
    assert lanes is not None
    assert (lanes.pitch_mm, lanes.pitch_u_mm, lanes.lanes) == (None, None, None)
    assert turned(lanes.heading_deg, 90) < 0.5 and lanes.strip_mm == pytest.approx(24, abs=2)


def test_a_turn_too_wide_leaves_a_wide_strip_and_the_same_pitch() -> None:
    # Strips of 14 mm every 130 mm, but one of 50 mm, after which all lies 36 mm farther on.
    fates = made_up(
        OPEN_FLOOR,
        9000,
        lambda x, y: (np.abs(x - 70) < 7) | (np.abs(x - 200) < 7) | (np.abs(x - 348) < 25) | (np.abs(x - 496) < 7),
    )
    lanes = lanes_in(fates, OPEN_FLOOR)
    assert lanes is not None and lanes.pitch_mm == pytest.approx(130, rel=0.02)
    assert lanes.strip_mm == pytest.approx(14, abs=2) and lanes.lanes == 5
    assert max(strip.width_mm for strip in lanes.strips) == pytest.approx(50, abs=2)


def test_straying_lanes_are_found_and_said_to_stray() -> None:
    straight = seen(5, cover=0.06)
    wobbling = seen(5, cover=0.06, wobble_mm=3.0, pitch_spread_mm=2.0)
    assert turned(wobbling.heading_deg, 0) < 1
    assert wobbling.pitch_mm == pytest.approx(150, rel=0.04)
    assert straight.straight_mm is not None and wobbling.straight_mm is not None
    assert straight.straight_mm < 0.7 < wobbling.straight_mm


@pytest.mark.parametrize(
    "changes",
    [
        {"scatter": Strewing(clumps=6, clumped_share=0.7)},
        {"wall_gap_mm": 15.0, "corner_radius_mm": 60.0},
        {"missed_mm": (((420.0, 250.0), (500.0, 250.0), (500.0, 330.0), (420.0, 330.0)),)},
        {"pickup": 0.7, "edge_pickup": 0.4, "cover": 0.06},
    ],
)
def test_clumps_walls_missed_places_and_weak_pickup_do_not_hide_lanes(changes: dict[str, Any]) -> None:
    lanes = seen(7, heading_deg=30.0, **changes)
    assert turned(lanes.heading_deg, 30) < 1
    assert lanes.pitch_mm == pytest.approx(150, rel=0.04)


def test_wrong_matches_and_the_noise_of_fine_debris_do_not_hide_lanes() -> None:
    fates = true_fates(spec_of(3, heading_deg=8.0, cover=0.06))
    rng = np.random.default_rng(3)
    flipped = np.where(rng.random(len(fates.stayed)) < 0.03, 1 - fates.stayed, fates.stayed)
    noisy = fates.stayed + rng.normal(0, 0.5, len(fates.stayed))
    for changed in (replace(fates, stayed=flipped), replace(fates, stayed=noisy, matched=(False,))):
        lanes = lanes_in(changed, CORNER)
        assert lanes is not None and turned(lanes.heading_deg, 8) < 0.5
        assert lanes.pitch_mm == pytest.approx(150, rel=0.02) and lanes.strip_mm == pytest.approx(20, abs=3)


def test_kinds_of_debris_are_taken_together() -> None:
    one = made_up(OPEN_FLOOR, 1500, lambda x, y: np.abs(y - 130 * np.round(y / 130)) < 10, 0.05, 1)
    other = made_up(OPEN_FLOOR, 6000, lambda x, y: np.abs(y - 130 * np.round(y / 130)) < 10, 0.4, 2)
    earlier, later = (
        GrainTable(
            np.repeat([0, 1], [len(a), len(b)]).astype(np.int16),
            *(np.concatenate([getattr(a, name), getattr(b, name)]) for name in ("x_mm", "y_mm", "area_mm2", "zone")),
        )
        for a, b in ((one.earlier, other.earlier), (one.later, other.later))
    )
    noisy = other.stayed + np.random.default_rng(2).normal(0, 0.5, 6000)
    stayed, untouched = np.concatenate([one.stayed, noisy]), np.ones(len(later))
    lanes = lanes_in(
        Fates(
            earlier=earlier,
            later=later,
            stayed=stayed,
            untouched=untouched,
            matched=(True, False),
            least_shift_mm=(0.3,) * 2,
            u_untouched_percent=(1.0,) * 2,
            chance_percent=(0.0,) * 2,
        ),
        OPEN_FLOOR,
    )
    assert lanes is not None and lanes.pitch_mm == pytest.approx(130, rel=0.01)
    assert lanes.strip_mm == pytest.approx(20, abs=1.5)


@pytest.mark.parametrize(
    "changes",
    [
        {"width_mm": 170.0, "wobble_mm": 2.0},
        {"path": "everywhere"},
        {"path": "everywhere", "wall_gap_mm": 15.0},
        {"path": "everywhere", "corner_radius_mm": 120.0},
        {"path": "everywhere", "pickup": 0.5, "edge_pickup": 0.5},
        {"path": "wander", "width_mm": 250.0, "reach_share": 0.9},
        {"path": "wander", "width_mm": 180.0, "reach_share": 0.6},
        {"path": "spiral", "pitch_mm": 150.0, "width_mm": 130.0, "reach_share": 0.6},
    ],
)
def test_no_lanes_where_there_are_none(changes: dict[str, Any]) -> None:
    found = [lanes_of(30 + k, cover=0.015 + 0.01 * k, **changes) for k in range(3)]
    assert found == [None] * 3


def test_nothing_is_said_of_too_little_debris_or_a_machine_that_did_nothing() -> None:
    assert lanes_in(made_up(OPEN_FLOOR, 20, lambda x, y: np.abs(x - 300) < 12), OPEN_FLOOR) is None
    assert lanes_in(made_up(OPEN_FLOOR, 0, lambda x, y: x > 0), OPEN_FLOOR) is None
    assert lanes_in(made_up(OPEN_FLOOR, 3000, lambda x, y: x > 0), OPEN_FLOOR) is None
    assert lanes_in(made_up(OPEN_FLOOR, 3000, lambda x, y: x < 0, stays=0.0), OPEN_FLOOR) is None


def test_a_strip_at_the_foot_of_a_wall_is_no_lane() -> None:
    fates = made_up(OPEN_FLOOR, 4000, lambda x, y: y < 18)
    assert lanes_in(fates, OPEN_FLOOR) is None
    assert lanes_in(fates, replace(OPEN_FLOOR, walls=("top",))) is None


@settings(max_examples=15)
@given(st.floats(0, 1), st.integers(0, 1000))
def test_chance_makes_no_lanes(stays: float, seed: int) -> None:
    assert lanes_in(made_up(OPEN_FLOOR, 1500, lambda x, y: x < 0, stays, seed), OPEN_FLOOR) is None


@settings(max_examples=10)
@given(st.floats(0, 180, exclude_max=True), st.floats(110, 200))
def test_a_turned_floor_turns_the_heading_alone(heading: float, pitch: float) -> None:
    sine, cosine = np.sin(np.deg2rad(heading)), np.cos(np.deg2rad(heading))

    def missed(x: Any, y: Any) -> Any:
        across = (y - 250) * cosine - (x - 250) * sine + pitch / 3
        return np.abs(across - pitch * np.round(across / pitch)) < 9

    lanes = lanes_in(made_up(lay_patch(500, 500), 7000, missed), lay_patch(500, 500))
    assert lanes is not None and turned(lanes.heading_deg, heading) < 0.5
    assert lanes.pitch_mm == pytest.approx(pitch, rel=0.02) and lanes.strip_mm == pytest.approx(18, abs=2.5)


def test_pitch_and_width_agree_with_periodogram_and_peak_finder() -> None:
    # Another way to the same figures, with periods enough for it: scipy.signal.lombscargle, find_peaks and peak_widths
    # (at half height) on the share that stayed by millimetre across.
    patch = lay_patch(2000, 300)
    fates = made_up(patch, 40_000, lambda x, y: np.abs((x - 31) - 137 * np.round((x - 31) / 137)) < 8)
    place = np.floor(fates.earlier.x_mm).astype(int)
    share = np.bincount(place, fates.stayed, 2000) / np.maximum(np.bincount(place, minlength=2000), 1)
    pitches = np.arange(100, 200, 0.1)
    power = lombscargle(np.arange(2000) + 0.5, share - share.mean(), 2 * np.pi / pitches)
    smooth = np.convolve(share, np.ones(5) / 5, "same")
    peaks, _ = find_peaks(smooth, height=0.6, distance=60)
    widths = peak_widths(smooth, peaks, rel_height=0.5)[0]
    lanes = lanes_in(fates, patch)
    assert lanes is not None and len(lanes.strips) == len(peaks)
    assert lanes.pitch_mm == pytest.approx(pitches[np.argmax(power)], rel=0.005)
    assert lanes.strip_mm == pytest.approx(float(np.median(widths)), abs=1.5)
