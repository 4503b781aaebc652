"""Shots held against the patch file and one another."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import MarkerError
from debriscount.flags import sentences
from debriscount.inputs.patch import Marker, Patch
from debriscount.markers.moved import Moves
from debriscount.photo.read import photo_from_array
from debriscount.registration.locate import LocatedShots, locate_shots

if TYPE_CHECKING:
    from tests.conftest import Bench

STEP_MM, LEFT, TOP = 0.25, -75.0, -25.0


def locate(bench: "Bench", patch: Patch | None = None, **floors: NDArray[np.float32]) -> LocatedShots:
    return locate_shots(bench.photos(blur_px=0.8, **floors), bench.patch if patch is None else patch)


def hidden(bench: "Bench", floor: NDArray[np.float32], *numbers: int) -> NDArray[np.float32]:
    """A bag lies on markers."""
    covered = floor.copy()
    for number in numbers:
        x, y = bench.patch.markers[number].center_mm
        row, column = round((y - 22 - TOP) / STEP_MM), round((x - 22 - LEFT) / STEP_MM)
        covered[max(row, 0) : row + 176, max(column, 0) : column + 176] = 0.2
    return covered


def only(bench: "Bench", patch: Patch) -> NDArray[np.float32]:
    return bench.laid(*patch.markers)


def three(bench: "Bench") -> Patch:
    return replace(bench.patch, markers=bench.patch.markers[:3])


def ids_left_out(located: LocatedShots) -> dict[str, list[tuple[int, str]]]:
    return {name: [(one.id, one.why) for one in those] for name, those in located.left_out.items()}


def test_shots_with_all_markers_in_place(bench: "Bench") -> None:
    located = locate(bench, before=bench.strewn, after=bench.floor)
    for name, homography in (("before", bench.homography), ("after", None)):
        assert sorted(located.markers[name]) == [0, 1, 2, 3]
        assert located.missing[name] == ()
        assert located.left_out[name] == ()
        assert located.residual_mm[name] < 0.05
        for number, marker in located.markers[name].items():
            assert marker.spread_px is not None
            # By hand: a blur of 0.8 px, the pixel's own and the painted floor's raster: 2.6 x sqrt(0.64 + 1/12 + 0.03).
            assert marker.spread_px == pytest.approx(2.23, abs=0.15)
            if homography is not None:
                np.testing.assert_allclose(marker.corners_px, bench.corners_px(number), atol=0.1)
    assert located.warnings == ()
    assert list(located.views) == ["before", "after"]
    assert located.fitted.views[1] is located.views["after"]


@pytest.mark.parametrize("far", [(1.0, 0.0), (0.0, -2.5), (-9.0, 4.0), (-20.0, -60.0)])
def test_a_marker_that_the_machine_pushed_is_left_out_and_named(bench: "Bench", far: tuple[float, float]) -> None:
    located = locate(bench, before=bench.floor, after=bench.pushed(2, *far))
    assert ids_left_out(located) == {"before": [], "after": [(2, "moved")]}
    assert sorted(located.markers["after"]) == [0, 1, 3]
    assert sorted(located.markers["before"]) == [0, 1, 2, 3]
    length = float(np.hypot(*far))
    assert located.left_out["after"][0].off_mm == pytest.approx(length, abs=0.25 + 0.02 * length)
    (warning,) = located.warnings
    assert (warning.shot, warning.code) == ("after", "marker-moved")
    assert warning.sentence.startswith("marker 2 lies ")
    assert "mm from where it lies in the other shots and is left out. Fix it to the floor" in warning.sentence


def test_places_do_not_follow_a_marker_that_was_pushed(bench: "Bench") -> None:
    """What it is for: with it the view would be off by millimetres at that corner of the patch."""
    middle = np.array([[200.0, 150.0]])
    shots = bench.photos(blur_px=0.8, before=bench.floor, after=bench.pushed(2, 6.0, 6.0))
    view = locate_shots(shots, bench.patch).views["after"]
    true = np.array([[1, 0, 3.3], [0, 1, -2.6], [0, 0, 1]]) @ bench.homography @ [200.0, 150.0, 1.0]
    assert np.hypot(*(view.project(middle)[0] - true[:2] / true[2])) * view.mm_per_px(middle)[0] < 0.5


def test_it_is_told_from_the_file_in_which_shot_it_moved(bench: "Bench") -> None:
    located = locate(bench, before=bench.pushed(1, 0.0, 5.0), after=bench.floor)
    assert ids_left_out(located) == {"before": [(1, "moved")], "after": []}


def test_a_marker_that_stays_where_it_was_pushed_is_left_out_of_all_later_shots(bench: "Bench") -> None:
    pushed = bench.pushed(3, 3.0, 2.0)
    located = locate(bench, blank=bench.floor, before=bench.strewn, after=pushed, after2=pushed)
    assert ids_left_out(located) == {"blank": [], "before": [], "after": [(3, "moved")], "after2": [(3, "moved")]}


def test_a_marker_carried_away_is_missing(bench: "Bench") -> None:
    gone = bench.laid(*bench.patch.markers[:3])
    located = locate(bench, before=bench.floor, after=gone)
    assert located.missing == {"before": (), "after": (3,)}
    assert located.left_out["after"] == ()
    assert located.warnings == ()


def test_a_marker_laid_wrong_in_all_shots_is_left_out(bench: "Bench") -> None:
    askew = bench.pushed(0, 0.0, 6.0)
    located = locate(bench, before=askew, after=askew)
    assert ids_left_out(located) == {"before": [(0, "misplaced")], "after": [(0, "misplaced")]}
    assert located.left_out["after"][0].off_mm == pytest.approx(6, abs=0.3)
    assert [flag.shot for flag in located.warnings] == ["before", "after"]
    sentence = located.warnings[0].sentence
    assert sentence.startswith("marker 0 lies 6.")
    assert "mm from where the patch file has it and is left out. Measure its place again" in sentence


def test_a_marker_far_from_its_place_in_the_only_shot_is_left_out(bench: "Bench") -> None:
    located = locate(bench, before=bench.pushed(2, -20.0, -60.0))
    (one,) = located.left_out["before"]
    assert (one.id, one.why) == (2, "misplaced")
    assert one.off_mm == pytest.approx(63.2, abs=0.5)  # by hand: from 20 and 60
    assert sorted(located.seen["before"]) == [0, 1, 2, 3]


def test_markers_taped_to_a_millimetre_are_all_used(bench: "Bench") -> None:
    rng = np.random.default_rng(8)
    taped = bench.laid(
        *(replace(m, center_mm=(m.center_mm[0] + x, m.center_mm[1] + y)) for m, (x, y) in zip(bench.patch.markers, np.round(rng.normal(0, 0.7, (4, 2)) * 4) / 4, strict=True))
    )  # fmt: skip
    located = locate(bench, before=taped, after=taped)
    assert all(sorted(those) == [0, 1, 2, 3] for those in located.markers.values())
    assert located.warnings == ()


def test_of_three_markers_one_that_moved_a_little_is_named_and_used(bench: "Bench") -> None:
    few = three(bench)
    pushed = bench.laid(*few.markers[:2], replace(few.markers[2], center_mm=(244.0, 160.0)))
    located = locate(bench, few, before=only(bench, few), after=pushed)
    assert sorted(located.markers["after"]) == [0, 1, 2]
    (warning,) = located.warnings
    assert (warning.shot, warning.severity) == ("after", "doubtful")
    assert warning.sentence.startswith("marker 2 lies ")
    assert "too few others are seen to do without it; zone borders are uncertain by as much" in warning.sentence


def test_of_three_markers_one_that_moved_far_is_refused(bench: "Bench") -> None:
    few = three(bench)
    pushed = bench.laid(*few.markers[:2], replace(few.markers[2], center_mm=(230.0, 160.0)))
    with pytest.raises(
        MarkerError,
        match=r"after\.jpg: marker 2 lies (9|10|11) mm from where it lies in the other shots, and fewer than three "
        r"others are seen\. Put it back and retake the photo; lay out four markers or more\.",
    ):
        locate(bench, few, before=only(bench, few), after=pushed)


def test_two_markers_laid_wrong_are_refused(bench: "Bench") -> None:
    first, second, third, fourth = bench.patch.markers
    wrong = bench.laid(replace(first, center_mm=(-40.0, 80.0)), second, replace(third, center_mm=(240.0, 90.0)), fourth)
    with pytest.raises(
        MarkerError, match=r"before\.jpg: the markers do not lie as the patch file says; marker \d is off"
    ):
        locate(bench, before=wrong)


def test_a_mirrored_photo_is_told(bench: "Bench") -> None:
    pixels = bench.photo(bench.floor, bench.homography, blur_px=0.8)
    mirrored = photo_from_array(np.ascontiguousarray(pixels[:, ::-1]), "selfie.jpg")
    with pytest.raises(
        MarkerError, match=r"selfie\.jpg: found 0 of .*The photo is mirrored: switch that off in the camera"
    ):
        locate_shots({"before": mirrored}, bench.patch)


def test_two_markers_are_too_few(bench: "Bench") -> None:
    with pytest.raises(
        MarkerError,
        match=r"after\.jpg: found 2 of the patch's 4 markers \(seen: 0, 3; missing: 1, 2\)\. At least three",
    ):
        locate(bench, before=bench.floor, after=hidden(bench, bench.floor, 1, 2))


def test_prints_of_another_size_do_not_count(bench: "Bench") -> None:
    """Two of the patch's are seen and a small copy of a third."""
    floor = hidden(bench, bench.laid(*bench.patch.markers, Marker(2, (100.0, 90.0), 15.0)), 1, 2)
    with pytest.raises(MarkerError, match=r"found 2 of the patch's 4 markers \(seen: 0, 3; missing: 1, 2\)"):
        locate(bench, before=floor)


def test_markers_that_lie_turned_are_told(bench: "Bench") -> None:
    floor: Any = bench.floor.copy()
    for number, quarters in ((0, 2), (1, 2), (3, 1)):
        x, y = bench.patch.markers[number].center_mm
        row, column = round((y - 20 - TOP) / STEP_MM), round((x - 20 - LEFT) / STEP_MM)
        piece = floor[row : row + 160, column : column + 160]
        floor[row : row + 160, column : column + 160] = np.rot90(piece, -quarters)
    with pytest.raises(MarkerError, match="do not lie as the patch file says"):
        locate(bench, before=floor)
    one = bench.floor.copy()
    x, y = bench.patch.markers[3].center_mm
    row, column = round((y - 20 - TOP) / STEP_MM), round((x - 20 - LEFT) / STEP_MM)
    one[row : row + 160, column : column + 160] = np.rot90(one[row : row + 160, column : column + 160], -1)
    located = locate(bench, before=one)
    assert located.residual_mm["before"] < 0.05
    assert sentences(located.warnings) == (
        "before: marker 3 lies a quarter turn to the right; this is corrected for, but lay it upright",
    )


def test_markers_that_disagree_undecidedly_are_a_warning(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    """How it comes about is tested with `compare_shots`; here what is said of it."""
    undecided = Moves(({}, {}), ((0, 1, 2.34),))
    monkeypatch.setattr("debriscount.registration.locate.moved_markers", lambda *_: undecided)
    located = locate(bench, before=bench.floor, after=bench.floor)
    assert sentences(located.warnings) == (
        "the markers seen in before and after disagree by 2.3 mm; one has moved, and it cannot be told which. "
        "Zone borders are uncertain by as much. Put it back and retake the photo; more markers would tell",
    )
