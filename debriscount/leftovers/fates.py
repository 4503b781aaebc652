"""What became of every grain between two shots: the record that all of this stage works on."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..grains.table import GrainTable
from ..inputs.patch import MARGIN, OUTSIDE

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Fates:
    """The grains of an earlier and a later shot, and how far each lies in both.

    ``stayed`` has one entry a grain of ``earlier``: the share of it that still lies in its place, which `trace` rounds
    to 0 or 1. ``untouched`` has one entry a grain of ``later``: the chance that it lay there before; it is 0 for what
    was moved and nearly 1 for what was not, less what chance overlap gives, so that sums over many grains are right.
    ``matched`` has one entry a kind: whether its grains are large enough to be compared one by one by their middles as
    well. ``least_shift_mm``, by kind too, is the shortest shift that is told from lying still; ``u_untouched_percent``,
    by kind, the standard uncertainty of the untouched share of all of that kind's leftovers, percentage points, and
    ``chance_percent`` how much of what was only moved would pass for untouched by chance.
    """

    earlier: GrainTable
    later: GrainTable
    stayed: Floats
    untouched: Floats
    matched: tuple[bool, ...]
    least_shift_mm: tuple[float, ...]
    u_untouched_percent: tuple[float, ...]
    chance_percent: tuple[float, ...]

    def only(self, earlier: NDArray[np.bool_], later: NDArray[np.bool_]) -> "Fates":
        """Some of the grains alone; masks of shape (len(self.earlier),) and (len(self.later),)."""
        return replace(
            self,
            earlier=self.earlier.take(earlier),
            later=self.later.take(later),
            stayed=self.stayed[earlier],
            untouched=self.untouched[later],
        )


def in_patch(grains: GrainTable) -> NDArray[np.bool_]:
    """Which grains lie in the patch, shape (N,)."""
    return np.asarray((grains.zone != MARGIN) & (grains.zone != OUTSIDE))
