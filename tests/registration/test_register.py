from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from debriscount.errors import MarkerError
from debriscount.inputs.patch import Marker
from debriscount.photo.read import Photo, photo_from_array
from debriscount.registration.register import register_shots

if TYPE_CHECKING:
    from tests.conftest import Bench

STEP_MM = 0.25
LEFT, TOP = -75.0, -25.0


def mask_markers(photo: Photo, bench: "Bench", *numbers: int) -> Photo:
    """Grey rectangles over markers, as if bags lay on them; the photo is the first of its run."""
    pixels = photo.pixels.copy()
    for number in numbers:
        x, y = bench.patch.markers[number].center_mm
        corners = np.array([[[x - 22, y - 22], [x + 22, y + 22]]])
        (left, top), (right, bottom) = cv2.perspectiveTransform(corners, bench.homography)[0].astype(int)
        pixels[max(top, 0) : bottom, max(left, 0) : right] = 110
    return photo_from_array(pixels, photo.name)


def test_two_shots_of_a_moved_camera_lie_on_one_another(bench: "Bench") -> None:
    registered = register_shots(bench.photos(before=bench.strewn, after=bench.floor), bench.patch)
    assert registered.markers_seen == {"before": (0, 1, 2, 3), "after": (0, 1, 2, 3)}
    # By hand: the homography maps 350 mm to about 850 px.
    assert registered.grid.mm_per_px == pytest.approx(0.41, abs=0.02)
    assert list(registered.views) == ["before", "after"]
    views = [cv2.GaussianBlur(registered.views[name], (0, 0), 1) for name in ("before", "after")]
    off = np.abs(np.log(np.maximum(views[0], 1e-3)) - np.log(np.maximum(views[1], 1e-3))).max(axis=-1)
    moved = np.abs(np.log(views[1][:, 1:]) - np.log(views[1][:, :-1])).max(axis=-1)
    # Half of what one pixel of misplacement alone would leave.
    assert np.median(off[registered.usable]) < 0.5 * np.median(moved[registered.usable[:, 1:]])
    assert registered.warnings == ()


def test_places_in_the_floor_view_are_those_of_the_patch(bench: "Bench") -> None:
    """A bright square laid around (120, 90) mm is found there."""
    floor = bench.floor.copy()
    column, row = round((120 - LEFT) / STEP_MM), round((90 - TOP) / STEP_MM)
    floor[row - 20 : row + 20, column - 20 : column + 20] = 0.9
    registered = register_shots(bench.photos(before=bench.floor, after=floor), bench.patch)
    bright = registered.views["after"].min(axis=-1) > 0.6
    rows, columns = np.nonzero(bright & registered.usable)
    assert registered.grid.x_mm()[columns].mean() == pytest.approx(120, abs=0.15)
    assert registered.grid.y_mm()[rows].mean() == pytest.approx(90, abs=0.15)


def test_the_same_floor_is_like_itself_another_is_not(bench: "Bench") -> None:
    same = register_shots(bench.photos(before=bench.strewn, after=bench.floor), bench.patch)
    assert same.likeness["after"] is None  # the reference
    assert same.likeness["before"] is not None
    assert same.likeness["before"] > 0.3
    other = register_shots(bench.photos(before=bench.elsewhere, after=bench.floor), bench.patch)
    assert other.likeness["before"] is not None
    assert other.likeness["before"] < 0.08


def test_the_blank_is_what_others_are_laid_on(bench: "Bench") -> None:
    photos = bench.photos(blank=bench.floor, before=bench.strewn, after=bench.floor)
    registered = register_shots(photos, bench.patch)
    assert {name for name, likeness in registered.likeness.items() if likeness is None} == {"blank"}


def test_the_papers_of_the_markers_are_not_usable_floor(bench: "Bench") -> None:
    registered = register_shots(bench.photos(before=bench.strewn, after=bench.floor), bench.patch)
    column, row = (
        np.rint(registered.grid.to_px(np.array([[-17.0, 150.0], [-7.0, 100.0], [-17.0, 100.0]]))).astype(int).T
    )
    # Marker 3 at (-40, 160), side 30: its paper is kept clear from x -70 to -10 and from y 130.
    assert registered.usable[row, column].tolist() == [False, True, True]


def test_progress_rises_to_the_end(bench: "Bench") -> None:
    told: list[float] = []
    register_shots(bench.photos(before=bench.strewn, after=bench.floor), bench.patch, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1)


def test_three_markers_are_enough(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    photos["before"] = mask_markers(photos["before"], bench, 2)
    registered = register_shots(photos, bench.patch)
    assert registered.markers_seen == {"before": (0, 1, 3), "after": (0, 1, 2, 3)}


def test_with_two_markers_the_message_says_which_are_missing(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    photos["before"] = mask_markers(photos["before"], bench, 1, 2)
    with pytest.raises(
        MarkerError,
        match=r"before\.jpg: found 2 of the patch's 4 markers \(seen: 0, 3; missing: 1, 2\)\. "
        r"At least three must be in the photo, whole and uncovered; retake it",
    ):
        register_shots(photos, bench.patch)


def test_without_any_marker_the_message_says_none(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    photos["after"] = mask_markers(photos["after"], bench, 0, 1, 2, 3)
    with pytest.raises(MarkerError, match=r"after\.jpg: found 0 of .* \(seen: none; missing: 0, 1, 2, 3\)"):
        register_shots(photos, bench.patch)


def test_another_layout_than_the_patch_files_is_refused(bench: "Bench") -> None:
    first, second, third, fourth = bench.patch.markers
    moved = [Marker(m.id, (m.center_mm[0], m.center_mm[1] + off), m.side_mm) for m, off in ((first, 60), (third, -60))]
    wrong = replace(bench.patch, markers=(moved[0], second, moved[1], fourth))
    with pytest.raises(
        MarkerError,
        match=r"before\.jpg: the markers do not lie as the patch file says; .* Is it a photo of patch 'small",
    ):
        register_shots(bench.photos(before=bench.strewn, after=bench.floor), wrong)


def test_a_marker_laid_far_askew_is_told_in_a_warning(bench: "Bench") -> None:
    """With four markers the plane follows a misplaced one: of 12 mm only 1.5 mm is left to be seen."""
    *others, last = bench.patch.markers
    x, y = last.center_mm
    askew = replace(bench.patch, markers=(*others, Marker(last.id, (x + 12, y), last.side_mm)))
    registered = register_shots(bench.photos(before=bench.strewn, after=bench.floor), askew)
    assert len(registered.warnings) == 2
    for name, warning in zip(("before", "after"), registered.warnings, strict=True):
        assert (warning.shot, warning.code, warning.severity) == (name, "marker-misplaced", "note")
        assert warning.sentence.startswith("marker ")
        assert "mm from where the patch file has it and is left out. Measure its place again" in warning.sentence


def test_the_paper_of_a_marker_that_was_pushed_onto_the_patch_is_no_floor(bench: "Bench") -> None:
    """Marker 3 lies at (-40, 160) and after the machine at (15, 120): neither place is measured in any shot."""
    photos = bench.photos(blur_px=0.8, before=bench.floor, after=bench.pushed(3, 55.0, -40.0))
    registered = register_shots(photos, bench.patch)
    assert [w for w in registered.warnings if w.shot == "after" and w.sentence.startswith("marker 3 lies ")]
    column, row = np.rint(registered.grid.to_px(np.array([[15.0, 120.0], [32.0, 137.0], [60.0, 120.0]]))).astype(int).T
    assert registered.shown[row, column].tolist() == [False, False, True]
    assert registered.markers_seen == {"before": (0, 1, 2, 3), "after": (0, 1, 2)}
