"""Made-up markers on a grey floor, developed in several ways; noise of known strength."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.markers.find_markers import SeenMarker
from debriscount.shot_check.compare import (
    floor_noise,
    marker_tones,
    moire_amplitude,
    moire_flags,
    noise_flags,
    tone_flags,
)

Develop = Callable[[NDArray[np.float64]], NDArray[np.float64]]
SIDE = 60
PLACES = ((100, 100), (300, 110), (110, 290))


def scene(gain: float = 1.0, develop: Develop | None = None) -> tuple[NDArray[np.uint8], dict[int, SeenMarker]]:
    """A photo of three squares on paper on a brown floor and where they are; linear light before it is developed."""
    light = np.full((400, 400, 3), (0.25, 0.18, 0.1))
    markers = {}
    for number, (x, y) in enumerate(PLACES):
        for half, shade in ((0.7 * SIDE, 0.7), (0.5 * SIDE, 0.05)):
            low, high = (round(x - half), round(y - half)), (round(x + half), round(y + half))
            cv2.rectangle(light, low, high, (shade,) * 3, -1)
        quad = np.array([[x - 30, y - 30], [x + 30, y - 30], [x + 30, y + 30], [x - 30, y + 30]], float)
        markers[number] = SeenMarker(id=number, corners_px=quad, sigma_px=0.05)
    level = np.clip(light * gain, 0, 1)
    encoded = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    encoded = encoded if develop is None else develop(encoded)
    return np.round(255 * np.clip(encoded, 0, 1)).astype(np.uint8), markers


def hard(level: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(0.5 + 1.3 * (level - 0.5))


def vivid(level: NDArray[np.float64]) -> NDArray[np.float64]:
    grey = level.mean(axis=-1, keepdims=True)
    return np.asarray(grey + 1.7 * (level - grey))


def test_tones_are_those_of_the_scene_whatever_the_exposure() -> None:
    for gain in (0.5, 1.0, 1.2):
        tones = marker_tones(*scene(gain))
        assert sorted(tones) == [0, 1, 2]
        wanted = np.log([[0.25 / 0.7, 0.18 / 0.7, 0.1 / 0.7], [0.05 / 0.7] * 3, [5.0, 3.6, 2.0]])
        np.testing.assert_allclose(tones[0], wanted, atol=0.03)


def test_burnt_out_paper_says_nothing_and_the_rest_still_does() -> None:
    tones = marker_tones(*scene(1.6))
    assert np.isnan(tones[0][:2]).all()
    np.testing.assert_allclose(tones[0][2], np.log([5.0, 3.6, 2.0]), atol=0.03)


@pytest.mark.parametrize("develop", [hard, vivid])
@pytest.mark.parametrize("others", [("before",), ("blank", "before")])
def test_a_shot_that_was_enhanced_is_told_by_name(develop: Develop, others: tuple[str, ...]) -> None:
    tones = {name: marker_tones(*scene(1 - 0.2 * k)) for k, name in enumerate(others)}
    assert tone_flags(tones) == []
    assert tone_flags({**tones, "after": marker_tones(*scene(0.9))}) == []
    (flag,) = tone_flags({**tones, "after": marker_tones(*scene(0.9, develop))})
    assert (flag.code, flag.severity, flag.shot) == ("other-tone", "doubtful", "after")


def test_noise_is_measured_on_bare_floor_and_compared() -> None:
    rng, bare = np.random.default_rng(1), np.ones((200, 200), bool)
    bare[50:100] = False
    noise = {}
    for name, sigma in (("before", 0.01), ("after", 0.03)):
        view = (0.25 + rng.normal(0, sigma, (200, 200, 3))).astype(np.float32)
        view[50:100] = rng.random((50, 200, 3))
        noise[name] = floor_noise(view, bare)
        # Three channels average, the square root halves at 0.25, and a mean of nine is taken off: sqrt(8/9).
        assert noise[name] == pytest.approx(sigma / np.sqrt(3) * np.sqrt(8) / 3, rel=0.05)
    (flag,) = noise_flags(noise)
    assert (flag.code, flag.shot) == ("other-noise", "after")
    assert "3.0 times as noisy" in flag.sentence
    assert noise_flags({"before": 0.01, "after": 0.015}) == []
    assert noise_flags({"before": 0.0, "after": 0.0}) == []


def waves(amplitude: float, period_px: float = 9.0) -> NDArray[np.float64]:
    """Factors of red, green and blue, shape (600, 700, 3), in waves of colour of an amplitude in the logarithm."""
    y, x = np.mgrid[0:600, 0:700]
    phase = 2 * np.pi * (0.8 * x + 0.6 * y) / period_px
    return np.asarray(np.exp(amplitude * np.sin(phase)[..., None] * [1.0, 0.0, 0.0]))


def floor_view(number: int, noise: float = 0.03) -> NDArray[np.float32]:
    """The same patterned floor in other noise."""
    pattern = np.random.default_rng(0).uniform(0.8, 1.25, (600, 700, 1)) * [0.25, 0.18, 0.1]
    chance = np.random.default_rng(number).normal(1, noise, (600, 700, 3))
    return np.asarray(pattern * chance, np.float32)


EVERYWHERE = np.ones((600, 700), bool)


@pytest.mark.parametrize("period_px", [3.0, 9.0, 25.0])
def test_the_amplitude_of_waves_of_colour_is_told_whatever_their_period(period_px: float) -> None:
    view = (floor_view(1) * waves(0.1, period_px)).astype(np.float32)
    assert moire_amplitude(view, floor_view(2), EVERYWHERE) == pytest.approx(0.1, rel=0.2)


def test_noise_and_the_floors_own_pattern_are_no_moire() -> None:
    assert moire_amplitude(floor_view(1), floor_view(2), EVERYWHERE) < 0.01
    assert moire_amplitude(floor_view(1), 0.5 * floor_view(2), np.zeros_like(EVERYWHERE)) == 0


@pytest.mark.parametrize("names", [("before", "after"), ("blank", "before", "after")])
def test_the_shot_with_moire_is_told_by_name(names: tuple[str, ...]) -> None:
    views = {name: floor_view(k) for k, name in enumerate(names)}
    assert moire_flags(views, EVERYWHERE) == []
    views["after"] = (views["after"] * waves(0.1)).astype(np.float32)
    (flag,) = moire_flags(views, EVERYWHERE)
    assert (flag.code, flag.shot, flag.severity) == ("moire", "after", "doubtful")
