"""Painted floor views whose truth is known: bare floor, the exact cover of scattered discs, light and noise."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

SHAPE = (384, 480)
#: Parts of a pixel along each side in which the cover of a disc is counted.
FINER = 8
OAK = np.array([0.30, 0.20, 0.11], np.float32)
LENTIL = np.array([0.35, 0.06, 0.02], np.float32)


@dataclass(frozen=True, eq=False)
class Scatter:
    """Discs on a floor: true cover of every pixel, and the places (column, row) and radii of the discs."""

    cover: NDArray[np.float32]
    places: NDArray[np.float64]
    radii: NDArray[np.float64]


def scatter(seed: int, count: int, radius_px: float, shape: tuple[int, int] = SHAPE) -> Scatter:
    """Discs at random places that do not touch, their cover counted in 8 x 8 parts of a pixel."""
    rng = np.random.default_rng(seed)
    places: list[NDArray[np.float64]] = []
    edge = radius_px + 3
    while len(places) < count:
        place = rng.uniform((edge, edge), (shape[1] - edge - 2, shape[0] - edge - 2))
        if all(np.hypot(*(place - other)) > 2 * radius_px + 3 for other in places):
            places.append(place)
    cover = np.zeros(shape, np.float32)
    for x, y in places:
        left, top = int(x - edge), int(y - edge)
        side = int(2 * edge) + 2
        fine = (np.arange(side * FINER) + 0.5) / FINER - 0.5
        inside = np.hypot(fine[None, :] + left - x, fine[:, None] + top - y) < radius_px
        cover[top : top + side, left : left + side] += inside.reshape(side, FINER, side, FINER).mean(axis=(1, 3))
    return Scatter(cover, np.array(places), np.full(count, radius_px))


def grained(seed: int, contrast: float = 0.05, shape: tuple[int, int] = SHAPE) -> NDArray[np.float32]:
    """Bare floor of the colour of oak with a soft grain of its own."""
    noise = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal(shape).astype(np.float32), (0, 0), 3)
    return np.asarray(np.exp(contrast * noise / noise.std())[..., None] * OAK, np.float32)


def photographed(
    floor: NDArray[np.float32],
    cover: NDArray[np.float32],
    light: NDArray[np.float32] | float = 1.0,
    seed: int = 0,
    noise: float = 0.004,
    debris: NDArray[np.float32] = LENTIL,
) -> NDArray[np.float32]:
    """Floor and debris under a light, blurred by 0.7 px as a photo is, with sensor noise."""
    mixed = (floor + cover[..., None] * (debris - floor)) * light
    blurred = cv2.GaussianBlur(mixed.astype(np.float32), (0, 0), 0.7)
    return np.asarray(blurred + noise * np.random.default_rng(seed).standard_normal(mixed.shape), np.float32)


@dataclass(frozen=True, eq=False)
class Painter:
    shape: tuple[int, int]
    oak: NDArray[np.float32]
    lentil: NDArray[np.float32]
    scatter: Callable[..., Scatter]
    grained: Callable[..., NDArray[np.float32]]
    photographed: Callable[..., NDArray[np.float32]]


@pytest.fixture(scope="session")
def painter() -> Painter:
    return Painter(SHAPE, OAK, LENTIL, scatter, grained, photographed)
