"""Markers of a patch in one photo: damaged, hidden, doubled, turned."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.inputs.patch import Marker
from debriscount.markers.arrangement import Fitting
from debriscount.markers.find_patch import find_patch

if TYPE_CHECKING:
    from tests.conftest import Bench

Floor = NDArray[np.float32]
STEP_MM, LEFT, TOP = 0.25, -75.0, -25.0
DARK, PALE = (0.05, 0.02, 0.01), (0.8, 0.78, 0.7)
#: The marker that is damaged.
ONE = 2


def found(bench: "Bench", floor: Floor, homography: NDArray[np.float64] | None = None, noise: float = 0.003) -> Fitting:
    seen_from = bench.homography if homography is None else homography
    return find_patch(bench.photo(floor, seen_from, blur_px=0.8, noise=noise), bench.patch)


def check_all(
    bench: "Bench", fitting: Fitting, within_px: float, homography: NDArray[np.float64] | None = None
) -> None:
    assert sorted(fitting.used) == [0, 1, 2, 3]
    for number, marker in fitting.used.items():
        off = marker.corners_px - bench.corners_px(number, homography)
        assert np.hypot(off[:, 0], off[:, 1]).max() < within_px


def places_mm(floor: Floor) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.meshgrid(np.arange(floor.shape[1]) + 0.5, np.arange(floor.shape[0]) + 0.5)
    return LEFT + STEP_MM * x, TOP + STEP_MM * y


def grains(diameter_mm: float, count: int, light: tuple[float, float, float]) -> Callable[["Bench", Floor], None]:
    def lay(bench: "Bench", floor: Floor) -> None:
        middle = np.array(bench.patch.markers[ONE].center_mm)
        for x, y in middle + np.random.default_rng(3).uniform(-20, 20, (count, 2)):
            centre = round((x - LEFT) / STEP_MM), round((y - TOP) / STEP_MM)
            cv2.circle(floor, centre, round(diameter_mm / STEP_MM / 2), light, cv2.FILLED)

    return lay


def bar(width_mm: float, light: tuple[float, float, float]) -> Callable[["Bench", Floor], None]:
    """A straw or a cable right across the marker."""

    def lay(bench: "Bench", floor: Floor) -> None:
        x, y = bench.patch.markers[ONE].center_mm
        ends = [(round((x + dx - LEFT) / STEP_MM), round((y + dy - TOP) / STEP_MM)) for dx, dy in ((-25, -9), (22, 14))]
        cv2.line(floor, ends[0], ends[1], light, round(width_mm / STEP_MM))

    return lay


def corner_hidden(size_mm: float) -> Callable[["Bench", Floor], None]:
    def lay(bench: "Bench", floor: Floor) -> None:
        x, y = places_mm(floor)
        left, top = bench.patch.markers[ONE].corners_mm()[0]
        floor[(np.abs(x - left) < size_mm) & (np.abs(y - top) < size_mm)] = (0.3, 0.22, 0.15)

    return lay


def glare(radius_mm: float, light: float) -> Callable[["Bench", Floor], None]:
    """A lamp's reflection on the paper, bright enough to burn out."""

    def lay(bench: "Bench", floor: Floor) -> None:
        x, y = places_mm(floor)
        middle = bench.patch.markers[ONE].center_mm
        floor += (light * np.exp(-((x - middle[0] - 9) ** 2 + (y - middle[1] + 8) ** 2) / (2 * radius_mm**2)))[
            ..., None
        ].astype(np.float32)

    return lay


def shadow(depth: float, soft_mm: float) -> Callable[["Bench", Floor], None]:
    """The edge of a shadow, right across the marker."""

    def lay(bench: "Bench", floor: Floor) -> None:
        x, y = places_mm(floor)
        middle = bench.patch.markers[ONE].center_mm
        far = 0.8 * (x - middle[0]) + 0.6 * (y - middle[1]) - 2
        floor *= (1 - depth / (1 + np.exp(-np.clip(far / soft_mm, -50, 50))))[..., None].astype(np.float32)

    return lay


def dirt(deviation: float) -> Callable[["Bench", Floor], None]:
    def lay(bench: "Bench", floor: Floor) -> None:
        noise = cv2.GaussianBlur(np.random.default_rng(5).standard_normal(floor.shape[:2]), (0, 0), 12)
        floor *= np.exp(deviation * (noise / noise.std() - 0.5))[..., None].astype(np.float32)

    return lay


@pytest.mark.parametrize(
    "lay",
    [
        grains(3.0, 12, DARK),
        grains(3.0, 12, PALE),
        grains(6.0, 4, DARK),
        bar(2.0, DARK),
        bar(2.0, PALE),
        corner_hidden(6.0),
        corner_hidden(12.0),
        glare(4.0, 2.0),
        glare(8.0, 0.5),
        shadow(0.5, 0.5),
        shadow(0.75, 0.5),
        shadow(0.8, 4.0),
        dirt(0.2),
    ],
    ids=[
        "dark grains",
        "pale grains",
        "large grains",
        "cable",
        "straw",
        "corner",
        "large corner",
        "lamp",
        "haze",
        "shadow",
        "deep shadow",
        "soft shadow",
        "dirt",
    ],
)
def test_a_marker_in_bad_shape_is_found_all_the_same(bench: "Bench", lay: Callable[["Bench", Floor], None]) -> None:
    floor = bench.floor.copy()
    lay(bench, floor)
    fitting = found(bench, floor)
    # Where paper is a fifth darker here and lighter there, half of its light is found up to a pixel off.
    check_all(bench, fitting, within_px=1.3)
    off = [np.abs(m.corners_px - bench.corners_px(n)).mean() for n, m in fitting.used.items()]
    assert np.mean(off) < 0.2


def test_a_marker_of_which_too_little_is_seen_is_not(bench: "Bench") -> None:
    floor = bench.floor.copy()
    x, y = places_mm(floor)
    right = bench.patch.markers[ONE].center_mm
    floor[(np.abs(x - right[0] - 10) < 14) & (np.abs(y - right[1]) < 25)] = (0.3, 0.22, 0.15)
    fitting = found(bench, floor)
    assert sorted(fitting.used) == [0, 1, 3]
    assert not fitting.strays


@pytest.mark.parametrize("tilt_deg", [15.0, 30.0])
def test_markers_seen_from_aside_are_found(bench: "Bench", tilt_deg: float) -> None:
    tilt = np.deg2rad(tilt_deg)
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    away = np.array([0, 0, 560.0]) - turn @ np.array([100, 85, 0.0])
    inner = np.array([[1100, 0, 439.5], [0, 1100, 284.5], [0, 0, 1.0]])
    homography = inner @ np.column_stack([turn[:, 0], turn[:, 1], away])
    check_all(bench, found(bench, bench.floor, homography), 0.2, homography)


@pytest.mark.parametrize(("scale", "within_px"), [(0.5, 0.25), (0.33, 0.4)])
def test_small_markers_are_found(bench: "Bench", scale: float, within_px: float) -> None:
    """75 px a side made 38 and 25: the photo shows a wider piece of floor."""
    homography = np.diag([scale, scale, 1.0]) @ bench.homography
    check_all(bench, found(bench, bench.floor, homography), within_px, homography)


def test_noise_of_a_dark_room_does_no_harm(bench: "Bench") -> None:
    check_all(bench, found(bench, 0.5 * bench.floor, noise=0.02), 0.4)


def test_a_photo_taken_upside_down_is_as_good(bench: "Bench") -> None:
    half_turn = np.array([[-1, 0, 879], [0, -1, 569], [0, 0, 1.0]]) @ bench.homography
    check_all(bench, found(bench, bench.floor, half_turn), 0.1, half_turn)


def test_a_second_sheet_left_lying_beside_is_passed_over(bench: "Bench") -> None:
    sheet = [Marker(n, (25.0 + 45 * n, 80.0), 30.0) for n in range(4)]
    check_all(bench, found(bench, bench.laid(*bench.patch.markers, *sheet)), 0.1)


def test_the_markers_of_others_are_passed_over(bench: "Bench") -> None:
    """Of other numbers, and of a wanted number but another size while the patch's own is hidden."""
    *three, _ = bench.patch.markers
    others = [Marker(7, (40.0, 80.0), 30.0), Marker(17, (90.0, 80.0), 30.0), Marker(3, (150.0, 80.0), 15.0)]
    fitting = found(bench, bench.laid(*three, *others))
    assert sorted(fitting.used) == [0, 1, 2]
    assert not fitting.strays


def test_a_copy_does_not_stand_for_one_that_is_hidden(bench: "Bench") -> None:
    *three, last = bench.patch.markers
    fitting = found(bench, bench.laid(*three, Marker(3, (100.0, 80.0), 30.0)))
    assert sorted(fitting.used) == [0, 1, 2]
    assert list(fitting.strays) == [last.id]


def test_beside_a_copy_the_one_in_its_place_is_found_though_dirty(bench: "Bench") -> None:
    floor = bench.laid(*bench.patch.markers, Marker(ONE, (100.0, 80.0), 30.0))
    bar(3.0, DARK)(bench, floor)
    check_all(bench, found(bench, floor), 0.2)


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.floats(40, 160), st.floats(50, 110), st.integers(0, 3))
def test_a_copy_anywhere_does_no_harm(bench: "Bench", x: float, y: float, number: int) -> None:
    check_all(bench, found(bench, bench.laid(*bench.patch.markers, Marker(number, (x, y), 30.0))), 0.1)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_marker_laid_turned_is_read_as_if_upright(bench: "Bench", quarters: int) -> None:
    floor = bench.floor.copy()
    x, y = bench.patch.markers[ONE].center_mm
    row, column = round((y - 20 - TOP) / STEP_MM), round((x - 20 - LEFT) / STEP_MM)
    floor[row : row + 160, column : column + 160] = np.rot90(floor[row : row + 160, column : column + 160], -quarters)
    fitting = found(bench, floor)
    check_all(bench, fitting, 0.1)
    assert dict(fitting.turned) == {ONE: quarters}
