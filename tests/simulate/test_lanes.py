from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.lanes import DrivenLanes, drive_lanes
from debriscount.simulate.spec import Cleaning

PATCH = lay_patch(600, 400)


def lanes_of(cleaning: Cleaning, seed: int = 0) -> DrivenLanes:
    return drive_lanes(PATCH, cleaning, np.random.default_rng(seed))


def places(count: int, seed: int = 0) -> np.ndarray:
    left, top, right, bottom = PATCH.outer_box_mm()
    return np.random.default_rng(seed).uniform((left, top), (right, bottom), (count, 2))


@given(
    heading=st.floats(-360, 360),
    pitch=st.floats(20, 400),
    share=st.floats(0.05, 1.2),
    offset=st.floats(-500, 500),
)
def test_straight_lanes_repeat_and_ignore_what_lies_along_them(
    *, heading: float, pitch: float, share: float, offset: float
) -> None:
    lanes = lanes_of(Cleaning(heading_deg=heading, pitch_mm=pitch, width_mm=share * pitch, offset_mm=offset))
    where = places(200)
    turn = np.deg2rad(heading)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    # Nothing within rounding of a lane's border.
    off = np.mod(where @ across - offset + pitch / 2, pitch) - pitch / 2
    where = where[np.abs(np.abs(off) - share * pitch / 2) > 1e-6]
    passed = lanes.over(where)
    assert np.array_equal(passed, lanes.over(where + 137.0 * along))
    assert np.array_equal(passed, lanes.over(where - 3 * pitch * across))


def test_straight_lanes_pass_over_width_over_pitch() -> None:
    # Closed form: of whole periods, width over pitch.
    lanes = lanes_of(Cleaning(heading_deg=0, pitch_mm=50, width_mm=35, offset_mm=12.3))
    y = np.arange(0.05, 400, 0.1)
    assert lanes.over(np.stack([np.zeros_like(y), y], axis=1)).mean() == pytest.approx(0.7, abs=0.005)


@given(heading=st.floats(-180, 180), pitch=st.floats(30, 300), share=st.floats(0.1, 1.5), seed=st.integers(0, 999))
def test_lanes_that_hardly_stray_pass_over_the_same_places(
    *, heading: float, pitch: float, share: float, seed: int
) -> None:
    # Straight lanes are told by a period, straying ones lane by lane: both ways must agree.
    cleaning = Cleaning(heading_deg=heading, pitch_mm=pitch, width_mm=share * pitch)
    straight = lanes_of(cleaning, seed)
    straying = lanes_of(replace(cleaning, wobble_mm=1e-9, pitch_spread_mm=1e-9), seed)
    where = places(400, seed)
    assert (straight.over(where) != straying.over(where)).sum() <= 1


def test_a_lane_strays_by_the_wobble_that_was_asked_for() -> None:
    lanes = lanes_of(Cleaning(wobble_mm=7))
    along = np.arange(0, 100_000, 5.0)
    for lane in range(len(lanes.shift_mm)):
        middle = lanes.middle_mm(lane, along)
        strayed = middle - np.polynomial.Polynomial.fit(along, middle, 1)(along)
        assert np.sqrt(np.mean(strayed**2)) == pytest.approx(7, rel=0.02)
        # Nearly all of its power lies at wavelengths of a few hundred millimetres (discrete Fourier transform).
        power = np.abs(np.fft.rfft(strayed)) ** 2
        with np.errstate(divide="ignore"):
            wavelength = 1 / np.fft.rfftfreq(len(along), 5.0)
        assert power[(wavelength > 190) & (wavelength < 520)].sum() > 0.98 * power.sum()
        # Smooth: no steeper than the steepest of its waves together.
        assert np.abs(np.diff(middle)).max() / 5 < 2 * np.pi / 200 * 4 * lanes.amplitude_mm


def test_places_are_met_where_the_straying_lane_is() -> None:
    lanes = lanes_of(Cleaning(heading_deg=90, pitch_mm=150, width_mm=100, wobble_mm=10), seed=3)
    y = np.linspace(0, 400, 300)
    lane = len(lanes.shift_mm) // 2
    # Along y, across the heading is -x.
    middle = -lanes.middle_mm(lane, y)
    for step, inside in ((0, True), (49.9, True), (-49.9, True)):
        assert lanes.over(np.stack([middle + step, y], axis=1)).all() == inside
    beside = np.stack([middle + 50.1, y], axis=1)
    neighbours = [np.abs(beside[:, 0] + lanes.middle_mm(n, y)) < 50 for n in range(len(lanes.shift_mm))]
    assert np.array_equal(lanes.over(beside), np.any(neighbours, axis=0))
    assert not lanes.over(beside).all()


def test_offsets_spread_as_asked_for() -> None:
    shifts = np.concatenate([lanes_of(Cleaning(pitch_spread_mm=9), seed).shift_mm for seed in range(60)])
    middles = lanes_of(Cleaning(pitch_spread_mm=9), 5).straight_middles_mm()
    assert np.diff(middles) == pytest.approx(150 + np.diff(lanes_of(Cleaning(pitch_spread_mm=9), 5).shift_mm))
    # The sum of squares over the variance follows chi square (scipy); one such range in a thousand fails by chance.
    assert 0.0005 < chi2.cdf(float((shifts**2).sum()) / 81, len(shifts)) < 0.9995


def test_every_lane_that_meets_patch_or_margin_is_there() -> None:
    # Two neighbours lie at most pitch + 8 deviations + twice the waves' sum apart, 40 + 48 + 23 mm: lanes of 120 mm
    # leave nothing between them, so what is missed would be a lane that was not drawn.
    for seed in range(20):
        cleaning = Cleaning(heading_deg=13 * seed, pitch_mm=40, width_mm=120, pitch_spread_mm=6, wobble_mm=4)
        assert lanes_of(cleaning, seed).over(places(2000, seed)).all()
        assert 0.3 < lanes_of(replace(cleaning, width_mm=20), seed).over(places(2000, seed)).mean() < 0.7
