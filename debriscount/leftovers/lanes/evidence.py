"""Grains as the search for lanes takes them: counted from the middle of the patch, those in walls' gaps left out."""

from dataclasses import dataclass

import numpy as np

from ...arrays import Floats, Mask
from ...inputs.patch import Patch
from ..gaps import against_usual, gap_depth
from ..reach.survival import GrainEvidence
from ..records import Fates

#: A gap along a wall is at most this share of the patch's shorter side; more than that is not the wall's doing.
_WIDEST_GAP = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class LaneEvidence:
    """Grains of the patch, one entry a grain in every array.

    ``x_mm`` and ``y_mm`` are counted from the middle of the patch. ``ratio`` is the log-likelihood ratio of "the
    machine did not reach this place" against "it did".
    """

    x_mm: Floats
    y_mm: Floats
    ratio: Floats

    def __len__(self) -> int:
        return len(self.x_mm)

    def take(self, chosen: Mask) -> "LaneEvidence":
        """Those grains alone."""
        return LaneEvidence(self.x_mm[chosen], self.y_mm[chosen], self.ratio[chosen])

    def across_along(self, heading_deg: float) -> tuple[Floats, Floats]:
        """Places across and along a heading, mm from the middle of the patch."""
        heading = np.deg2rad(heading_deg)
        sine, cosine = np.sin(heading), np.cos(heading)
        return self.y_mm * cosine - self.x_mm * sine, self.x_mm * cosine + self.y_mm * sine


def beyond_wall_gaps(said: GrainEvidence, fates: Fates, patch: Patch) -> LaneEvidence:
    """The grains that likely lie beyond the gaps that the machine leaves along walls: a gap would pass for a strip.

    Parameters
    ----------
    said : GrainEvidence
        What each grain of the patch says of its place.
    fates : Fates
        The grains.
    patch : Patch
        Its walls.
    """
    x, y = fates.earlier.x_mm[said.inside], fates.earlier.y_mm[said.inside]
    ratio = against_usual(np.zeros(len(x)), said.ratio, said.usual)
    keep = np.ones(len(x), bool)
    for wall in patch.walls:
        gap = gap_depth(patch.to_side_mm(wall, x, y), ratio, _WIDEST_GAP * min(patch.width_mm, patch.height_mm))
        keep[gap.near[gap.inside() > 0.5]] = False
    return LaneEvidence(x - patch.width_mm / 2, y - patch.height_mm / 2, said.ratio).take(keep)
