"""Photos that overlap, adjusted together: held against OpenCV's own projection of known points.

The photos are *independent*: made by cv2.projectPoints (OpenCV), which knows nothing of homographies.
"""

import cv2
import numpy as np
import pytest

from debriscount.arrays import Floats, Mask
from debriscount.camera.fit import FittedViews, SeenCorners, Ties, fit_views
from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.layout.lay_patch import lay_patch

SIZE = (1600, 1200)
INNER = np.array([[1200.0, 0, 799.5], [0, 1200.0, 599.5], [0, 0, 1]])
K1 = -0.02
PATCH = lay_patch(3000, 900)
#: Place of each camera over the floor, mm, and how it leans, radians: the middle one sees no marker.
STANDS = [
    ((550.0, 450.0), (0.02, 0.01, 0.0)),
    ((1500.0, 430.0), (-0.015, 0.02, 0.03)),
    ((2450.0, 460.0), (0.0, -0.02, 0.01)),
]
HEIGHT = 1500.0


def pixels(stand: int, places_mm: Floats, height_mm: float = 0.0) -> Floats:
    """Where OpenCV has places in a photo; z points from the camera to the floor."""
    (x, y), turn = STANDS[stand]
    rotation = cv2.Rodrigues(np.array(turn))[0]
    points = np.column_stack([places_mm, np.full(len(places_mm), -height_mm)])
    if not len(points):
        return np.zeros((0, 2))
    shift = -rotation @ np.array([x, y, -HEIGHT])
    found = cv2.projectPoints(points, rotation, shift, INNER, np.array([K1, 0, 0, 0]))[0]
    return np.asarray(found, float).reshape(-1, 2)


def seen(stand: int, places_mm: Floats) -> Mask:
    found = pixels(stand, places_mm)
    return np.asarray((found > 0).all(axis=1) & (found < SIZE).all(axis=1))


def adjusted(noise_px: float = 0.0, height_mm: float = 0.0, wrong: int = 0) -> FittedViews:
    rng = np.random.default_rng(0)
    shots, start = [], []
    for stand in range(3):
        quads = [m.corners_mm() for m in PATCH.markers if seen(stand, m.corners_mm()).all()]
        places = np.concatenate([*quads, np.zeros((0, 2))])
        there = pixels(stand, places) + noise_px * rng.standard_normal(places.shape)
        shots.append(SeenCorners(places, there, np.full(len(places), 0.1), SIZE))
        # A rough start, as matches of a few features would give it.
        left = STANDS[stand][0][0] - 450
        box = np.array([[left, 0], [left + 900, 0], [left + 900, 900], [left, 900]])
        plane = np.asarray(cv2.findHomography(box, pixels(stand, box) + 3 * rng.standard_normal(box.shape))[0], float)
        start.append(FloorToPhoto(plane, Lens((799.5, 599.5), (1200.0, 1200.0))))
    assert [len(shot.floor_mm) for shot in shots] == [8, 0, 8]
    ties = []
    for first, second in ((0, 1), (1, 2)):
        places = rng.uniform((0, 0), (3000, 900), (2000, 2))
        places = places[seen(first, places) & seen(second, places)]
        there = pixels(second, places, height_mm) + noise_px * rng.standard_normal(places.shape)
        there[:wrong] += 40
        group = 0 if height_mm else None
        here = pixels(first, places, height_mm)
        ties.append(Ties(first=first, second=second, first_px=here, second_px=there, group=group))
    return fit_views(shots, ties=ties, start=start)


def off_px(fitted: FittedViews) -> float:
    """Largest distance of the fitted views from OpenCV's projection, of places in the middle of each photo."""
    places = np.random.default_rng(1).uniform((0, 0), (3000, 900), (500, 2))
    return max(
        float(np.hypot(*(view.project(places) - pixels(stand, places))[seen(stand, places)].T).max())
        for stand, view in enumerate(fitted.views)
    )


def test_views_are_those_that_opencv_projected_with() -> None:
    fitted = adjusted()
    assert off_px(fitted) < 0.05
    assert max(float(apart.max()) for apart in fitted.apart_mm) < 0.05


def test_noise_and_wrong_ties_do_little() -> None:
    assert off_px(adjusted(noise_px=0.2, wrong=30)) < 1.0


def test_ties_that_stand_above_the_floor_do_not_draw_photos_together() -> None:
    # Without a height of their own, ties 2 mm up move these photos, which see two markers each or none, by 1.0 px.
    assert off_px(adjusted(height_mm=2.0)) < 0.75


def test_without_ties_and_start_nothing_changes() -> None:
    quads = np.concatenate([m.corners_mm() for m in PATCH.markers[:2]])
    shot = SeenCorners(quads, quads / 2 + 300, np.full(8, 0.1), SIZE)
    assert fit_views([shot]).apart_mm == ()
    assert fit_views([shot]).residual_mm[0] == pytest.approx(0, abs=0.01)
