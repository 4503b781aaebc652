import json
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import CountOptionsError, MarkerError, PhotoFileError, PhotosDifferError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch_file import read_patch
from debriscount.photo.read import read_photo
from debriscount.registration.resample import FINE_ENOUGH_ALONE_PX
from debriscount.run.count import count
from debriscount.run.records import Counted
from debriscount.simulate.spec import Camera, Floor

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

RED = DebrisKind("red discs", (200, 60, 40), (1.9, 2.1), area_mass_mg_per_mm2=2.0)
BLUE = DebrisKind("blue discs", (40, 60, 200), (1.9, 2.1))
GREY = (190, 188, 182)
MM_PER_PX = 0.1
FINER = 8


def discs(
    places_px: list[tuple[float, float]],
    radius_px: float = 10.0,
    colors: list[tuple[int, int, int]] | None = None,
    size_px: tuple[int, int] = (400, 300),
    floor: tuple[int, int, int] = GREY,
    seed: int = 1,
) -> NDArray[np.uint8]:
    """Discs on a plain floor, drawn eight times finer and averaged, with a photo's noise of two grey levels.

    A place is in pixel edges: (0, 0) is the picture's corner.
    """
    shift = 4
    fine = np.full((size_px[1] * FINER, size_px[0] * FINER, 3), floor, np.uint8)
    for k, (x, y) in enumerate(places_px):
        color = RED.color_srgb if colors is None else colors[k]
        center = (round((x * FINER - 0.5) * 2**shift), round((y * FINER - 0.5) * 2**shift))
        cv2.circle(fine, center, round((radius_px * FINER - 0.5) * 2**shift), color, cv2.FILLED, shift=shift)
    mean = cv2.resize(fine, size_px, interpolation=cv2.INTER_AREA).astype(float)
    noisy = mean + np.random.default_rng(seed).normal(0, 2, mean.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


PLACES = [(60.0 + 70 * (k % 5), 50.0 + 60 * (k // 5)) for k in range(20)]
DISC_MM2 = np.pi * 1.0**2
CLEAN = discs([], seed=2)

#: Ways to count the same discs: with and without a blank, with and without a debris file.
WAYS: list[dict[str, Any]] = [
    {"blank": CLEAN, "debris": [RED]},
    {"blank": CLEAN},
    {"debris": [RED]},
    {},
]


@pytest.mark.parametrize("how", WAYS, ids=["blank, file", "blank", "file", "nothing"])
def test_discs_are_counted_and_measured(how: dict[str, Any]) -> None:
    """Twenty discs of 2 mm: 62.8 mm², by hand."""
    found = count(discs(PLACES), mm_per_px=MM_PER_PX, **how)
    assert set(found.zones) == {"patch"}
    assert found.zones["patch"].grains == 20
    assert found.zones["patch"].area_mm2 == pytest.approx(20 * DISC_MM2, rel=0.05)
    assert found.warnings == ()


@pytest.mark.parametrize("how", [WAYS[0], WAYS[2]], ids=["blank", "no blank"])
def test_grains_lie_where_they_were_put_in_millimetres_from_the_regions_corner(how: dict[str, Any]) -> None:
    region = (20, 30, 330, 250)
    found = count(discs(PLACES), mm_per_px=MM_PER_PX, region=region, **how)
    order = np.lexsort((np.round(found.grains.x_mm), np.round(found.grains.y_mm)))
    places = np.stack([found.grains.x_mm, found.grains.y_mm], axis=-1)[order]
    put = MM_PER_PX * (np.array([p for p in PLACES if p[0] < 350 and p[1] < 280]) - region[:2])
    np.testing.assert_allclose(places, put, atol=0.03)
    assert found.region == region
    assert found.grid.shape == (250, 330)
    assert found.floor_view.shape == (250, 330, 3)
    np.testing.assert_allclose(found.floor_view, discs(PLACES)[30:280, 20:350], atol=1)
    assert found.kind_map.shape == (250, 330)
    assert set(np.unique(found.kind_map)) == {0, 1}


def test_the_record_holds_what_was_given() -> None:
    found = count(discs(PLACES), mm_per_px=MM_PER_PX, debris=[RED], blank=CLEAN)
    assert (found.file, found.sha256, found.blank_file, found.blank_sha256) == ("", "", "", "")
    assert (found.patch, found.mm_per_px, found.region) == (None, MM_PER_PX, (0, 0, 400, 300))
    assert [kind.name for kind in found.kinds] == ["red discs"]
    red, green, blue = found.kinds[0].color_srgb
    assert (red, green, blue) == pytest.approx(RED.color_srgb, abs=6)
    assert found.by_kind == {"red discs": found.zones}


def test_mass_follows_from_area_and_is_unknown_without_the_kinds_own() -> None:
    photo = discs(PLACES)
    weighed = count(photo, mm_per_px=MM_PER_PX, debris=[RED], blank=CLEAN).zones["patch"]
    assert weighed.mass_g == pytest.approx(weighed.area_mm2 * 2.0 / 1000)
    assert count(photo, mm_per_px=MM_PER_PX, blank=CLEAN).zones["patch"].mass_g is None


@pytest.mark.parametrize("blank", [CLEAN, None], ids=["blank", "no blank"])
def test_kinds_are_told_apart(blank: NDArray[np.uint8] | None) -> None:
    colors = [RED.color_srgb if k % 4 else BLUE.color_srgb for k in range(20)]
    found = count(discs(PLACES, colors=colors), mm_per_px=MM_PER_PX, debris=[RED, BLUE], blank=blank)
    grains = {kind: zones["patch"].grains for kind, zones in found.by_kind.items()}
    assert grains == {"red discs": 15, "blue discs": 5}
    assert found.zones["patch"].grains == 20
    assert found.by_kind["blue discs"]["patch"].area_mm2 == pytest.approx(5 * DISC_MM2, rel=0.05)
    # Nothing tells the blue discs' mass, so that of all is unknown.
    assert found.by_kind["red discs"]["patch"].mass_g is not None
    assert found.zones["patch"].mass_g is None


@pytest.mark.parametrize("how", WAYS, ids=["blank, file", "blank", "file", "nothing"])
def test_a_clean_floor_holds_no_grains_and_says_so(how: dict[str, Any]) -> None:
    found = count(discs([], seed=3), mm_per_px=MM_PER_PX, **how)
    assert found.zones["patch"].grains == 0
    assert found.zones["patch"].area_mm2 == pytest.approx(0, abs=0.1 * DISC_MM2)
    expected = "no red discs was found" if "debris" in how else "nothing stands out from the floor"
    assert any(warning.startswith(expected) for warning in found.warnings)


def test_large_grains_are_looked_at_on_a_coarser_raster() -> None:
    """Discs of 190 px at 0.01 mm: the raster follows from their size, area and count do not."""
    large = discs([(140, 150), (430, 420)], 95.0, size_px=(600, 600))
    clean = discs([], size_px=(600, 600), seed=2)
    found = count(large, mm_per_px=0.01, debris=[RED], blank=clean)
    assert found.grid.mm_per_px == pytest.approx(RED.size_mm[0] / FINE_ENOUGH_ALONE_PX)
    assert found.mm_per_px == 0.01
    assert found.zones["patch"].grains == 2
    assert found.zones["patch"].area_mm2 == pytest.approx(2 * np.pi * 0.95**2, rel=0.02)


def test_large_grains_of_which_no_file_tells_too() -> None:
    large = discs([(140, 150), (430, 420)], 95.0, size_px=(600, 600))
    found = count(large, mm_per_px=0.01, blank=discs([], size_px=(600, 600), seed=2))
    assert found.grid.mm_per_px > 0.015
    assert found.zones["patch"].grains == 2
    assert found.zones["patch"].area_mm2 == pytest.approx(2 * np.pi * 0.95**2, rel=0.02)


def test_grains_that_the_border_cuts_are_told_of() -> None:
    region = (60, 30, 300, 250)  # through the middle of the first column
    found = count(discs(PLACES), mm_per_px=MM_PER_PX, region=region, debris=[RED], blank=CLEAN)
    assert found.zones["patch"].grains == 20
    assert found.warnings == (
        "4 of 20 grains touch the region's border; those that it cuts are counted with the area that is seen. "
        "Choose a region whose border runs over bare floor",
    )


def test_grains_below_a_pixel_are_told_of() -> None:
    found = count(discs(PLACES), mm_per_px=3.0, debris=[RED], blank=CLEAN)
    assert any("red discs: small grains are only 0.6 pixels across" in warning for warning in found.warnings)


def test_patch_and_scale_exclude_one_another(scene: "SceneOnDisk") -> None:
    message = (
        r"^a photo is counted with a patch file \(--patch\) or, if it shows no markers, with its scale "
        r"\(--mm-per-px\); got {}\.$"
    )
    with pytest.raises(CountOptionsError, match=message.format("both")):
        count(scene.before, patch=scene.patch, mm_per_px=0.1)
    with pytest.raises(CountOptionsError, match=message.format("neither of them")):
        count(scene.before)


def test_a_region_goes_with_a_scale(scene: "SceneOnDisk") -> None:
    with pytest.raises(
        CountOptionsError, match=r"^a region goes with the scale of a photo without markers \(--mm-per-px\)\."
    ):
        count(scene.before, patch=scene.patch, region=(0, 0, 100, 100))


@pytest.mark.parametrize("scale", [0.0, -0.1, float("nan"), float("inf"), 1e9, 1e-9])
def test_a_scale_that_is_none_is_refused(scale: float) -> None:
    with pytest.raises(
        CountOptionsError, match=rf"^mm_per_px must be a number from 1e-06 to 1000, got {re.escape(f'{scale:g}')}\. "
    ):
        count(CLEAN, mm_per_px=scale)


def test_a_scale_at_which_no_grain_fits_is_refused() -> None:
    with pytest.raises(
        CountOptionsError,
        match=r"^at 1e-06 mm per pixel the region is 0\.0003 mm across, less than a grain of red discs\. "
        r"Check the scale: millimetres of floor that a pixel of the photo spans\.$",
    ):
        count(CLEAN, mm_per_px=1e-6, debris=[RED])


def test_a_region_beyond_the_photo_is_refused() -> None:
    with pytest.raises(
        CountOptionsError, match=r"^region 300,0,200,100: reaches beyond photo, which is 400 x 300 pixels"
    ):
        count(CLEAN, mm_per_px=0.1, region=(300, 0, 200, 100))


def test_the_blank_is_not_the_photo(scene: "SceneOnDisk") -> None:
    with pytest.raises(PhotoFileError, match=r"^before\.jpg: is the same photo as the blank\."):
        count(scene.before, mm_per_px=0.1, blank=scene.before)


def test_a_blank_of_another_size_is_refused_without_a_patch() -> None:
    with pytest.raises(PhotoFileError, match=r"^blank 350 x 300 and photo 400 x 300 pixels: without a patch"):
        count(CLEAN, mm_per_px=0.1, blank=np.ascontiguousarray(CLEAN[:, :350]))


def test_a_photo_without_the_patchs_markers_is_not_fit(scene: "SceneOnDisk") -> None:
    with pytest.raises(MarkerError, match=r"^photo: found 0 of the patch's"):
        count(CLEAN, patch=scene.patch)


def true_amounts(scene: "SceneOnDisk", shot: str) -> dict[str, dict[str, float]]:
    truth = json.loads((scene.folder / "truth.json").read_text(encoding="utf-8"))
    zones: dict[str, dict[str, float]] = truth["before"]["zones"]
    if shot == "after":
        zones = {name: zone["after"] for name, zone in truth["passes"][0]["zones"].items()}
    return zones


@pytest.fixture(scope="module")
def told() -> list[tuple[float, str]]:
    """What ``leftovers`` told of its progress."""
    return []


@pytest.fixture(scope="module")
def leftovers(scene: "SceneOnDisk", told: list[tuple[float, str]]) -> Counted:
    return count(
        scene.afters[0],
        patch=scene.patch,
        blank=scene.blank,
        debris=scene.debris,
        progress=lambda done, what: told.append((done, what)),
    )


@pytest.mark.slow
def test_leftovers_in_a_patch_are_counted_by_zone(scene: "SceneOnDisk", leftovers: Counted) -> None:
    truth = true_amounts(scene, "after")
    assert list(leftovers.zones) == ["patch", *read_patch(scene.patch).zone_names()]
    for zone, amount in leftovers.zones.items():
        assert amount.grains == pytest.approx(truth[zone]["grains"], rel=0.05, abs=1)
    # Grains stand above the floor and shade one side of themselves, so that they seem a fifth too large.
    assert leftovers.zones["patch"].area_mm2 == pytest.approx(truth["patch"]["area_mm2"], rel=0.25)
    assert leftovers.zones["patch"].mass_g == pytest.approx(truth["patch"]["mass_g"], rel=0.25)
    parts = [leftovers.zones[zone] for zone in ("open", "edge", "corner")]
    assert leftovers.zones["patch"].area_mm2 == pytest.approx(sum(part.area_mm2 for part in parts))
    assert leftovers.zones["patch"].grains == sum(part.grains for part in parts)
    assert (leftovers.file, leftovers.blank_file) == ("after.jpg", "blank.jpg")
    assert {len(leftovers.sha256), len(leftovers.blank_sha256)} == {64}
    assert (leftovers.region, leftovers.mm_per_px) == (None, None)
    assert leftovers.warnings == ()


@pytest.fixture(scope="module")
def finer(make_scene: "Callable[..., SceneOnDisk]") -> "SceneOnDisk":
    """With a megapixel, what the debris is cannot be told from leftovers alone."""
    return make_scene(camera=Camera(megapixels=1.5))


@pytest.mark.parametrize("shot", ["before", "after"])
@pytest.mark.parametrize("with_debris_file", [True, False], ids=["file", "no file"])
def test_a_photo_alone_is_counted_nearly_as_well(finer: "SceneOnDisk", shot: str, with_debris_file: bool) -> None:
    debris = finer.debris if with_debris_file else ()
    found = count(finer.folder / f"{shot}.jpg", patch=finer.patch, debris=debris).zones["patch"]
    truth = true_amounts(finer, shot)["patch"]
    assert found.grains == pytest.approx(truth["grains"], rel=0.1)
    assert found.area_mm2 == pytest.approx(truth["area_mm2"], rel=0.35)


@pytest.mark.slow
def test_arrays_and_files_give_the_same_figures(scene: "SceneOnDisk", leftovers: Counted) -> None:
    pixels = [read_photo(file).pixels for file in (scene.afters[0], scene.blank)]
    found = count(pixels[0], patch=read_patch(scene.patch), blank=pixels[1], debris=scene.debris)
    assert found.zones == leftovers.zones
    assert (found.file, found.blank_file) == ("", "")


@pytest.mark.slow
def test_a_blank_of_another_floor_is_refused(scene: "SceneOnDisk", make_scene: "Callable[..., SceneOnDisk]") -> None:
    other = make_scene(floor=Floor("terrazzo"), seed=2)
    with pytest.raises(PhotosDifferError, match=r"after\.jpg: shows another floor"):
        count(scene.afters[0], patch=scene.patch, blank=other.blank, debris=scene.debris)


def check_progress(told: list[tuple[float, str]]) -> None:
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert told[0] == (0.0, "reading photos")
    assert told[-1] == (1.0, "done")


@pytest.mark.slow
@pytest.mark.usefixtures("leftovers")
def test_progress_rises_from_reading_to_done(told: list[tuple[float, str]]) -> None:
    check_progress(told)


def test_progress_rises_without_a_patch_too() -> None:
    told: list[tuple[float, str]] = []
    count(CLEAN, mm_per_px=MM_PER_PX, debris=[RED], progress=lambda done, what: told.append((done, what)))
    check_progress(told)
