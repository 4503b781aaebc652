"""Whole shots: rendered, spoilt in one way each, and checked."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import PhotoFileError, ShotOptionsError
from debriscount.inputs.debris import DebrisKind
from debriscount.photo.read import Photo, photo_from_array, read_photo
from debriscount.shot_check.files import shot_check
from debriscount.shot_check.records import Fitness
from debriscount.shot_check.shot import check_shot
from debriscount.simulate.spec import Camera, Imaging

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

Spoil = Callable[[NDArray[np.uint8]], NDArray[np.uint8]]


def kind(scene: "SceneOnDisk") -> DebrisKind:
    return scene.scene.spec.portions[0].kind


def names(fitness: Fitness) -> list[str]:
    return [finding.name for finding in fitness.faults]


def spoilt(scene: "SceneOnDisk", spoil: Spoil) -> Photo:
    return photo_from_array(spoil(scene.scene.pixels("before").copy()), "before.jpg")


def checked(scene: "SceneOnDisk", spoil: Spoil, want_percent: float = 1.0) -> Fitness:
    return check_shot(
        spoilt(scene, spoil),
        scene.scene.spec.patch,
        [kind(scene)],
        against=read_photo(scene.blank),
        want_percent=want_percent,
    )


def test_a_good_shot_is_fit(scene: "SceneOnDisk") -> None:
    check = shot_check(scene.patch, scene.debris)
    assert check.check(scene.blank).fit
    against = shot_check(scene.patch, scene.debris, against=scene.blank)
    for photo in (scene.before, *scene.afters):
        fitness = against.check(photo)
        assert fitness.fit, fitness.faults
        assert fitness.against == "blank.jpg"


def test_every_finding_says_where_its_limit_comes_from(scene: "SceneOnDisk") -> None:
    fitness = shot_check(scene.patch, scene.debris, against=scene.blank).check(scene.before)
    assert len(fitness.findings) > 12
    assert all(finding.reason for finding in fitness.findings)


def test_a_blurred_shot_is_not_fit(scene: "SceneOnDisk") -> None:
    fitness = checked(scene, lambda p: np.asarray(cv2.GaussianBlur(p, (0, 0), 2.05), np.uint8))
    assert "edge spread" in names(fitness)


def test_burnt_out_floor_is_not_fit(scene: "SceneOnDisk") -> None:
    def burn(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
        cv2.circle(p, (p.shape[1] // 2, p.shape[0] // 2), 98, (255, 255, 255), -1)
        return p

    assert "floor burnt out" in names(checked(scene, burn))


def test_a_foot_in_the_patch_is_found(scene: "SceneOnDisk") -> None:
    def stand(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
        cv2.ellipse(p, (p.shape[1] // 2, p.shape[0] // 2), (131, 57), 30, 0, 360, (25, 25, 30), -1)
        return p

    fitness = checked(scene, stand)
    assert "shadow, foot or reflection" in names(fitness)


def test_a_hard_shadow_is_found(scene: "SceneOnDisk") -> None:
    def shade(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
        p[:, : p.shape[1] // 2] = (0.72 * p[:, : p.shape[1] // 2]).astype(np.uint8)
        return p

    assert "shadow, foot or reflection" in names(checked(scene, shade))


def test_a_covered_marker_is_named_and_two_are_too_many(scene: "SceneOnDisk") -> None:
    pose = scene.scene.truth.poses["before"]
    markers = scene.scene.spec.patch.markers

    def cover(*numbers: int) -> Spoil:
        def spoil(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
            for number in numbers:
                x, y = pose.view.project(np.array([markers[number].center_mm]))[0]
                cv2.circle(p, (round(x), round(y)), 49, (90, 60, 40), -1)
            return p

        return spoil

    one = checked(scene, cover(0))
    assert one.fit
    assert any("Marker 0 is not seen" in finding.advice for finding in one.findings)
    two = checked(scene, cover(0, 1))
    assert names(two) == ["markers seen"]
    assert "found 2 of the patch's 4 markers" in two.faults[0].advice


def test_a_photo_that_cuts_the_patch_is_not_fit(scene: "SceneOnDisk") -> None:
    def cut(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
        return np.ascontiguousarray(p[:, 245:])

    assert not checked(scene, cut).fit


def test_a_tilted_view_is_not_fit(make_scene: Callable[..., "SceneOnDisk"]) -> None:
    made = make_scene(camera=Camera(megapixels=1.0, tilt_deg=37), passes=())
    fitness = shot_check(made.patch, made.debris).check(made.before)
    assert "slant of the view" in names(fitness)


def test_fine_debris_far_away_is_not_fit(scene: "SceneOnDisk") -> None:
    sand = replace(kind(scene), name="sand", size_mm=(0.3, 0.6))
    fitness = check_shot(read_photo(scene.before), scene.scene.spec.patch, [sand])
    assert "finest debris" in names(fitness)


def test_strong_compression_is_not_fit(make_scene: Callable[..., "SceneOnDisk"]) -> None:
    made = make_scene(imaging=Imaging(jpeg_quality=8), passes=())
    fitness = shot_check(made.patch, made.debris).check(made.before)
    assert any(name.startswith("JPEG rounding") for name in names(fitness))


def test_less_accuracy_may_be_wanted(scene: "SceneOnDisk") -> None:
    def soften(p: NDArray[np.uint8]) -> NDArray[np.uint8]:
        return np.asarray(cv2.GaussianBlur(p, (0, 0), 0.95), np.uint8)

    assert not checked(scene, soften, want_percent=0.2).fit
    assert checked(scene, soften, want_percent=10.0).fit


@pytest.mark.parametrize("want", [0.0, -1.0, 101.0, float("nan")])
def test_an_accuracy_that_cannot_be_is_refused(scene: "SceneOnDisk", want: float) -> None:
    with pytest.raises(ShotOptionsError, match=r"--want must be above 0 and at most 100 points, got"):
        shot_check(scene.patch, want_percent=want)


def test_a_file_that_is_no_photo_is_refused(scene: "SceneOnDisk") -> None:
    with pytest.raises(PhotoFileError, match="no photo that can be read"):
        shot_check(scene.patch).check(scene.patch)


def test_one_photo_given_twice_is_not_fit_whatever_its_name(scene: "SceneOnDisk") -> None:
    blank = read_photo(scene.blank)
    twice = check_shot(replace(blank, name="copy.jpg"), scene.scene.spec.patch, [kind(scene)], against=blank)
    assert [fault.code for fault in twice.faults] == ["same-photo"]
    assert twice.faults[0].advice == "This is the same picture as blank.jpg: give another shot of the run."
