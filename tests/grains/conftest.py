"""Painted cover whose truth is known: discs and long grains, blurred and noisy as the cover stage hands them over."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.maps import ShotCover

SHAPE = (300, 400)
#: Parts of a pixel along each side in which cover is counted.
FINER = 8


def ellipse(
    long_px: float, short_px: float, turn_deg: float = 0.0
) -> Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.bool_]]:
    """Whether points, px from an ellipse's middle, lie in it; ``long_px`` and ``short_px`` are its diameters."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return lambda x, y: np.asarray(
        ((c * x + s * y) / (long_px / 2)) ** 2 + ((c * y - s * x) / (short_px / 2)) ** 2 < 1, bool
    )


def ellipses(
    places: NDArray[np.float64],
    long_px: float,
    short_px: float,
    turn_deg: float = 0.0,
    shape: tuple[int, int] = SHAPE,
) -> NDArray[np.float32]:
    """Exact cover, to 1/64, of equal ellipses at places (column, row) well inside the picture."""
    cover = np.zeros(shape, np.float32)
    inside = ellipse(long_px, short_px, turn_deg)
    reach = int(long_px / 2) + 3
    side = 2 * reach + 1
    fine = (np.arange(side * FINER) + 0.5) / FINER - 0.5
    for x, y in places:
        left, top = int(x) - reach, int(y) - reach
        part = inside(fine[None, :] + left - x, fine[:, None] + top - y)
        cut = cover[top : top + side, left : left + side]
        np.maximum(cut, part.reshape(side, FINER, side, FINER).mean(axis=(1, 3)), out=cut)
    return cover


def discs(places: NDArray[np.float64], radius_px: float, shape: tuple[int, int] = SHAPE) -> NDArray[np.float32]:
    """Exact cover, to 1/64, of discs at places (column, row)."""
    return ellipses(places, 2 * radius_px, 2 * radius_px, shape=shape)


def places_apart(
    count: int, radius_px: float, seed: int = 1, shape: tuple[int, int] = SHAPE, clear_px: float = 4
) -> NDArray[np.float64]:
    """Random places whose discs stand at least ``clear_px`` clear of one another and 6 px of the border."""
    rng = np.random.default_rng(seed)
    edge = radius_px + 6
    places: list[NDArray[np.float64]] = []
    for _ in range(20_000):
        place = rng.uniform((edge, edge), (shape[1] - edge, shape[0] - edge))
        if all(np.hypot(*(place - other)) > 2 * radius_px + clear_px for other in places):
            places.append(place)
        if len(places) == count:
            break
    return np.array(places)


def shot_of(
    cover: NDArray[np.float32],
    blur_px: float = 0.7,
    noise: float = 0.02,
    seed: int = 2,
    spread: Sequence[float] = (0.0, 0.0),
) -> ShotCover:
    """What the cover stage would hand over: blurred by the lens, with noise of a fiftieth of a grain."""
    seen = cv2.GaussianBlur(cover, (0, 0), blur_px) + noise * np.random.default_rng(seed).standard_normal(cover.shape)
    sigma, light = np.full(cover.shape, noise, np.float32), np.zeros(cover.shape, np.float32)
    apart = np.abs(seen / noise).astype(np.float32)
    return ShotCover(seen.astype(np.float32), sigma, np.zeros(cover.shape, np.uint8), apart, light, tuple(spread))


@dataclass(frozen=True, eq=False)
class Painter:
    shape: tuple[int, int]
    ellipses: Callable[..., NDArray[np.float32]]
    discs: Callable[..., NDArray[np.float32]]
    places_apart: Callable[..., NDArray[np.float64]]
    shot_of: Callable[..., ShotCover]


@pytest.fixture(scope="session")
def painter() -> Painter:
    return Painter(SHAPE, ellipses, discs, places_apart, shot_of)
