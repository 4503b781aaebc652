"""Grains strewn at random and what became of them, without photos and without a machine."""

import numpy as np
from numpy.typing import NDArray

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.reach.sites import Sites, gather_sites
from debriscount.leftovers.records import Fates

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
OPEN_FLOOR = lay_patch(600, 400)
WALLED = lay_patch(600, 400, ("top",))
CORNER = lay_patch(600, 400, ("top", "left"))


def strewn(count: int, patch: Patch, seed: int) -> tuple[Floats, Floats]:
    x, y = np.random.default_rng(seed).random((2, count)) * np.array([[patch.width_mm], [patch.height_mm]])
    return x, y


def fates_of(x: Floats, y: Floats, stayed: Floats, patch: Patch = OPEN_FLOOR, matched: bool = True) -> Fates:
    table = GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), 5.0), patch.zone_codes(x, y))
    return Fates(
        earlier=table,
        later=table,
        stayed=stayed,
        untouched=stayed,
        matched=(matched,),
        least_shift_mm=(0.3,),
        u_untouched_percent=(1.0,),
        chance_percent=(0.0,),
    )


def sites_of(x: Floats, y: Floats, stayed: Floats, patch: Patch = OPEN_FLOOR, matched: bool = True) -> Sites:
    return gather_sites(fates_of(x, y, stayed, patch, matched), patch)


def left(reached: Bools, stays: float, seed: int) -> Floats:
    """Fates of grains of which ``stays`` lie still where the machine acted, and all elsewhere."""
    return np.where(reached, np.random.default_rng(seed).random(len(reached)) < stays, True).astype(float)
