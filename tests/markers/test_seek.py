"""A marker sought where it should be."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from debriscount.markers.seek import seek_marker

if TYPE_CHECKING:
    from tests.conftest import Bench


@pytest.mark.parametrize("off_mm", [(0.0, 0.0), (14.0, -9.0), (-20.0, 16.0)])
def test_a_marker_is_found_though_it_is_not_quite_where_it_is_sought(
    bench: "Bench", off_mm: tuple[float, float]
) -> None:
    pixels = bench.photo(bench.floor, bench.homography, blur_px=0.8)
    x, y = bench.patch.markers[1].center_mm
    elsewhere = replace(bench.patch.markers[1], center_mm=(x + off_mm[0], y + off_mm[1]))
    found = seek_marker(pixels, elsewhere, bench.homography, reach_mm=30.0)
    assert found is not None
    assert found.id == 1
    np.testing.assert_allclose(found.corners_px, bench.corners_px(1), atol=0.1)


def test_beyond_the_reach_nothing_is_found(bench: "Bench") -> None:
    pixels = bench.photo(bench.floor, bench.homography, blur_px=0.8)
    x, y = bench.patch.markers[1].center_mm
    elsewhere = replace(bench.patch.markers[1], center_mm=(x - 45.0, y))
    assert seek_marker(pixels, elsewhere, bench.homography, reach_mm=15.0) is None


def test_another_marker_in_its_place_is_not_taken_for_it(bench: "Bench") -> None:
    pixels = bench.photo(bench.floor, bench.homography, blur_px=0.8)
    for number in (0, 2, 3, 7, 17, 31):
        assert seek_marker(pixels, replace(bench.patch.markers[1], id=number), bench.homography, 30.0) is None


def test_nor_is_bare_floor_or_what_lies_outside_the_photo(bench: "Bench") -> None:
    pixels = bench.photo(bench.strewn, bench.homography, blur_px=0.8)
    for place in ((100.0, 75.0), (60.0, 120.0), (900.0, 75.0)):
        assert seek_marker(pixels, replace(bench.patch.markers[1], center_mm=place), bench.homography, 30.0) is None
