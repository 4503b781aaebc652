"""Markers laid elsewhere than the patch file says, on corners alone."""

import numpy as np
import pytest

from debriscount.camera.fit import FittedViews, SeenCorners, fit_views
from debriscount.camera.lens import Lens
from debriscount.camera.misplaced import ASKEW_MM, misplaced_marker
from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.patch import Marker

PLACES = [(-40.0, 30.0), (640.0, 30.0), (640.0, 420.0), (-40.0, 420.0), (300.0, 440.0)]
SIZE_PX = (2000, 1500)
LENS = Lens((999.5, 749.5), (1500.0, 1500.0))
VIEWS = [
    FloorToPhoto(np.array([[2.2, 0.1, 280.0], [-0.05, 2.3, 200.0], [3e-5, 8e-5, 1.0]]), LENS),
    FloorToPhoto(np.array([[2.1, -0.1, 330.0], [0.1, 2.2, 230.0], [-2e-5, 9e-5, 1.0]]), LENS),
]
GRID = np.stack(np.meshgrid(np.linspace(0, 600, 7), np.linspace(0, 400, 5)), axis=-1).reshape(-1, 2)


def shots(count: int, push: tuple[float, float], seed: int, laid_mm: float = 0.5) -> list[SeenCorners]:
    """Two photos of markers taped to about half a millimetre, the second farther off by ``push``."""
    rng = np.random.default_rng(seed)
    file, true = [], []
    for number in range(count):
        corners = Marker(number, PLACES[number], 50.0).corners_mm()
        file.append(corners)
        true.append(corners + rng.normal(0, laid_mm, 2) + (push if number == 1 else (0.0, 0.0)))
    return [
        SeenCorners(
            np.concatenate(file),
            view.project(np.concatenate(true)) + rng.normal(0, 0.05, (4 * count, 2)),
            np.full(4 * count, 0.05),
            SIZE_PX,
        )
        for view in VIEWS
    ]


def found(corners: list[SeenCorners]) -> tuple[int, float] | None:
    ids = [list(range(len(shot.floor_mm) // 4)) for shot in corners]
    return misplaced_marker(ids, corners, fit_views(corners), None)


def off_mm(fitted: FittedViews) -> float:
    """Root mean square error of places on the patch, both shots."""
    off = [view.floor_mm(true.project(GRID)) - GRID for view, true in zip(fitted.views, VIEWS, strict=True)]
    return float(np.sqrt((np.array(off) ** 2).sum(axis=-1).mean()))


def without(corners: list[SeenCorners], number: int) -> list[SeenCorners]:
    kept = np.arange(len(corners[0].floor_mm)) // 4 != number
    return [SeenCorners(s.floor_mm[kept], s.photo_px[kept], s.sigma_px[kept], s.size_px) for s in corners]


@pytest.mark.parametrize("count", [4, 5])
def test_a_marker_a_centimetre_off_is_told_and_better_left_out(count: int) -> None:
    """What the rule rests on: with the misplaced marker left out places on the patch are better known."""
    told, gained = 0, []
    for seed in range(3):
        corners = shots(count, (8.0, -6.0), seed)
        worst = found(corners)
        told += worst is not None and worst[0] == 1 and abs(worst[1] - 10) < 3
        gained.append(off_mm(fit_views(corners)) / off_mm(fit_views(without(corners, 1))))
    assert told == 3
    assert np.median(gained) > 2


@pytest.mark.parametrize("count", [4, 5])
def test_markers_taped_as_a_person_tapes_them_are_not(count: int) -> None:
    assert sum(found(shots(count, (0.0, 0.0), seed)) is not None for seed in range(10)) <= 1


def test_three_markers_cannot_tell() -> None:
    assert found(shots(3, (8.0, -6.0), 1)) is None


def test_what_a_tape_cannot_do_better_is_left_alone() -> None:
    """Told for certain by markers laid to a hundredth of a millimetre, but no farther off than others are laid."""
    assert np.hypot(1.0, 0.8) < ASKEW_MM
    assert found(shots(5, (1.0, -0.8), 3, laid_mm=0.01)) is None


def test_a_known_lens_is_kept() -> None:
    corners = shots(4, (8.0, -6.0), 2)
    lenses = [LENS, LENS]
    worst = misplaced_marker([list(range(4))] * 2, corners, fit_views(corners, lenses), lenses)
    assert worst is not None
    assert worst[0] == 1


def test_a_marker_that_one_shot_lacks_is_still_held_against_the_rest() -> None:
    corners = shots(5, (8.0, -6.0), 4)
    fewer = [corners[0], without([corners[1]], 4)[0]]
    worst = misplaced_marker([[0, 1, 2, 3, 4], [0, 1, 2, 3]], fewer, fit_views(fewer), None)
    assert worst is not None
    assert worst[0] == 1
    assert isinstance(worst[1], float)
