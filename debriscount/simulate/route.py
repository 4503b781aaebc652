"""Which floor a machine passes over in a pass: its way, less the places that it never reaches."""

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats, Mask
from ..inputs.patch import Patch
from .lanes import DrivenLanes, drive_lanes
from .spec import Cleaning
from .spiral import Spiral, spiral
from .wander import Wander, wander

#: Points over the patch by which a share of it is told: it then errs by well under a tenth of a percent.
_POINTS = 40_000


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """The way of one pass as driven; ``course`` is None where the machine passes everywhere."""

    patch: Patch
    cleaning: Cleaning
    course: DrivenLanes | Wander | Spiral | None

    def reaches(self, places_mm: Floats) -> Mask:
        """Which places the machine passes over.

        Parameters
        ----------
        places_mm : ndarray of shape (..., 2)
            Places on the floor, mm; x, y.

        Returns
        -------
        ndarray of bool, shape (...)
        """
        places = np.asarray(places_mm, float).reshape(-1, 2)
        passed = np.ones(len(places), bool) if self.course is None else self.course.over(places)
        passed &= ~self._never(places)
        return passed.reshape(np.shape(places_mm)[:-1])

    def _never(self, places: Floats) -> Mask:
        """Places that are out of reach whatever the way: at walls, in corners, under things, and those named."""
        patch, cleaning = self.patch, self.cleaning
        x, y = places.T
        to_wall = {wall: patch.to_side_mm(wall, x, y) for wall in patch.walls}
        never = ~patch.is_floor(x, y)
        for distance in to_wall.values():
            never |= distance < cleaning.wall_gap_mm
        for a, b in patch.wall_corners():
            never |= np.hypot(to_wall[a], to_wall[b]) < cleaning.corner_radius_mm
        if cleaning.missed_mm:
            from skimage.measure import points_in_poly
        for polygon in cleaning.missed_mm:
            never |= np.asarray(points_in_poly(places, np.array(polygon)), np.bool_)  # type: ignore[no-untyped-call]
        return never


def draw_route(patch: Patch, cleaning: Cleaning, rng: np.random.Generator) -> Route:
    """Draw the way of one pass.

    Parameters
    ----------
    patch : Patch
        Where the machine drives.
    cleaning : Cleaning
        Checked by `check_spec`.
    rng : Generator
        Source of chance of the way alone.

    Returns
    -------
    Route

    Raises
    ------
    SceneError
        A way that cannot pass over as much as it should.
    """
    course: DrivenLanes | Wander | Spiral | None = None
    if cleaning.path == "lanes":
        course = drive_lanes(patch, cleaning, rng)
    elif cleaning.path == "wander":
        course = wander(patch, cleaning, _points(patch), rng)
    elif cleaning.path == "spiral":
        course = spiral(patch, cleaning, _points(patch), rng)
    return Route(patch, cleaning, course)


def _points(patch: Patch) -> Floats:
    """Points evenly over the patch, shape (N, 2), mm."""
    step = np.sqrt(patch.width_mm * patch.height_mm / _POINTS)
    columns, rows = (int(np.ceil(size / step)) for size in (patch.width_mm, patch.height_mm))
    x = (np.arange(columns) + 0.5) * patch.width_mm / columns
    y = (np.arange(rows) + 0.5) * patch.height_mm / rows
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
