from itertools import chain, combinations
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from debriscount.errors import PatchLayoutError
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.check_layout import MOST_SWAY, layout_faults, sway
from debriscount.layout.lay_patch import lay_patch, usual_side_mm
from debriscount.layout.paper import largest_side_mm

SIDES = ("top", "right", "bottom", "left")
WALLS = list(chain.from_iterable(combinations(SIDES, n) for n in range(4)))
CORNERS = [("top", "right"), ("right", "bottom"), ("bottom", "left"), ("top", "left")]


@pytest.mark.parametrize("walls", WALLS)
@pytest.mark.parametrize("size", [(600, 400), (250, 900)])
def test_markers_suit_every_choice_of_walls(tmp_path: Path, walls: tuple[str, ...], size: tuple[int, int]) -> None:
    patch = lay_patch(*size, walls)
    file = tmp_path / "patch.toml"
    file.write_text(patch_toml(patch), encoding="utf-8")
    assert read_patch(file) == patch  # the reader refuses markers in the patch, in a row, or on one another
    for marker in patch.markers:
        corners = marker.corners_mm()
        limits = {
            "left": corners[:, 0].min(), "right": size[0] - corners[:, 0].max(),
            "top": corners[:, 1].min(), "bottom": size[1] - corners[:, 1].max(),
        }  # fmt: skip
        assert all(limits[wall] > 0 for wall in walls)


@settings(max_examples=300)
@given(
    width=st.floats(50, 5000),
    height=st.floats(50, 5000),
    walls=st.sampled_from(WALLS),
    margin=st.floats(0, 200),
    place=st.sampled_from([(), *[(side,) for side in SIDES], *CORNERS]),
)
def test_what_is_laid_is_sound(
    *, width: float, height: float, walls: tuple[str, ...], margin: float, place: tuple[str, ...]
) -> None:
    assume(margin < min(width, height))
    try:
        patch = lay_patch(width, height, walls, edge_mm=0, corner_mm=0, margin_mm=margin)
    except PatchLayoutError:
        assert len(walls) > 1 or max(width, height) > 10 * min(width, height)
    else:
        assert layout_faults(patch) == ()
        assert sway(patch) <= MOST_SWAY
    # On open floor, at a wall and in a corner there is room around all but a strip, and a page holds the squares.
    assume(max(width, height) <= 10 * min(width, height))
    laid = lay_patch(width, height, place, edge_mm=0, corner_mm=0, margin_mm=margin)
    assert layout_faults(laid) == ()
    assert all(marker.side_mm <= largest_side_mm("a4") for marker in laid.markers)


def test_a_small_corner_does_without_the_fourth_marker() -> None:
    assert [len(lay_patch(side, side, ("top", "left"), corner_mm=30, margin_mm=30).markers) for side in (60, 150)] == [
        3,
        4,
    ]


def test_a_large_patch_has_squares_that_a_photo_shows() -> None:
    assert usual_side_mm(600, 400, 60) == 50
    assert usual_side_mm(200, 100, 60) == 20
    assert usual_side_mm(3000, 2000, 60) == 60
    assert 60 < usual_side_mm(5000, 5000, 60) < largest_side_mm("a4")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((600, 400, SIDES), "walls on all four sides leave no floor for markers. Name three walls at most."),
        ((600, 400, ("up",)), 'wall "up" is unknown. Known are: top, right, bottom, left.'),
        ((20, 400), "patch width_mm must be from 50 to 5000, got 20."),
        ((400, 70, ("top", "bottom")), "the papers of markers 0 and 3 overlap."),
    ],
)
def test_a_patch_that_cannot_be_is_refused(arguments: tuple[float, float, tuple[str, ...]], words: str) -> None:
    with pytest.raises(PatchLayoutError, match=words):
        lay_patch(*arguments)


def test_a_zone_wider_than_the_patch_is_refused() -> None:
    with pytest.raises(
        PatchLayoutError, match="zone edge_mm must be 0 or more and less than the patch's short side, got 500"
    ):
        lay_patch(edge_mm=500)
