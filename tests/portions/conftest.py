"""Portions made up of numbers."""

from collections.abc import Callable

import numpy as np
import pytest

from debriscount.portions.records import PortionShot, WeighedPortion
from debriscount.stats.quantity import Quantity

SIZE_MM = (4.4, 5.6)
CELL_MM2 = 400.0


def portion(
    grams: float,
    *,
    per_mm2: float = 1.75,
    cover: float = 0.05,
    kappa: float = 0.0,
    grains: float | None = None,
    factor: float = 1.0,
    u_g: float = 0.02,
    photos: int = 1,
) -> WeighedPortion:
    """A portion whose cells are all covered alike, truly by ``cover`` and as far as seen by what kappa leaves of it.

    ``factor`` is by how much the photo is off; ``grains`` the mass of a grain, mg.
    """
    cells = np.full(20, 1000 * grams / per_mm2 / 20 / cover / CELL_MM2)  # cells need not be whole ones
    seen = cover if kappa == 0 else (1 - np.exp(-kappa * cover)) / kappa
    shots = tuple(
        PortionShot(
            file=f"{grams:g}-{k}.jpg", sha256=f"{k:064x}", cell_cover=np.full(20, seen * factor), cell_mm2=CELL_MM2 * float(cells[0]), bare_mm2=0.0, u_bare_mm2=0.0,
            grains=None if grains is None else round(1000 * grams / grains), u_grains=0.5,
        )
        for k in range(photos)
    )  # fmt: skip
    return WeighedPortion(Quantity(grams, u_g), shots)


@pytest.fixture
def make_portion() -> Callable[..., WeighedPortion]:
    return portion


@pytest.fixture
def size_mm() -> tuple[float, float]:
    return SIZE_MM
