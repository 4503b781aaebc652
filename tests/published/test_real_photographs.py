"""Counts of real photographs against counts by eye; nothing is set but scale, region and debris file.

The museum's coins are the picture that scikit-image carries (Brooklyn Museum collection). The others, lentils of a public
data set (Foods 2022, 11, 3964; MIT licence), coins and sweets out of OpenCV's documentation and samples (Apache-2.0), lie in
tests/data/photos, with their sources, licences and counts. The lentils are reduced there; at full size they lie in a
folder beside the project, which not every machine has. Colours are read off the pictures, sizes too.
"""

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from debriscount.inputs.debris import DebrisKind
from debriscount.photo.read import read_photo
from debriscount.run.count import count
from debriscount.run.records import Counted

PHOTOS = Path(__file__).parents[1] / "data" / "photos"
TRUTH = json.loads((PHOTOS / "truth.json").read_text(encoding="utf-8"))
FULL_SIZE = Path(__file__).parents[3] / "shared" / "realdata" / "lentils"


def test_the_photographs_are_those_of_the_table() -> None:
    rows = [line.strip("| ").split(" | ") for line in (PHOTOS / "README.md").read_text(encoding="utf-8").splitlines()]
    checksums = {row[0]: row[1] for row in rows if len(row) == 2 and len(row[1]) == 64}
    photos = [path for path in PHOTOS.iterdir() if path.suffix in (".jpg", ".png")]
    for path in photos:
        assert hashlib.sha256(path.read_bytes()).hexdigest() == checksums[path.name]
    assert len(photos) == 20


def found_of(counted: Counted, centres_px: list[list[float]], tolerance_px: float) -> int:
    """How many of the true places, pixels of the region, have a grain of their own within the tolerance."""
    assert counted.mm_per_px is not None
    there = np.stack([counted.grains.x_mm, counted.grains.y_mm], axis=-1) / counted.mm_per_px - 0.5
    apart = np.hypot(*(np.array(centres_px)[:, None] - there[None]).transpose(2, 0, 1))
    nearest = apart.argmin(axis=1)
    return len(set(nearest[apart.min(axis=1) < tolerance_px].tolist()))


# Scale is not known: sizes are in pixels, taken for millimetres.
COIN = DebrisKind("coin", (0xB0, 0xB0, 0xB0), (40, 58))


def test_coins_of_a_museum() -> None:
    """24 coins by eye, grey on an unevenly lit grey ground."""
    from skimage.data import coins

    grey = coins()  # type: ignore[no-untyped-call]
    found = count(np.repeat(grey[..., None], 3, axis=2), mm_per_px=1, debris=[COIN])
    assert found.zones["patch"].grains == pytest.approx(24, abs=1)


LENTILS = {
    "5.jpg": DebrisKind("lentils", (0x96, 0x5A, 0x3D), (4.2, 6.0)),
    "31.jpg": DebrisKind("lentils", (0x98, 0x66, 0x50), (3.4, 4.6)),
    "53.jpg": DebrisKind("lentils", (0x8B, 0x60, 0x52), (3.4, 4.6)),
}


@pytest.mark.parametrize("name", LENTILS)
def test_touching_lentils_on_black_card(name: str) -> None:
    truth = TRUTH["lentils"]["photos"][f"lentils-{name}"]
    found = count(PHOTOS / f"lentils-{name}", mm_per_px=1 / truth["px_per_mm"], debris=[LENTILS[name]])
    assert found.zones["patch"].grains == pytest.approx(truth["count"], abs=1)
    tolerance_px = TRUTH["lentils"]["centre_tolerance_px"]
    assert found_of(found, truth["centres_x_y_px"], tolerance_px) >= truth["count"] - 1


@pytest.mark.slow
@pytest.mark.skipif(not FULL_SIZE.is_dir(), reason="the photographs of full size are not on this machine")
@pytest.mark.parametrize("name", LENTILS)
def test_touching_lentils_at_full_size(name: str) -> None:
    truth: dict[str, Any] = json.loads((FULL_SIZE / "truth.json").read_text(encoding="utf-8"))
    image, photo = truth["images"][name], FULL_SIZE / name
    height, width = read_photo(photo).pixels.shape[:2]
    top = image["seeds_below_row"]
    found = count(photo, mm_per_px=1 / image["px_per_mm"], region=(0, top, width, height - top), debris=[LENTILS[name]])
    assert found.zones["patch"].grains == pytest.approx(image["count"], abs=1)
    centres = [[x, y - top] for x, y in image["centres_x_y_px"]]
    assert found_of(found, centres, truth["centre_tolerance_px"]) >= image["count"] - 1


def test_coins_that_touch() -> None:
    """24 equal coins of 47 px in one heap, side by side, on a light ground."""
    coin = DebrisKind("coin", (0x6A, 0x58, 0x3B), (46, 48))
    found = count(PHOTOS / "touching-coins.jpg", mm_per_px=1, debris=[coin])
    circles = TRUTH["touching-coins.jpg"]["circles_x_y_r_px"]
    assert found.zones["patch"].grains == pytest.approx(24, abs=1)
    assert found_of(found, [[x, y] for x, y, _ in circles], 5) >= 23
    # All show the same area, that of the circles fitted by hand.
    areas = found.grains.area_mm2
    assert np.median(areas) == pytest.approx(np.pi * 23.5**2, rel=0.1)


SWEETS = [
    DebrisKind("red", (0xEB, 0x00, 0x00), (50, 56)),
    DebrisKind("orange", (0xFA, 0x38, 0x00), (50, 56)),
    DebrisKind("green", (0x00, 0xFF, 0x33), (50, 56)),
    DebrisKind("blue", (0x3C, 0x82, 0xF7), (50, 56)),
    DebrisKind("dark brown", (0x32, 0x0A, 0x10), (50, 56)),
]


def test_sweets_of_five_colours() -> None:
    """14 sweets on white, two of them cut by the border."""
    truth = TRUTH["sweets.png"]
    found = count(PHOTOS / "sweets.png", mm_per_px=1, debris=SWEETS)
    assert found.zones["patch"].grains == pytest.approx(truth["count"], abs=1)
    for color, number in truth["by_colour"].items():
        assert found.by_kind[color]["patch"].grains == pytest.approx(number, abs=1), color
