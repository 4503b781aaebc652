"""Measuring and counting with a lens file."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import debriscount
from debriscount.errors import CountOptionsError, InputFileError, LensError
from debriscount.inputs.lens import CameraLens, LensCalibration
from debriscount.inputs.lens_file import write_lens

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk
else:
    SceneOnDisk = Any


@pytest.fixture
def lens(scene: SceneOnDisk) -> CameraLens:
    pose = scene.scene.truth.poses["before"]
    true = pose.view.lens
    return CameraLens(
        name="simulated",
        size_px=pose.size_px,
        focal_px=true.focal_px,
        center_px=true.center_px,
        radial=true.radial,
        tangential=true.tangential,
    )


def test_a_photo_is_counted_with_the_cameras_lens(scene: SceneOnDisk, lens: CameraLens, tmp_path: Path) -> None:
    file = write_lens(lens, tmp_path / "lens.toml")
    by_file = debriscount.count(scene.before, patch=scene.patch, debris=scene.debris, lens=file)
    given = debriscount.count(scene.before, patch=scene.patch, debris=scene.debris, lens=lens)
    assert by_file.zones == given.zones
    truth = scene.scene.truth.amounts(0)["patch"].grains
    assert given.zones["patch"].grains == pytest.approx(truth, rel=0.05)
    assert not [warning for warning in given.warnings if "lens" in warning]


def test_a_lens_without_a_patch_is_refused(scene: SceneOnDisk, lens: CameraLens) -> None:
    with pytest.raises(CountOptionsError, match=r"a lens goes with a patch file \(--patch\)"):
        debriscount.count(scene.before, mm_per_px=0.5, lens=lens)


def test_a_lens_of_another_frame_is_refused(scene: SceneOnDisk, lens: CameraLens) -> None:
    wide = replace(lens, size_px=(lens.size_px[0], lens.size_px[1] * 9 // 12))
    with pytest.raises(
        LensError, match=r'blank\.jpg: has .* is not an enlarged or reduced copy of the .* of lens "simulated"'
    ):
        debriscount.measure(scene.patch, scene.before, scene.afters, blank=scene.blank, lens=wide)


def test_a_lens_file_that_is_missing_is_told_before_photos_are_read(scene: SceneOnDisk, tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"none\.toml: there is no such file\. Give the path of the lens file\."):
        debriscount.measure(scene.patch, tmp_path / "no.jpg", tmp_path / "no.jpg", lens=tmp_path / "none.toml")


def test_a_lens_file_that_is_not_usable_is_a_warning(scene: SceneOnDisk, lens: CameraLens) -> None:
    poor = LensCalibration(
        date="2026-11-25",
        photos=3,
        rms_px=2.0,
        coverage_percent=20.0,
        reach_percent=50.0,
        verdict="not usable",
        reasons=("only 3 photos",),
        u_focal_px=(1, 1),
        u_center_px=(1, 1),
        u_radial=(1, 1, 1),
        u_tangential=(1, 1),
    )
    counted = debriscount.count(
        scene.before, patch=scene.patch, debris=scene.debris, lens=replace(lens, calibration=poor)
    )
    assert 'lens "simulated" is not usable, as its file says: only 3 photos' in counted.warnings
