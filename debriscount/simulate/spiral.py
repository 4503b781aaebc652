"""A spiral outward from a spot: the floor that a machine passes over when it cleans around where it was set down."""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..errors import SceneError
from ..inputs.patch import Patch
from .spec import Cleaning


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Spiral:
    """An Archimedean spiral about ``center_mm`` that sets out towards ``start_rad`` and ends at ``end_mm`` from it.

    ``turn`` is 1 where angles grow along the way (from x towards y), otherwise -1. Windings lie ``pitch_mm`` apart;
    what lies less than half of ``width_mm`` from one, along the radius, is passed over, and so is the spot itself.
    """

    center_mm: tuple[float, float]
    start_rad: float
    turn: int
    pitch_mm: float
    width_mm: float
    end_mm: float

    def over(self, places_mm: Floats) -> Mask:
        """Which places of shape (N, 2) are passed over, shape (N,)."""
        x, y = (places_mm - self.center_mm).T
        radius = np.hypot(x, y)
        turned = np.mod(self.turn * (np.arctan2(y, x) - self.start_rad) / (2 * np.pi), 1)
        # The winding before the first would cover nothing but the spot.
        winding = np.round(radius / self.pitch_mm - turned) + turned
        near = np.minimum(radius, np.abs(radius - self.pitch_mm * winding)) < self.width_mm / 2
        return np.asarray(near & (radius <= self.end_mm))


def spiral(patch: Patch, cleaning: Cleaning, points_mm: Floats, rng: np.random.Generator) -> Spiral:
    """Draw a spiral that goes on until the wanted share is passed over.

    Parameters
    ----------
    patch : Patch
        The spiral begins anywhere in it.
    cleaning : Cleaning
        Checked by `check_spec`.
    points_mm : ndarray of shape (N, 2)
        Points evenly over the patch, by which the share is told.
    rng : Generator
        Source of chance.

    Returns
    -------
    Spiral

    Raises
    ------
    SceneError
        The gaps between windings leave more than may stay.
    """
    x, y = rng.random(2) * (patch.width_mm, patch.height_mm)
    start, turn = float(rng.uniform(0, 2 * np.pi)), int(rng.choice((-1, 1)))
    endless = Spiral(
        center_mm=(float(x), float(y)),
        start_rad=start,
        turn=turn,
        pitch_mm=cleaning.pitch_mm,
        width_mm=cleaning.width_mm,
        end_mm=np.inf,
    )
    passed = endless.over(points_mm)
    wanted = int(np.ceil(cleaning.reach_share * len(points_mm)))
    if passed.sum() < wanted:
        raise SceneError(
            f"passes: a spiral with width_mm {cleaning.width_mm:g} and pitch_mm {cleaning.pitch_mm:g} passes over "
            f"{100 * passed.mean():.0f} % of the patch, not {100 * cleaning.reach_share:g} %. "
            "Widen it, or give less pitch_mm or reach_share."
        )
    far = np.sort(np.hypot(*(points_mm[passed] - (x, y)).T))
    return Spiral(
        center_mm=endless.center_mm,
        start_rad=start,
        turn=turn,
        pitch_mm=cleaning.pitch_mm,
        width_mm=cleaning.width_mm,
        end_mm=float(far[max(wanted, 1) - 1]),
    )
