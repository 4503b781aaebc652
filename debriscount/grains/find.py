"""From a cover map to grains: where they lie and how much floor each hides."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cover.kinds import KindHint
from ..cover.maps import ShotCover
from . import gathered, outlined
from .labelled import sum_grains
from .one_kind import kinds_by_grain
from .shade import unclaimed_shades

#: Standard uncertainty of the colour limit, as a share of full cover for grains with an outline, of the limit itself
#: for finer ones. Set by hand with 80 simulated runs and the rendered photo sets in view, checked on other simulated
#: runs (tests/benchmarks/coverage.py).
LIMIT_U, FINE_LIMIT_U = 0.01, 0.15
#: Standard uncertainty of the mean area of grains that only their shade gives away, in standard deviations of grains:
#: that of the larger or the smaller half's mean over the whole's is 0.8; a third of it is a guess.
UNSEEN_U = 0.27


@dataclass(frozen=True, slots=True, eq=False)
class FoundGrains:
    """Grains of one shot in pixels of the floor view.

    ``kind``, ``x_px``, ``y_px``, ``area_px`` and ``clump`` hold one entry a grain, the last being the number of what
    hangs together; ``limit_px`` is what the area loses when the shot's colour limit is tighter by its standard
    uncertainty. ``kind_map`` of shape (H, W) is 0 on floor and 1 + kind on debris; ``labels``, also (H, W), is 0 on
    floor and 1 + the grain's entry where its debris is summed, a rim around it included.
    """

    kind: NDArray[np.int16]
    x_px: NDArray[np.float64]
    y_px: NDArray[np.float64]
    area_px: NDArray[np.float64]
    limit_px: NDArray[np.float64]
    clump: NDArray[np.int32]
    kind_map: NDArray[np.uint8]
    labels: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.x_px)


def find_grains(shot: ShotCover, kinds: Sequence[KindHint]) -> FoundGrains:
    """Find the grains of every kind in a shot.

    Parameters
    ----------
    shot : ShotCover
        Cover, its noise and the likeliest kind of each pixel.
    kinds : sequence of KindHint
        The kinds of debris, as the cover stage took them.

    Returns
    -------
    FoundGrains
    """
    kind_map = np.zeros(shot.cover.shape, np.uint8)
    labels = np.zeros(shot.cover.shape, np.int32)
    parts = []
    clumps = grains = 0
    kind_of = kinds_by_grain(shot, kinds)
    for k, kind in enumerate(kinds):
        cover = shot.cover if len(kinds) == 1 else np.where(kind_of == k, shot.cover, np.float32(0))
        if kind.outlined:
            usual = shot.usual_apart[k] if shot.usual_apart else np.inf
            found = outlined.outlined_grains(cover, shot, kind, shot.spread[k], usual)
        else:
            found = gathered.gathered_grains(cover, shot, kind, shot.full[k] if shot.full else 1.0)
        kind_map[found.mask] = k + 1
        sums = sum_grains(found)
        step = LIMIT_U / outlined.TIGHTER if kind.outlined else FINE_LIMIT_U / gathered.TIGHTER
        limit = step * (sums.area_px - sums.tight_px)
        parts.append((np.full(len(limit), k, np.int16), sums.x_px, sums.y_px, sums.area_px, limit, clumps + sums.clump))
        clumps += int(sums.clump.max(initial=0)) + 1
        entry = np.zeros(int(found.labels.max(initial=0)) + 1, np.int32)
        entry[sums.label] = grains + 1 + np.arange(len(limit), dtype=np.int32)
        np.copyto(labels, entry[found.labels], where=found.labels > 0)
        grains += len(limit)
    number, x, y, area, limit, clump = (np.concatenate([p[i] for p in parts]) for i in range(6))
    return _with_shaded(FoundGrains(number, x, y, area, limit, clump, kind_map, labels), shot, kinds)


def least_area_px(kind: KindHint) -> float:
    """Area of the smallest thing that `find_grains` takes for a grain of a kind, px."""
    return outlined.least_area_px(kind) if kind.outlined else gathered.least_area_px(kind)


def _with_shaded(found: FoundGrains, shot: ShotCover, kinds: Sequence[KindHint]) -> FoundGrains:
    """Add the grains that only their shade gives away, as grains of the kind whose cover is least certain.

    Their outline is not seen, so each is given the mean area of the grains found; which of them go unseen may depend on
    their size, so the mean is uncertain by a part of the standard deviation from grain to grain.
    """
    noise = [
        float(np.median(shot.sigma[found.kind_map == k + 1])) if kind.outlined and (found.kind == k).any() else 0.0
        for k, kind in enumerate(kinds)
    ]
    faintest = int(np.argmax(noise))
    if noise[faintest] == 0:
        return found
    own = found.kind == faintest
    shades = unclaimed_shades(shot.light, found.kind_map > 0, found.x_px, found.y_px, kinds[faintest])
    count = len(shades.x_px)
    areas = found.area_px[own]
    mask = shades.labels > 0
    found.kind_map[mask] = faintest + 1
    found.labels[mask] = len(found) + shades.labels[mask]
    return FoundGrains(
        np.concatenate([found.kind, np.full(count, faintest, np.int16)]),
        np.concatenate([found.x_px, shades.x_px]),
        np.concatenate([found.y_px, shades.y_px]),
        np.concatenate([found.area_px, np.full(count, areas.mean())]),
        np.concatenate([found.limit_px, np.full(count, UNSEEN_U * areas.std())]),
        np.concatenate([found.clump, int(found.clump.max(initial=0)) + 1 + np.arange(count, dtype=np.int32)]),
        found.kind_map,
        found.labels,
    )
