"""What each grain says of its place: log-likelihood ratios of "not reached" against "reached" by the machine."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import Floats, Mask
from ...inputs.patch import ZONES, Patch
from ..records import Fates, in_patch

#: What is taken as the share that stays where the machine never came, until strips say it; a few grains in a hundred
#: are matched wrongly, and no fewer should ever be believed: one wrong grain would outweigh many right ones.
UNREACHED = 0.97
#: Grains that a group's share is worth before its own grains are counted; keeps groups of few grains near the others.
_PRIOR_GRAINS = 10.0
#: Noise that is always allowed for: a share below two fifths then counts as gone, one above three fifths as stayed.
_LEAST_NOISE = 0.2
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


def weigh_grains(fates: Fates, patch: Patch, missed: Mask | None = None) -> LaneEvidence:
    """Weigh what became of every earlier grain of the patch.

    Parameters
    ----------
    fates : Fates
        What became of the grains.
    patch : Patch
        Where its middle lies.
    missed : ndarray of bool, shape (N,), optional
        Which of the patch's grains are thought to lie where the machine never came, to learn from; without it every
        kind and zone is taken as reached, which is the careful side: what stays is then held for less telling.

    Returns
    -------
    LaneEvidence
        Of the earlier grains that lie in the patch, in their order.

    Notes
    -----
    The share that stays where the machine came is learned by kind and zone. A grain stayed or it did not, a Bernoulli
    trial, and is seen with noise; values beyond 0 and 1, where no grain lies without, tell how large it is. So a value
    far out says no more than the certainty that the grain stayed would.
    """
    chosen = in_patch(fates.earlier)
    kind, zone = fates.earlier.kind[chosen].astype(int), fates.earlier.zone[chosen].astype(int)
    stayed = fates.stayed[chosen]
    away = np.zeros(len(stayed), bool) if missed is None else missed
    ratio = np.zeros(len(stayed))
    for number in range(len(fates.matched)):
        own = kind == number
        if own.any():
            ratio[own] = _ratios(stayed[own], zone[own], away[own])
    x = fates.earlier.x_mm[chosen] - patch.width_mm / 2
    y = fates.earlier.y_mm[chosen] - patch.height_mm / 2
    return LaneEvidence(x, y, ratio)


def _ratios(stayed: Floats, zone: NDArray[np.int_], away: Mask) -> Floats:
    """Log-likelihood ratios of one kind's grains."""
    reached = _shares(stayed, zone, ~away)[zone]
    missed = (stayed[away].sum() + _PRIOR_GRAINS * UNREACHED) / (away.sum() + _PRIOR_GRAINS)
    # A strip that loses more than a tenth was not left.
    missed = float(np.clip(missed, 0.9, UNREACHED))
    beyond = np.where(stayed < 0, stayed, stayed - 1)[(stayed < 0) | (stayed > 1)]
    noise = max(_LEAST_NOISE, float(np.sqrt(np.mean(beyond**2))) if len(beyond) else 0.0)
    # How much likelier such a value is of a grain that stayed than of one that did not; cut where it has no say left.
    likelier = np.exp(np.clip((2 * stayed - 1) / (2 * noise**2), -50, 50))
    return np.asarray(np.log((missed * likelier + 1 - missed) / (reached * likelier + 1 - reached)))


def _shares(value: Floats, zone: NDArray[np.int_], counted: Mask) -> Floats:
    """Share that stays by zone, drawn towards that of all zones where grains are few."""
    every = (value[counted].sum() + 0.5) / (counted.sum() + 1)
    sums = np.bincount(zone[counted], value[counted], len(ZONES))
    grains = np.bincount(zone[counted], minlength=len(ZONES))
    # Shares too near 0 or 1 would let a single wrong match outweigh all others.
    return np.asarray(np.clip((sums + _PRIOR_GRAINS * every) / (grains + _PRIOR_GRAINS), 1 - UNREACHED, 0.9))


def beyond_wall_gaps(evidence: LaneEvidence, patch: Patch) -> Mask:
    """Which grains lie beyond the gap that the machine leaves along a wall; all where it leaves none.

    Notes
    -----
    The gap ends where the summed ratios, counted from the foot of the wall, are largest; the count is broken off where
    they have fallen by more than chance makes them fall.
    """
    keep = np.ones(len(evidence), bool)
    widest = _WIDEST_GAP * min(patch.width_mm, patch.height_mm)
    half_x, half_y = patch.width_mm / 2, patch.height_mm / 2
    away = {
        "left": half_x + evidence.x_mm,
        "right": half_x - evidence.x_mm,
        "top": half_y + evidence.y_mm,
        "bottom": half_y - evidence.y_mm,
    }
    least = np.log(len(evidence) + 1.0)
    for wall in patch.walls:
        order = np.argsort(away[wall])
        order = order[away[wall][order] < widest]
        summed = np.cumsum(evidence.ratio[order])
        fallen = np.maximum.accumulate(np.maximum(summed, 0)) - summed > least
        end = int(np.argmax(fallen)) if fallen.any() else len(summed)
        if end and (top := int(np.argmax(summed[:end]))) and summed[top] > least:
            keep[order[: top + 1]] = False
    return keep
