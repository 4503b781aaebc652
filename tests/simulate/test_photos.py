from dataclasses import replace

import numpy as np
import pytest

from debriscount.photo.colour import linear_pixels
from debriscount.simulate.develop import add_noise, decode_jpeg, develop, encode_jpeg
from debriscount.simulate.options import scene_spec
from debriscount.simulate.scene import clean_floor, make_scene, shot_light
from debriscount.simulate.spec import FLOORS, Floor, Imaging, SceneSpec
from debriscount.simulate.truth import draw_truth


def small(**options: object) -> SceneSpec:
    return scene_spec(megapixels=0.4, patch_mm="300x200", **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", FLOORS)
def test_a_floor_has_its_colour_and_a_texture(kind: str) -> None:
    spec = small(floor=kind, floor_color="#a08060")
    raster, _ = clean_floor(spec, draw_truth(spec))
    middle = np.median(raster.reshape(-1, 3), axis=0)
    asked = linear_pixels(np.array([[[160, 128, 96]]], np.uint8))[0, 0]
    assert middle == pytest.approx(asked, rel=0.25)
    assert raster[..., 1].std() > 0.01 * middle[1]
    assert (raster >= 0).all()
    assert (raster <= 1).all()


def test_terrazzo_may_have_specks_of_the_debris_colour() -> None:
    spec = small(floor="terrazzo", color="#ff0000", size_mm="4")
    alike, unlike = (
        clean_floor(replace(spec, floor=Floor("terrazzo", debris_specks=share)), draw_truth(spec))[0]
        for share in (0.5, 0.0)
    )
    red = [((r[..., 0] > 0.6) & (r[..., 1] < 0.2)).mean() for r in (alike, unlike)]
    assert red[0] > 0.01
    assert red[1] == 0


def test_contrast_nought_is_one_colour() -> None:
    spec = small(floor="plain", contrast=0.0)
    raster, _ = clean_floor(spec, draw_truth(spec))
    assert np.ptp(raster[..., 0]) < 1e-6


def test_a_wall_hides_the_floor_behind_it_and_nothing_before_it() -> None:
    walled, free = small(walls=("top",)), small()
    free = replace(free, patch=replace(walled.patch, walls=()))
    truths = [draw_truth(spec) for spec in (walled, free)]
    # The same camera for both, since a wall changes what must be seen.
    truths[1] = replace(truths[1], poses=truths[0].poses)
    floor = clean_floor(free, truths[1])
    blanks = [shot_light(spec, truth, "blank", *floor) for spec, truth in zip((walled, free), truths, strict=True)]
    pose = truths[0].poses["blank"]
    y = pose.refine(pose.coarse_floor_mm()[..., 1])
    # Far from the wall even the light that it takes is no longer missing.
    assert np.abs(blanks[0] / blanks[1] - 1)[y > 170].max() < 0.01
    # At its foot it takes the share of light that the scene says.
    foot = np.median((blanks[0] / blanks[1])[(y > 0) & (y < 3)])
    assert foot == pytest.approx(1 - walled.light.wall_shade, abs=0.02)
    assert (np.abs(blanks[0] - blanks[1])[y < -2].max(axis=1) > 0.01).mean() > 0.9


def test_noise_has_the_variance_asked_for() -> None:
    imaging = Imaging(full_well=1000.0, read=10.0)
    light = np.full((200, 200, 3), 0.4, np.float32)
    noisy = add_noise(light, imaging, np.random.default_rng(0))
    assert noisy.mean() == pytest.approx(0.4, abs=1e-3)
    assert noisy.var() == pytest.approx(0.4 / 1000 + 1e-4, rel=0.03)


@pytest.mark.parametrize("bayer", [False, True])
def test_a_grey_field_stays_as_light_as_it_is(bayer: bool) -> None:
    light = np.full((120, 160, 3), 0.3, np.float32) * np.array([0.9, 1.0, 0.7], np.float32)
    expected = light[60, 80].copy()
    pixels = develop(light, Imaging(bayer=bayer), np.random.default_rng(1))
    assert linear_pixels(pixels)[10:-10, 10:-10].mean(axis=(0, 1)) == pytest.approx(expected, rel=0.01)


def test_colour_is_halved_in_a_420_file() -> None:
    pixels = np.zeros((64, 64, 3), np.uint8)
    pixels[:, ::2] = (255, 0, 0)
    full, half = (decode_jpeg(encode_jpeg(pixels, Imaging(jpeg_quality=98, chroma_420=c))) for c in (False, True))
    assert np.abs(full.astype(int) - pixels).mean() < 5
    assert np.abs(half.astype(int) - pixels).mean() > 20


def test_bytes_that_are_no_jpeg_are_refused() -> None:
    with pytest.raises(ValueError, match="the bytes are no JPEG"):
        decode_jpeg(b"no")


def test_a_glossy_floor_mirrors_a_lamp() -> None:
    spec = small()
    dull, glossy = (
        make_scene(replace(spec, floor=replace(spec.floor, gloss=gloss))).pixels("blank").astype(int)
        for gloss in (0, 1)
    )
    assert (glossy - dull).max() > 50
    assert np.percentile(glossy - dull, 5) < 8


def test_passes_make_shots() -> None:
    spec = small(passes=2)
    assert spec.shot_names == ("blank", "before", "after", "after2")
    assert replace(spec, blank=False, passes=()).shot_names == ("before",)
