import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import MarkerError, NoDebrisError, PhotosDifferError, PhotoUnfitError, ShotOrderError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Marker
from debriscount.inputs.patch_file import read_patch
from debriscount.photo.read import read_photo
from debriscount.run.measure import measure
from debriscount.run.records import Measurement
from debriscount.simulate.spec import Cleaning, Floor

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

BLUE = DebrisKind("blue beads", (20, 40, 230), (4.0, 6.0))


def pixels_of(file: Path) -> NDArray[np.uint8]:
    return read_photo(file).pixels


def without_markers(pixels: NDArray[np.uint8], *numbers: int) -> NDArray[np.uint8]:
    """Grey rectangles over markers, found by OpenCV, as if a bag lay on them."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))
    covered = pixels.copy()
    for number, quad in zip(np.ravel(ids), corners, strict=True):
        if number in numbers:
            points = np.reshape(quad, (4, 2))
            (left, top), (right, bottom) = points.min(axis=0).astype(int) - 3, points.max(axis=0).astype(int) + 4
            covered[top:bottom, left:right] = 128
    return covered


def zone_pickups(measurement: Measurement) -> dict[str, float | None]:
    return {name: zone.pickup_percent for name, zone in measurement.passes[-1].zones.items()}


def true_zones(scene: "SceneOnDisk") -> dict[str, float]:
    """Pickup by area from the truth file, percent."""
    truth = json.loads((scene.folder / "truth.json").read_text(encoding="utf-8"))
    return {name: zone["pickup_by_area_percent"] for name, zone in truth["passes"][0]["zones"].items()}


@pytest.fixture(scope="module")
def told() -> list[tuple[float, str]]:
    """What ``measured`` told of its progress."""
    return []


@pytest.fixture(scope="module")
def measured(scene: "SceneOnDisk", told: list[tuple[float, str]]) -> Measurement:
    return measure(
        scene.patch,
        scene.before,
        scene.afters,
        debris=scene.debris,
        progress=lambda done, what: told.append((done, what)),
    )


@pytest.fixture(scope="module")
def with_blank(scene: "SceneOnDisk") -> Measurement:
    return measure(scene.patch, scene.before, scene.afters, blank=scene.blank, debris=scene.debris)


def check_near_truth(scene: "SceneOnDisk", found: Measurement) -> None:
    truth = true_zones(scene)
    # The corner holds ten grains, the edge sixty.
    for zone, bound in (("patch", 1.5), ("open", 1.5), ("edge", 4), ("corner", 8)):
        figures = found.passes[0].zones[zone]
        assert figures.pickup_percent == pytest.approx(truth[zone], abs=bound)
    assert found.warnings == ()


def test_pickup_is_near_the_truth_with_a_debris_file(
    scene: "SceneOnDisk", measured: Measurement, with_blank: Measurement
) -> None:
    check_near_truth(scene, measured)
    check_near_truth(scene, with_blank)


@pytest.mark.parametrize("blank", [False, True])
def test_pickup_is_near_the_truth_without_a_debris_file(scene: "SceneOnDisk", blank: bool) -> None:
    found = measure(scene.patch, scene.before, scene.afters, blank=scene.blank if blank else None)
    check_near_truth(scene, found)


def test_the_record_holds_what_was_given_and_found(scene: "SceneOnDisk", measured: Measurement) -> None:
    assert [shot.name for shot in measured.shots] == ["before", "after"]
    assert [shot.file for shot in measured.shots] == ["before.jpg", "after.jpg"]
    assert all(len(shot.sha256) == 64 for shot in measured.shots)
    assert measured.shots[0].markers_seen == tuple(m.id for m in read_patch(scene.patch).markers)
    assert [kind.name for kind in measured.kinds] == ["red lentils"]
    for shot in measured.shots:
        assert shot.floor_view.shape == (*measured.grid.shape, 3)
        assert shot.kind_map.shape == measured.grid.shape
        assert set(np.unique(shot.kind_map)) == {0, 1}
    assert measured.pickup_percent == measured.passes[-1].zones["patch"].pickup_percent
    assert set(measured.passes[0].zones) == {"patch", *measured.patch.zone_names()}
    red, green, blue = measured.kinds[0].color_srgb
    assert red > green > blue


def test_with_one_kind_its_figures_are_those_of_the_whole(measured: Measurement) -> None:
    assert measured.passes[0].kinds["red lentils"] == measured.passes[0].zones


def test_grains_are_found_where_they_lie(scene: "SceneOnDisk", measured: Measurement) -> None:
    """Against the scene's own list of grains, for those whose neighbour is more than a grain away."""
    truth = np.genfromtxt(scene.folder / "particles.csv", delimiter=",", names=True, dtype=None, encoding="utf-8")
    there = np.stack([truth["x_mm"], truth["y_mm"]], axis=-1)
    between = np.hypot(*(there[:, None] - there[None]).transpose(2, 0, 1)) + 99 * np.eye(len(there))
    alone = there[between.min(axis=1) > 8]
    assert len(alone) > 80
    before = measured.shots[0].grains
    found = np.stack([before.x_mm, before.y_mm], axis=-1)
    nearest = np.hypot(*(alone[:, None] - found[None]).transpose(2, 0, 1)).min(axis=1)
    # A grain stands 2 mm above the floor and shades one side of itself.
    assert np.median(nearest) < 0.3
    assert (nearest < 1.5).mean() > 0.97


def test_photos_taken_from_the_other_side_give_the_same_figures(scene: "SceneOnDisk", measured: Measurement) -> None:
    turned = [np.ascontiguousarray(pixels_of(file)[::-1, ::-1]) for file in (scene.before, *scene.afters)]
    found = measure(scene.patch, turned[0], turned[1:], debris=scene.debris)
    # Arrays have no file; that they give a file's very figures is told in test_count.py.
    assert [(shot.file, shot.sha256) for shot in found.shots] == [("", ""), ("", "")]
    for zone, pickup in zone_pickups(measured).items():
        if pickup is None:
            assert zone_pickups(found)[zone] is None
        else:
            assert zone_pickups(found)[zone] == pytest.approx(pickup, abs=1.0 if zone == "corner" else 0.3)


def test_a_blank_changes_the_pickup_little(measured: Measurement, with_blank: Measurement) -> None:
    assert [shot.name for shot in with_blank.shots] == ["blank", "before", "after"]
    assert with_blank.pickup_percent == pytest.approx(measured.pickup_percent, abs=1.5)
    # Next to nothing on the blank itself passes for debris.
    assert with_blank.shots[0].grains.area_mm2.sum() < 0.01 * with_blank.shots[1].grains.area_mm2.sum()


def test_a_blank_given_as_a_further_pass_is_all_picked_up(scene: "SceneOnDisk") -> None:
    """Clean floor after the second pass: 100 %, and the first pass keeps its figure."""
    found = measure(scene.patch, scene.before, [*scene.afters, scene.blank], debris=scene.debris)
    assert [shot.name for shot in found.shots] == ["before", "after", "after2"]
    assert [figures.number for figures in found.passes] == [1, 2]
    assert found.passes[0].zones["patch"].pickup_percent == pytest.approx(true_zones(scene)["patch"], abs=1.5)
    assert found.passes[1].zones["patch"].pickup_percent == pytest.approx(100, abs=1.5)


def test_exchanged_photos_are_noticed(scene: "SceneOnDisk") -> None:
    with pytest.raises(
        ShotOrderError,
        match=r"before\.jpg: shows more debris than after\.jpg in every zone\. Are the two exchanged\? "
        r"If debris did grow, say so with --allow-growth \(allow_growth=True\)\.",
    ):
        measure(scene.patch, scene.afters[0], [scene.before], debris=scene.debris)


def test_growth_is_measured_when_it_is_meant(scene: "SceneOnDisk") -> None:
    found = measure(scene.patch, scene.afters[0], [scene.before], debris=scene.debris, allow_growth=True)
    assert found.pickup_percent is not None
    # By hand: the truth's 71.4 % picked up means 3.5 times as much the other way round.
    assert found.pickup_percent == pytest.approx(100 * (1 - 1 / (1 - 0.714)), rel=0.1)
    assert any("more debris than before in" in warning for warning in found.warnings)


@pytest.fixture(scope="module")
def swept(make_scene: "Callable[..., SceneOnDisk]") -> "SceneOnDisk":
    """A scene whose one pass leaves nothing: *blank* and *after* are two photos of the same clean floor."""
    all_of_it = Cleaning(
        pitch_mm=100, width_mm=110, pickup=1, edge_pickup=1, corner_pickup=1, displaced_share=0, flung_share=0
    )
    return make_scene(passes=(all_of_it,))


def test_a_swept_floor_is_a_pickup_of_all_but_not_promised_to_be_quite_clean(swept: "SceneOnDisk") -> None:
    """More than 9x percent where the blank or the mirror of the floor shows what may hide; never 100."""
    with_blank = measure(swept.patch, swept.before, swept.afters, blank=swept.blank, debris=swept.debris)
    without = measure(swept.patch, swept.before, swept.afters, debris=swept.debris)
    assert without.pickup_percent == pytest.approx(100, abs=0.5)
    for found, names in ((with_blank, ("patch", "open", "edge")), (without, ("open", "edge"))):
        for zone in (found.passes[0].zones[name] for name in names):
            assert zone.more_than_percent is not None
            assert 95 < zone.more_than_percent < 100
            assert zone.interval95 is not None
            assert zone.interval95[0] <= zone.more_than_percent


def test_ordinary_leftovers_are_a_figure_of_their_own(measured: Measurement) -> None:
    zones = measured.passes[0].zones
    assert all(zone.more_than_percent is None for zone in zones.values())
    # Less than three lentils of 20 mm² would be missed.
    assert all(zone.limit_mm2 is not None and 0 < zone.limit_mm2 < 60 for zone in zones.values())


def test_two_photos_of_clean_floor_show_no_debris(swept: "SceneOnDisk") -> None:
    with pytest.raises(NoDebrisError, match=r"before: nothing differs from the later photo, so no debris is seen\."):
        measure(swept.patch, swept.blank, swept.afters)


NOTHING = r"blank\.jpg: shows no debris in the patch, so no share of it can be given\. Is it the photo taken after scat"


def test_clean_floor_shows_none_of_the_debris_that_is_named(swept: "SceneOnDisk") -> None:
    with pytest.raises(NoDebrisError, match=NOTHING):
        measure(swept.patch, swept.blank, swept.afters, debris=swept.debris)


def test_clean_floor_shows_none_of_a_debris_unlike_it(swept: "SceneOnDisk") -> None:
    with pytest.raises(NoDebrisError, match=NOTHING):
        measure(swept.patch, swept.blank, swept.afters, debris=[BLUE])


def test_too_few_markers_are_named(scene: "SceneOnDisk") -> None:
    ids = [m.id for m in read_patch(scene.patch).markers]
    hidden = ids[: len(ids) - 2]
    seen, missing = (", ".join(str(i) for i in sorted(some)) for some in (ids[len(ids) - 2 :], hidden))
    covered = without_markers(pixels_of(scene.before), *hidden)
    with pytest.raises(
        MarkerError,
        match=rf"before: found 2 of the patch's {len(ids)} markers \(seen: {seen}; missing: {missing}\)\. "
        r"At least three must be in the photo, whole and uncovered; retake it with all of them in view\.",
    ):
        measure(scene.patch, covered, scene.afters, debris=scene.debris)


def test_a_photo_of_two_thirds_of_the_patch_is_not_passed_over_in_silence(scene: "SceneOnDisk") -> None:
    """Three markers are in it, so it registers; but a third of the patch is not."""
    cut = np.ascontiguousarray(pixels_of(scene.before)[:, 410:])
    with pytest.raises(
        PhotoUnfitError, match=r"before: shows only \d+ % of the patch; the rest lies outside the picture"
    ):
        measure(scene.patch, cut, scene.afters, debris=scene.debris)


def test_one_marker_less_changes_little(scene: "SceneOnDisk", measured: Measurement) -> None:
    first = read_patch(scene.patch).markers[0].id
    covered = without_markers(pixels_of(scene.before), first)
    found = measure(scene.patch, covered, scene.afters, debris=scene.debris)
    assert first not in found.shots[0].markers_seen
    assert first in found.shots[1].markers_seen
    assert found.pickup_percent == pytest.approx(measured.pickup_percent, abs=0.5)


def test_the_patch_file_of_another_bench_is_refused(scene: "SceneOnDisk") -> None:
    patch = read_patch(scene.patch)
    first, second, *others = patch.markers
    exchanged = (Marker(first.id, second.center_mm, first.side_mm), Marker(second.id, first.center_mm, second.side_mm))
    wrong = replace(patch, markers=(*exchanged, *others))
    with pytest.raises(
        MarkerError,
        match=r"before\.jpg: the markers do not lie as the patch file says; marker \d+ is off by \d+ mm, or the others are\. "
        rf"Is it a photo of patch '{patch.name}'\? Measure the markers' places again\.",
    ):
        measure(wrong, scene.before, scene.afters, debris=scene.debris)


def test_photos_of_another_floor_are_refused(scene: "SceneOnDisk", make_scene: "Callable[..., SceneOnDisk]") -> None:
    other = make_scene(floor=Floor("terrazzo"), seed=2)
    with pytest.raises(
        PhotosDifferError,
        match=r"before\.jpg: shows another floor than the other photos of the run \(their texture does not agree\)\. "
        r"Give photos of one patch taken in one session\.",
    ):
        measure(scene.patch, other.before, scene.afters, debris=scene.debris)


def test_a_run_without_an_after_is_a_programmers_mistake(scene: "SceneOnDisk") -> None:
    with pytest.raises(ValueError, match="afters must hold at least one photo"):
        measure(scene.patch, scene.before, [])


def test_a_kind_that_was_not_scattered_is_told_in_a_warning(scene: "SceneOnDisk") -> None:
    found = measure(scene.patch, scene.before, scene.afters, debris=[*scene.debris, BLUE])
    assert any("no blue beads was found" in warning for warning in found.warnings)
    assert found.pickup_percent == pytest.approx(true_zones(scene)["patch"], abs=1.5)
    nothing = found.passes[0].kinds["blue beads"]["patch"]
    assert nothing.before.area_mm2 < 0.01 * found.passes[0].zones["patch"].before.area_mm2


@pytest.mark.usefixtures("measured")
def test_progress_rises_from_reading_to_done(told: list[tuple[float, str]]) -> None:
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1
    assert told[0][1] == "reading photos"
    assert told[-1][1] == "done"


def test_a_blurred_photo_is_the_reason_and_not_its_symptoms(scene: "SceneOnDisk") -> None:
    blurred = cv2.GaussianBlur(pixels_of(scene.before), (0, 0), 2.45).astype(np.uint8)
    found = measure(scene.patch, blurred, scene.afters, blank=scene.blank, debris=scene.debris)
    faults = [(flag.code, flag.shot) for flag in found.flags if flag.severity == "unfit"]
    assert faults == [("blurred", "before")]
    assert not {"markers-off", "places-uncertain"} & {flag.code for flag in found.flags}
    patch = found.passes[0].zones["patch"]
    assert patch.trust != "sound"
    assert patch.trust == "not measurable" or patch.why == "before is blurred"


def test_a_good_run_is_sound_and_says_nothing(measured: Measurement) -> None:
    patch = measured.passes[0].zones["patch"]
    assert patch.interval95 is not None
    assert (patch.trust, patch.why) == ("sound", "")
    assert measured.flags == ()


def test_floor_that_a_foreign_thing_hides_is_left_out_of_all_shots(scene: "SceneOnDisk", measured: Measurement) -> None:
    after = pixels_of(scene.afters[0]).copy()
    height, width = after.shape[:2]
    after[height // 2 - 41 : height // 2 + 41, width // 2 - 57 : width // 2 + 57] = (40, 42, 45)
    found = measure(scene.patch, scene.before, after, blank=scene.blank, debris=scene.debris)
    assert [(f.code, f.shot) for f in found.flags if f.code == "foreign-thing"] == [("foreign-thing", "after")]
    before, other = found.shots[1], measured.shots[0]
    thing = (found.shots[2].floor_view.max(axis=-1) < 60) & (before.floor_view.min(axis=-1) > 60)
    assert thing.sum() > 3300
    assert (other.kind_map[thing] > 0).any()
    assert not before.kind_map[thing].any()
    assert found.passes[0].zones["open"].before.area_mm2 < measured.passes[0].zones["open"].before.area_mm2
    assert found.pickup_percent == pytest.approx(true_zones(scene)["patch"], abs=2.5)
    assert found.passes[0].zones["patch"].trust == "doubtful"
