"""Which markers lie elsewhere than the patch file says, in all shots alike."""

from collections.abc import Sequence

import numpy as np

from .fit import FittedViews, SeenCorners, fit_views
from .lens import Lens

#: A marker off by this much is worth a warning: a tape measure places it to about a millimetre.
ASKEW_MM = 1.5
#: Standard uncertainties from which a marker is held to be misplaced and left out: in simulated layouts, taped to 0.3
#: to 1.5 mm with one marker farther off, places on the patch were then better known without it.
SURE = 4.0


def misplaced_marker(
    ids: Sequence[Sequence[int]],
    shots: Sequence[SeenCorners],
    fitted: FittedViews,
    lens: Sequence[Lens] | None,
) -> tuple[int, float] | None:
    """Find the one marker that the others disagree with most.

    Parameters
    ----------
    ids : sequence of sequence of int
        Markers of each shot, in the order of its corners.
    shots : sequence of SeenCorners
        Their corners.
    fitted : FittedViews
        The fit to all of them.
    lens : sequence of Lens, optional
        Of every shot, where it is known.

    Returns
    -------
    tuple of int and float, or None
        Number, and how far it lies from its place, mm. None where it is no farther off than markers are laid, or where
        a shot has fewer than three others.

    Notes
    -----
    A fit to all markers shares the error of one out among the others; so each is left out in turn, and held against
    where the rest has it.
    """
    if 3 * fitted.laid_mm < ASKEW_MM:
        return None
    worst: tuple[float, int, float] | None = None
    for number in sorted({number for those in ids for number in those}):
        rest = [_without(those, shot, number) for those, shot in zip(ids, shots, strict=True)]
        if min(len(shot.floor_mm) for shot in rest) < 12:
            continue
        others = fit_views(rest, lens)
        off, u = _off(number, ids, shots, others)
        times = off / float(np.sqrt(2 * (u**2 + others.laid_mm**2)))
        if off > ASKEW_MM and times > SURE and (worst is None or times > worst[0]):
            worst = times, number, off
    return None if worst is None else worst[1:]


def _without(ids: Sequence[int], shot: SeenCorners, number: int) -> SeenCorners:
    kept = np.repeat([one != number for one in ids], 4)
    return SeenCorners(shot.floor_mm[kept], shot.photo_px[kept], shot.sigma_px[kept], shot.size_px)


def _off(
    number: int, ids: Sequence[Sequence[int]], shots: Sequence[SeenCorners], others: FittedViews
) -> tuple[float, float]:
    """How far a marker's middle is from its place, mean of all shots, and the uncertainty of that place, mm."""
    offs, u = [], []
    for k, (those, shot) in enumerate(zip(ids, shots, strict=True)):
        if number in those:
            corners = slice(4 * those.index(number), 4 * those.index(number) + 4)
            there = shot.floor_mm[corners].mean(axis=0, keepdims=True)
            offs.append(others.views[k].floor_mm(shot.photo_px[corners]).mean(axis=0) - there[0])
            u.append(float(others.place_u_mm(k, there)[0]))
    return float(np.hypot(*np.mean(offs, axis=0))), float(np.mean(u))
