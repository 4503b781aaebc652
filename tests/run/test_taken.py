"""What photos say of themselves on its way through a run: how they were taken, what is odd, and what nobody is to see."""

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pillow_heif
import pytest
from PIL import Image, TiffImagePlugin

from debriscount.errors import PhotoFileError
from debriscount.inputs.debris import DebrisKind
from debriscount.photo.settings import UNKNOWN_SETTINGS, CameraSettings
from debriscount.report.count import write_counts
from debriscount.report.write import write_measurement
from debriscount.run.count import count
from debriscount.run.measure import measure
from debriscount.run.records import Counted, Measurement
from debriscount.simulate.spec import Portion

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

Rational = TiffImagePlugin.IFDRational
SECRETS = ("Maker of cameras", "Model 7", "The artist", "SN-0815", "J. Owner", "a comment of mine")
ISO_DIFFERS = (
    "sensitivity differs between the shots (before ISO 100, after ISO 200); fix the exposure for all shots of a run"
)


def with_exif(source: Path, target: Path, iso: int) -> Path:
    """The same picture, not coded anew, with all that a phone writes beside it."""
    block = Image.Exif()
    block[0x010F], block[0x0110], block[0x013B] = SECRETS[:3]
    block.get_ifd(0x8825).update({1: "N", 2: (Rational(48), Rational(8), Rational(15)), 3: "E"})
    block.get_ifd(0x8769).update(
        {0x8827: iso, 0x829A: Rational(1, 60), 0x9003: "2026:05:01 10:30:00", 0xA431: SECRETS[3], 0xA430: SECRETS[4]}
    )
    with Image.open(source) as image:
        image.save(
            target, quality="keep", exif=block, comment=SECRETS[5].encode(), xmp=b"<x:xmpmeta>48.137</x:xmpmeta>"
        )
    return target


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, scene: "SceneOnDisk") -> Path:
    folder = tmp_path_factory.mktemp("taken")
    with_exif(scene.before, folder / "before.jpg", 100)
    with_exif(scene.afters[0], folder / "after.jpg", 200)
    return folder


@pytest.fixture(scope="module")
def measured(scene: "SceneOnDisk", folder: Path) -> Measurement:
    return measure(scene.patch, folder / "before.jpg", folder / "after.jpg", debris=scene.debris)


@pytest.fixture(scope="module")
def counted(scene: "SceneOnDisk", folder: Path) -> Counted:
    return count(folder / "after.jpg", patch=scene.patch, blank=folder / "before.jpg", debris=scene.debris)


TAKEN = CameraSettings(taken="2026-05-01T10:30:00", exposure_s=1 / 60, iso=100.0)


def test_the_shots_of_a_run_say_how_they_were_taken(measured: Measurement) -> None:
    assert [shot.settings for shot in measured.shots] == [TAKEN, replace(TAKEN, iso=200.0)]
    assert ISO_DIFFERS in measured.warnings


def test_a_counted_photo_and_its_blank_do_too(counted: Counted) -> None:
    assert (counted.settings, counted.blank_settings) == (replace(TAKEN, iso=200.0), TAKEN)
    assert (
        "sensitivity differs between the shots (blank ISO 100, photo ISO 200); fix the exposure for all shots of a run"
        in (counted.warnings)
    )


def segments(content: bytes) -> set[int]:
    """Markers of the segments before a JPEG's coded data."""
    found, at = set(), 2
    while content[at + 1] != 0xDA:
        found.add(content[at + 1])
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return found


def looked_over(files: list[Path]) -> None:
    for file in files:
        content = file.read_bytes()
        for secret in (*SECRETS, "48.137", "Exif", "http://ns.", "<x:xmpmeta"):
            assert secret.encode() not in content
        if file.suffix == ".jpg":
            assert not {0xE1, 0xED} & segments(content)  # EXIF and XMP; IPTC
            with Image.open(file) as image:
                assert not image.getexif()
                assert not {"exif", "xmp", "icc_profile"} & set(image.info)
                assert image.info["comment"] == b"debriscount overlay"


def test_what_a_run_writes_tells_how_but_not_who_where_or_with_what(measured: Measurement, tmp_path: Path) -> None:
    written = write_measurement(measured, tmp_path / "out")
    assert {file.suffix for file in written} >= {".jpg", ".json", ".csv"}
    looked_over(written)
    record = json.loads((tmp_path / "out" / "measurement.json").read_text(encoding="utf-8"))
    assert record["photos"]["before"]["taken"] == "2026-05-01T10:30:00"
    assert record["photos"]["after"]["camera"] == {
        "exposure_s": pytest.approx(1 / 60), "f_number": None, "iso": 200.0, "focal_mm": None, "focal_35mm": None,
        "exposure_bias_ev": None, "white_balance": None, "flash": None,
    }  # fmt: skip


def test_nor_does_what_counting_writes(counted: Counted, tmp_path: Path) -> None:
    written = write_counts([counted], tmp_path / "out")
    looked_over(written)
    (photo,) = json.loads((tmp_path / "out" / "count.json").read_text(encoding="utf-8"))["photos"]
    assert (photo["taken"], photo["camera"]["iso"]) == ("2026-05-01T10:30:00", 200.0)
    assert photo["blank"]["camera"]["iso"] == 100.0


@pytest.mark.slow
def test_a_run_of_heic_photos_comes_out_as_that_of_jpegs(
    scene: "SceneOnDisk", measured: Measurement, tmp_path: Path
) -> None:
    files = []
    for source in (scene.before, scene.afters[0]):
        with Image.open(source) as image:
            files.append(tmp_path / f"{source.stem}.heic")
            pillow_heif.from_pillow(image).save(files[-1], quality=90)
    found = measure(scene.patch, *files, debris=scene.debris)
    assert found.pickup_percent == pytest.approx(measured.pickup_percent, abs=0.7)
    assert [shot.file for shot in found.shots] == ["before.heic", "after.heic"]
    assert all(shot.settings == UNKNOWN_SETTINGS for shot in found.shots)


def test_a_photos_own_warning_is_told_with_its_shots_name(scene: "SceneOnDisk", tmp_path: Path) -> None:
    with Image.open(scene.afters[0]) as image:
        image.save(tmp_path / "after.jpg", quality="keep", icc_profile=b"no profile")
    region: dict[str, Any] = {"mm_per_px": 0.45, "region": (300, 300, 200, 200), "debris": scene.debris}
    found = count(tmp_path / "after.jpg", **region)
    assert (
        "photo: its colour profile is damaged and was ignored; if the colours look wrong, export the photo as sRGB"
        in found.warnings
    )


def test_the_limit_of_megapixels_reaches_every_photo(scene: "SceneOnDisk") -> None:
    message = r"{}\.jpg: has \d+ x \d+ px, more than 0\.5 megapixels\. Give the photo as the camera made it, or raise"
    with pytest.raises(PhotoFileError, match=message.format("before")):
        measure(scene.patch, scene.before, scene.afters, most_megapixels=0.5)
    with pytest.raises(PhotoFileError, match=message.format("blank")):
        count(scene.before, mm_per_px=1, blank=scene.blank, most_megapixels=0.5)


@pytest.mark.slow
def test_one_grey_photo_has_all_measured_on_lightness(make_scene: Any, tmp_path: Path) -> None:
    dark = DebrisKind("dark beans", (60, 40, 35), (4.4, 5.6))
    scene = make_scene(portions=(Portion(dark, cover_share=0.05),))
    with Image.open(scene.afters[0]) as image:  # lightness by ITU-R BT.601, as cameras and Pillow have it
        image.convert("L").save(tmp_path / "after.jpg", quality=92)
    found = measure(scene.patch, scene.before, tmp_path / "after.jpg", debris=scene.debris, blank=scene.blank)
    truth = json.loads((scene.folder / "truth.json").read_text(encoding="utf-8"))["passes"][0]["zones"]["patch"]
    assert found.pickup_percent == pytest.approx(truth["pickup_by_area_percent"], abs=1.5)
    (colour,) = (kind.color_srgb for kind in found.kinds)
    assert max(colour) - min(colour) <= 1
    for shot in found.shots:
        assert (shot.floor_view == shot.floor_view[..., :1]).all()
    assert (
        "after: shows no colour, so that all shots are measured by lightness alone, and debris as light as the "
        "floor is not seen; take all photos in colour" in found.warnings
    )
