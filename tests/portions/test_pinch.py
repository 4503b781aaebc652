"""A pinch of drawn grains, of which sizes and colour are known."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.errors import PhotoUnfitError, PortionError
from debriscount.photo.read import photo_from_array
from debriscount.portions.pinch import Pinch, find_pinch, pinch_kind
from debriscount.report.pinch import draw_pinch

MM_PER_PX, SIDE_MM, COLOUR = 0.1, 30.0, (200, 90, 45)


def drawn(pairs: int = 0, *, square: bool = True, grains: bool = True) -> tuple[NDArray[np.uint8], list[float]]:
    """Grains on paper lit from one side, some of them in touching pairs; their diameters, mm."""
    rng = np.random.default_rng(3)
    image = np.full((1000, 1400, 3), 235, np.uint8)
    if square:
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        image[150:450, 150:450] = cv2.aruco.generateImageMarker(dictionary, 5, 300)[..., None]
    diameters = []
    for number in range(40 * grains):
        x, y = 620 + 95 * (number % 8), 120 + 170 * (number // 8)
        for k in range(2 if number < pairs else 1):
            across = float(rng.normal(4.8, 0.3))
            diameters.append(across)
            radius = across / 2 / MM_PER_PX
            place = (round(8 * x), round(8 * (y + k * 1.6 * radius)))
            cv2.circle(image, place, round(8 * radius), COLOUR, -1, cv2.LINE_AA, 3)
    image = np.asarray(cv2.GaussianBlur(image, (0, 0), 1.0), np.uint8)
    light = np.linspace(1.0, 0.85, image.shape[1])[None, :, None]
    return np.asarray(np.clip(image * light + rng.normal(0, 2, image.shape), 0, 255), np.uint8), diameters


def pinch_of(image: NDArray[np.uint8]) -> Pinch:
    return find_pinch(photo_from_array(image, "pinch.jpg"), SIDE_MM)


def likely(pinch: Pinch) -> list[int]:
    return [number for number, grain in enumerate(pinch.grains, start=1) if grain.likely]


def test_sizes_and_colour_are_learned() -> None:
    image, diameters = drawn()
    pinch = pinch_of(image)
    assert (len(pinch.grains), len(likely(pinch))) == (40, 40)
    kind = pinch_kind(pinch, likely(pinch), "drawn").kind
    assert kind.size_mm == pytest.approx(np.percentile(diameters, [5, 95]), rel=0.03)
    assert kind.color_srgb == pytest.approx(np.array(COLOUR), abs=15)


def test_pairs_are_not_taken_for_single_grains() -> None:
    image, _ = drawn(pairs=6)
    pinch = pinch_of(image)
    assert len(pinch.grains) == 40
    assert len(likely(pinch)) <= 35  # two small ones may pass for a large one: hence the question


def test_specks_of_the_paper_are_no_grains_however_many() -> None:
    image, diameters = drawn()
    rng = np.random.default_rng(5)
    for x, y in zip(rng.integers(520, 1380, 150), rng.integers(20, 980, 150), strict=True):
        cv2.circle(image, (int(x), int(y)), 3, (60, 60, 60), -1)
    pinch = pinch_of(image)
    assert len(pinch.grains) <= 40  # a speck beside the rim of a grain may join it
    assert len(likely(pinch)) >= 30
    kind = pinch_kind(pinch, likely(pinch), "drawn").kind
    assert kind.size_mm == pytest.approx(np.percentile(diameters, [5, 95]), rel=0.06)


def test_what_is_unsure_is_said() -> None:
    image, _ = drawn()
    few = pinch_kind(pinch_of(image), [1, 2, 3, 4], "few").unsure
    assert any("from 4 grains" in said for said in few)
    assert any("4 grains say little of the smallest and largest" in said for said in few)
    assert any(said.startswith("mass: unknown") for said in few)


def test_numbers_run_line_by_line() -> None:
    image, _ = drawn()
    grains = pinch_of(image).grains
    first_line = [grain.outline_px[:, 0].mean() for grain in grains[:8]]
    assert first_line == sorted(first_line)
    assert grains[8].outline_px[:, 1].mean() > grains[7].outline_px[:, 1].mean() + 50


def test_the_picture_shows_an_outline_round_each() -> None:
    image, _ = drawn()
    pinch = pinch_of(image)
    picture = draw_pinch(pinch)
    assert picture.shape[1] == 1800
    assert (np.abs(picture.astype(int) - (0, 110, 200)).sum(axis=2) < 60).sum() > 40 * 100


@pytest.mark.parametrize(
    ("image", "message"),
    [
        (drawn(square=False)[0], "no printed square is seen"),
        (drawn(grains=False)[0], "nothing stands out from the paper"),
    ],
)
def test_a_photo_that_will_not_do_is_refused(image: NDArray[np.uint8], message: str) -> None:
    with pytest.raises(PhotoUnfitError, match=message):
        pinch_of(image)


def test_numbers_and_names_that_cannot_be_are_refused() -> None:
    pinch = pinch_of(drawn()[0])
    with pytest.raises(PortionError, match="there is no outline 41: they go from 1 to 40"):
        pinch_kind(pinch, [1, 2, 41], "x")
    with pytest.raises(PortionError, match="three single grains or more are needed, got 2"):
        pinch_kind(pinch, [1, 2, 2], "x")
    with pytest.raises(PortionError, match="the name must not be empty"):
        pinch_kind(pinch, [1, 2, 3], "")
