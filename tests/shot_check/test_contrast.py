from dataclasses import replace

import numpy as np
import pytest

from debriscount.inputs.debris import DebrisKind
from debriscount.shot_check.contrast import (
    Clarity,
    change_findings,
    clarity,
    clarity_findings,
    pattern_cover,
    pattern_finding,
)
from debriscount.shot_check.look import ShotLook

LENTILS = DebrisKind("red lentils", (205, 100, 55), (4.0, 6.0))
CLEAR = Clarity(steps=90.0, spread=0.1, noise=0.01, pattern=0.02, rounded=0.02, coarse=3.0)


def look(light: float, noise: float) -> ShotLook:
    cells = np.full((3, 8, 8, 3), light)
    cells[:, :, :2] *= 0.25  # a dark side
    return ShotLook(
        cell_mm=50.0,
        light=cells,
        inside=np.ones((8, 8), bool),
        clipped=np.zeros((8, 8)),
        shown=1.0,
        noise=noise**2 * np.eye(3),
        tiles=np.full((4, 48, 48, 3), light, np.float32),
    )


def seen(light: float = 0.4, noise: float = 0.003, steps: np.ndarray | None = None) -> Clarity:
    return clarity(look(light, noise), LENTILS, 0.5, paper=0.8, spread_px=1.8, jpeg_steps=steps)


def test_the_darkest_part_of_the_patch_counts_for_steps() -> None:
    """Independent: scikit-image's own sRGB curve takes floor and debris to a quarter of the light and back."""
    from skimage.color import rgb2xyz, xyz2rgb

    floor, debris = (rgb2xyz(np.array(v)[None, None]) for v in ((0.665, 0.665, 0.665), np.array([205, 100, 55]) / 255))
    dim = [xyz2rgb(0.25 * v)[0, 0] for v in (floor, debris)]
    assert seen(0.4).steps == pytest.approx(255 * np.abs(dim[1] - dim[0]).max(), abs=1.0)


def test_noise_is_a_share_of_the_step_from_floor_to_debris() -> None:
    quiet, loud = seen(noise=0.003).noise, seen(noise=0.03).noise
    assert quiet is not None
    assert loud is not None
    assert loud == pytest.approx(10 * quiet, rel=0.5)


def test_files_without_tables_have_no_rounding() -> None:
    assert seen().rounded is None
    assert seen().coarse is None


def test_coarser_tables_round_more() -> None:
    fine, coarse = (seen(steps=np.full((2, 8, 8), step)) for step in (2.0, 40.0))
    assert fine.rounded is not None
    assert coarse.rounded is not None
    assert coarse.rounded > 8 * fine.rounded
    assert coarse.coarse == pytest.approx(40.0)


def test_a_clear_shot_has_no_fault() -> None:
    assert all(finding.fit for finding in clarity_findings("rice", CLEAR, 1.0))
    assert all(finding.fit for finding in change_findings("rice", CLEAR, CLEAR, 1.0))


@pytest.mark.parametrize(
    ("worse", "words"),
    [
        ({"steps": 4.0}, "rice can hardly be told from the floor"),
        ({"spread": 0.6}, "too much alike"),
        ({"noise": 0.2}, "lower ISO"),
        ({"rounded": 0.5}, "not one sent by a messenger"),
    ],
)
def test_each_fault_says_what_to_do(worse: dict[str, float], words: str) -> None:
    faults = [f for f in clarity_findings("rice", replace(CLEAR, **worse), 1.0) if not f.fit]
    assert len(faults) == 1
    assert words in faults[0].advice


@pytest.mark.parametrize(
    ("worse", "words"), [({"noise": 0.09}, "exposure and ISO"), ({"coarse": 30.0}, "same quality")]
)
def test_a_change_between_shots_is_a_fault(worse: dict[str, float], words: str) -> None:
    faults = [f for f in change_findings("rice", replace(CLEAR, **worse), CLEAR, 1.0) if not f.fit]
    assert len(faults) == 1
    assert words in faults[0].advice


def test_two_kinds_of_file_are_noted() -> None:
    notes = change_findings("rice", CLEAR, replace(CLEAR, coarse=None), 1.0)
    assert "use one kind for all" in notes[-1].advice


def test_less_accuracy_lets_more_noise_pass() -> None:
    noisy = replace(CLEAR, noise=0.05)
    assert not all(finding.fit for finding in clarity_findings("rice", noisy, 1.0))
    assert all(finding.fit for finding in clarity_findings("rice", noisy, 4.0))


def test_a_pattern_is_averaged_over_a_grain() -> None:
    rng = np.random.default_rng(5)
    tiles = 0.1 * rng.standard_normal((6, 48, 48, 1)).astype(np.float32) * np.ones(3, np.float32)
    weight = np.array([1.0, 0, 0])
    assert pattern_cover(tiles, weight, 1.0) == pytest.approx(0.1, rel=0.1)
    assert pattern_cover(tiles, weight, 5.0) == pytest.approx(0.02, rel=0.2)


def test_a_pattern_like_the_debris_asks_for_a_blank_but_is_no_fault() -> None:
    assert pattern_finding("rice", CLEAR).advice == ""
    finding = pattern_finding("rice", replace(CLEAR, pattern=0.2))
    assert finding.fit
    assert "--blank" in finding.advice
