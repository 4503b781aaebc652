"""Squares laid anyhow, found from made-up corners of which all is known."""

import cv2
import numpy as np
import pytest

from debriscount.arrays import Floats
from debriscount.camera.laid import LaidSquares, farthest_pair, lay_by_photo, scaled_by_tape
from debriscount.errors import MarkerError, SheetError
from debriscount.inputs.patch import Marker
from debriscount.markers.find_markers import SeenMarker

SIZE = (4000, 3000)
SQUARES = (
    Marker(0, (-70, -40), 50, 3.0),
    Marker(1, (650, -60), 50, -47),
    Marker(2, (690, 450), 50, 170),
    Marker(3, (-60, 470), 50, 88),
)


def camera(places_mm: Floats, bent: float) -> Floats:
    """A tilted camera 900 mm above the floor, and its picture bent outwards by a share at the corners."""
    turn = cv2.Rodrigues(np.array([np.deg2rad(12), 0.05, 0.1]))[0]
    seen = (np.column_stack([places_mm, np.zeros(len(places_mm))]) - [300, 200, 0]) @ turn.T + [0, 0, 900]
    middle = (np.array(SIZE) - 1) / 2
    away = 3000 * seen[:, :2] / seen[:, 2:]
    return np.asarray(middle + away * (1 + bent * (away**2).sum(axis=1, keepdims=True) / (middle**2).sum()))


def seen(noise_px: float = 0.15, bent: float = 0.008, squares: tuple[Marker, ...] = SQUARES) -> dict[int, SeenMarker]:
    rng = np.random.default_rng(5)
    return {
        square.id: SeenMarker(
            id=square.id,
            corners_px=camera(square.corners_mm(), bent) + rng.normal(0, noise_px, (4, 2)),
            sigma_px=max(noise_px, 0.05),
        )
        for square in squares
    }


def distances(squares: tuple[Marker, ...]) -> Floats:
    centers = np.array([square.center_mm for square in squares])
    return np.asarray(np.linalg.norm(centers[:, None] - centers, axis=2))


def turns(squares: tuple[Marker, ...]) -> Floats:
    return (np.array([square.turned_deg for square in squares]) - squares[0].turned_deg + 180) % 360 - 180


def test_places_and_turns_are_told_from_one_photo() -> None:
    laid = lay_by_photo(seen(0.0), 50, SIZE)
    assert distances(laid.markers) == pytest.approx(distances(SQUARES), abs=0.05)
    assert turns(laid.markers) == pytest.approx(turns(SQUARES), abs=0.01)
    assert laid.off_px < 0.01


def test_with_noise_they_are_off_by_no_more_than_is_said() -> None:
    laid = lay_by_photo(seen(), 50, SIZE)
    off = np.abs(distances(laid.markers)[0] - distances(SQUARES)[0])
    assert off.max() < 1.5
    assert (off <= 4 * np.array([laid.u_mm[square.id] for square in SQUARES]) + 0.01).all()


def test_x_goes_to_the_right_of_the_photo_and_places_are_projected_back() -> None:
    laid = lay_by_photo(seen(0.0), 50, SIZE)
    for square in laid.markers:
        assert laid.to_photo(square.corners_mm()) == pytest.approx(seen(0.0)[square.id].corners_px, abs=0.05)
    left, right = laid.to_photo(np.array([[0.0, 0.0], [100.0, 0.0]]))
    assert right[0] > left[0]


def test_a_tape_measure_sets_the_scale() -> None:
    laid = lay_by_photo(seen(0.0), 50, SIZE)
    first, second, apart_mm = farthest_pair(laid)
    assert {first, second} == {0, 2}
    scaled = scaled_by_tape(laid, first, second, 1.02 * apart_mm)
    assert distances(scaled.markers) == pytest.approx(1.02 * distances(SQUARES), abs=0.1)
    assert scaled.markers[0].side_mm == pytest.approx(51)
    assert centers_px(scaled) == pytest.approx(centers_px(laid), abs=1e-6)
    with pytest.raises(
        SheetError, match=r"by the photo, the centres of squares 0 and 2 lie 90\d mm apart, by the tape 700 mm"
    ):
        scaled_by_tape(laid, first, second, 700)


def centers_px(laid: LaidSquares) -> Floats:
    return laid.to_photo(np.array([square.center_mm for square in laid.markers]))


def test_two_squares_are_too_few() -> None:
    with pytest.raises(MarkerError, match="2 of at least 3 squares are seen"):
        lay_by_photo(seen(squares=SQUARES[:2]), 50, SIZE)


def test_a_square_of_another_size_is_named() -> None:
    other = (*SQUARES[:3], Marker(3, (-60, 470), 60, 88))
    with pytest.raises(MarkerError, match=r"square 3 does not lie as the others say, by .* px"):
        lay_by_photo(seen(0.05, squares=other), 50, SIZE)
