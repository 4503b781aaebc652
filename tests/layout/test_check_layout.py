from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from debriscount.errors import PatchLayoutError
from debriscount.inputs.patch import Marker, Patch
from debriscount.inputs.patch_file import read_patch
from debriscount.layout.check_layout import LEAST_MODULE_PX, check_layout, layout_faults, module_px, sway
from debriscount.layout.lay_patch import lay_patch
from debriscount.markers.find_markers import find_markers
from debriscount.photo.read import read_photo
from debriscount.simulate.spec import Camera, Floor

GOOD = lay_patch(600, 400, ("top", "left"))
ROOT = Path(__file__).parents[2] / "reference_images"


def with_marker(number: int, x: float, y: float, side: float = 50.0) -> Patch:
    markers = list(GOOD.markers)
    markers[number] = Marker(markers[number].id, (x, y), side)
    return replace(GOOD, markers=tuple(markers))


def test_a_sound_layout_has_no_faults() -> None:
    assert layout_faults(GOOD) == ()
    check_layout(GOOD)


@pytest.mark.parametrize("file", sorted(ROOT.glob("*/patch.toml")), ids=lambda file: file.parent.name)
def test_shipped_layouts_are_sound(file: Path) -> None:
    assert layout_faults(read_patch(file), 8.0) == ()


WRONG = [
    (with_marker(0, 580, 100), r"marker 0 at \[580, 100\]: its paper hides floor of the patch\."
     r" Lay it at least 55\.0 mm farther out\."),
    # The black square is clear of the patch, its white rim is not.
    (with_marker(0, 630, 100), r"marker 0 at \[630, 100\]: its paper hides floor of the patch\. Lay it at least 5\.0"),
    (with_marker(0, 690, 100), r"its paper hides floor of the margin\. Lay it at least 5\.0 mm farther out, or give a"
     r" narrower margin_mm\."),
    # The label above the white rim counts as paper.
    (with_marker(2, 43, 497), r"marker 2 at \[43, 497\]: its paper hides floor of the margin\. Lay it at least 2\.5"),
    (with_marker(0, 700, -1), r'marker 0 at \[700, -1\] lies behind the wall "top"\. Lay it on the floor before it\.'),
    (with_marker(2, -40, 500), r'marker 2 at \[-40, 500\] lies behind the wall "left"\.'),
    (with_marker(0, 700, 36), r'marker 0 at \[700, 36\]: its paper reaches 3\.5 mm beyond the wall "top"\. Lay it'),
    (with_marker(3, 110, 500), r"the papers of markers 2 and 3 overlap\. Lay them farther apart, or take smaller"),
    (replace(GOOD, markers=GOOD.markers[:2]), r"the layout has 2 of at least 3 markers\. Lay three or more around"),
    (replace(GOOD, markers=(*GOOD.markers[:3], replace(GOOD.markers[3], id=2))), r"marker 2 is laid twice\. Give each"),
    (replace(GOOD, markers=GOOD.markers[1:]), "all markers lie on one line, which does not fix the floor's tilt"),
    (replace(GOOD, markers=(Marker(0, (700, 590), 50), *GOOD.markers[2:])), r"the markers lie too nearly on one line,"
     r" or too far to one side of the patch: a millimetre of tape error at them moves a corner of the patch by 19\.9 mm"
     r"; 5 mm is the limit\. Lay at least one marker farther to the side\."),
    (replace(GOOD, markers=tuple(replace(m, side_mm=6.0) for m in GOOD.markers)), r"markers 0, 1, 2, 3: a square of 6"
     r" mm is too small to be read: in a photo of 12 megapixels that shows everything, each of its modules, a sixth of"
     r" the side, is \d\.\d px wide; it must be 6 px at least\. Take squares of \d+ mm, or a smaller patch\."),
]  # fmt: skip


@pytest.mark.parametrize(("patch", "words"), WRONG)
def test_a_layout_that_cannot_work_is_refused_with_its_reason(patch: Patch, words: str) -> None:
    with pytest.raises(PatchLayoutError, match=words):
        check_layout(patch)


def test_every_fault_is_told_until_it_is_too_much() -> None:
    two = replace(GOOD, markers=(Marker(0, (580, 100), 50), *GOOD.markers[1:3], Marker(3, (50, 560), 50)))
    inside, overlap = layout_faults(two)
    assert "marker 0 at" in inside
    assert "2 and 3 overlap" in overlap
    buried = replace(GOOD, markers=tuple(Marker(n, (100, 100 + 10 * n), 50) for n in range(9)))
    with pytest.raises(PatchLayoutError, match=r"And \d\d more faults\.$"):
        check_layout(buried)


def test_whether_squares_can_be_read_may_be_left_out() -> None:
    tiny = replace(GOOD, markers=tuple(replace(m, side_mm=1.0) for m in GOOD.markers))
    assert layout_faults(tiny, None) == ()


def test_the_size_that_is_asked_for_can_be_read() -> None:
    tiny = replace(GOOD, markers=tuple(replace(m, side_mm=5.0) for m in GOOD.markers))
    asked = float(layout_faults(tiny)[0].split("Take squares of ")[1].split()[0])
    assert layout_faults(lay_patch(600, 400, ("top", "left"), marker_side_mm=asked)) == ()


def test_more_megapixels_help() -> None:
    small = replace(GOOD, markers=tuple(replace(m, side_mm=10.0) for m in GOOD.markers))
    assert "too small" in layout_faults(small, 2.0)[0]
    assert layout_faults(small, 12.0) == ()


def test_modules_are_as_wide_as_a_simulated_photo_shows_them(make_scene: Callable[..., Any]) -> None:
    """Independent: a camera that stands as low as it can, and straight above."""
    made = make_scene(patch=GOOD, camera=Camera(megapixels=1.0, tilt_deg=0), passes=())
    pose = made.scene.truth.poses["blank"]
    for number, px in module_px(GOOD, 1.0).items():
        assert px == pytest.approx(50 / 6 / pose.mm_per_px(GOOD.markers[number].center_mm), rel=0.1)


def test_sway_is_what_tape_errors_do() -> None:
    rng = np.random.default_rng(0)
    patch = replace(GOOD, markers=GOOD.markers[:3])
    assert sway(patch) == pytest.approx(np.sqrt(3), rel=0.2)  # a parallelogram's fourth corner is a - b + c
    # Independent: an affine map fitted to centres that are each off by chance.
    centers = np.array([m.center_mm for m in GOOD.markers])
    rows = np.column_stack([np.ones(4), centers])
    corners = np.array([[1, 0, 0], [1, 600, 0], [1, 600, 400], [1, 0, 400.0]])
    fits = np.linalg.lstsq(rows, rng.standard_normal((4, 4000)), rcond=None)[0]
    assert sway(GOOD) == pytest.approx((corners @ fits).std(axis=1).max(), rel=0.05)


@pytest.mark.slow
def test_squares_at_the_limit_are_found_by_the_finder(make_scene: Callable[..., Any]) -> None:
    """The limit is about photos: tilted by 20 degrees, of 2 megapixels, on a floor of specks."""
    side = 30.0
    patch = lay_patch(1100, 700, (), marker_side_mm=side, margin_mm=60)
    widest = module_px(patch, 2.0)[0]
    patch = lay_patch(1100, 700, (), marker_side_mm=np.ceil(side * LEAST_MODULE_PX / widest), margin_mm=60)
    assert layout_faults(patch, 2.0) == ()
    made = make_scene(patch=patch, camera=Camera(megapixels=2.0, tilt_deg=20), floor=Floor("terrazzo"), passes=())
    assert set(find_markers(read_photo(made.blank).pixels, [0, 1, 2, 3])) == {0, 1, 2, 3}
