import numpy as np
import pytest

from debriscount.errors import PatchLayoutError
from debriscount.inputs.patch import Marker
from debriscount.layout.check_layout import check_layout
from debriscount.layout.patch_among import CORNERS, patch_among

SQUARES = (
    Marker(0, (0, 0), 50, 9),
    Marker(1, (900, 40), 50, -41),
    Marker(2, (850, 700), 50, 176),
    Marker(3, (-40, 640), 50, 94),
)


def test_a_patch_is_laid_where_there_is_room() -> None:
    patch, found, corners = patch_among(SQUARES, (600, 400), "bench", 60)
    check_layout(patch, 12)
    assert (patch.width_mm, patch.height_mm, patch.walls) == (600, 400, ())
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    assert lengths == pytest.approx([600, 400, 600, 400])
    for square, own in zip(SQUARES, patch.markers, strict=True):
        away = np.linalg.norm(corners - square.center_mm, axis=1)
        assert np.linalg.norm(patch.corners_mm() - own.center_mm, axis=1) == pytest.approx(away, abs=0.02)
    assert tuple(corner.name for corner in found) == CORNERS


def test_its_corners_are_found_by_two_tapes() -> None:
    patch, found, _ = patch_among(SQUARES, (600, 400), "bench", 60)
    by_number = {marker.id: np.array(marker.center_mm) for marker in patch.markers}
    for corner, place in zip(found, patch.corners_mm(), strict=True):
        for number, away_mm in (corner.first, corner.second):
            assert np.linalg.norm(by_number[number] - place) == pytest.approx(away_mm)


def test_a_square_turned_in_the_patch_stays_turned_on_the_floor() -> None:
    patch, _, corners = patch_among(SQUARES, (600, 400), "bench", 60)
    across = corners[1] - corners[0]
    patch_deg = np.rad2deg(np.arctan2(across[1], across[0]))
    for square, own in zip(SQUARES, patch.markers, strict=True):
        assert (own.turned_deg + patch_deg - square.turned_deg + 180) % 360 - 180 == pytest.approx(0, abs=0.01)


def test_without_room_it_is_refused() -> None:
    with pytest.raises(PatchLayoutError, match="nowhere among these squares is room for 900 x 700 mm"):
        patch_among(SQUARES, (900, 700), "bench", 60)
