"""How far a weighed portion may lie from the line mass = area mass × area, and why."""

import math
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from .crowding import portion_area_mm2
from .records import WeighedPortion

#: Standard normal deviate of the 95th percentile.
_Z95 = 1.6448536269514722
#: Standard deviation of the share by which light and sharpness make a photo's grains larger than another's, for photos
#: of one patch taken one after another (tests/benchmarks/portions.py).
LIGHT = 0.007


def size_spread(size_mm: tuple[float, float]) -> float:
    """Standard deviation of the logarithm of grain diameter, from its 5th and 95th percentile (lognormal)."""
    return math.log(size_mm[1] / size_mm[0]) / (2 * _Z95)


def area_mass_spread(size_mm: tuple[float, float]) -> float:
    """Relative standard deviation from grain to grain of mass over area: in grains of one form that is as diameter."""
    return math.sqrt(math.expm1(size_spread(size_mm) ** 2))


def grain_mass_spread(size_mm: tuple[float, float]) -> float:
    """Relative standard deviation, from grain to grain, of mass: in grains of one form that is as diameter cubed."""
    return math.sqrt(math.expm1((3 * size_spread(size_mm)) ** 2))


def grains_by_area(area_mm2: float, size_mm: tuple[float, float]) -> float:
    """How many grains of equal area would average as well as those of an area do.

    Of lognormal diameters, (sum of areas)² over sum of squared areas is the area over the mean area times
    exp(4 sigma²).
    """
    sigma = size_spread(size_mm)
    median_mm2 = math.pi / 4 * size_mm[0] * size_mm[1]
    return area_mm2 / (median_mm2 * math.exp(2 * sigma**2) * math.exp(4 * sigma**2))


def u_from_line_mg(
    mass_mg: float, u_mass_mg: float, area_mm2: float, u_bare_mm2: float, photos: int, size_mm: tuple[float, float]
) -> float:
    """Return the standard uncertainty of a portion's distance from the line, mg.

    Parameters
    ----------
    mass_mg, u_mass_mg : float
        Of the portion, by the scale.
    area_mm2, u_bare_mm2 : float
        As seen; and of what the bare floor shows as debris.
    photos : int
        How many photos of it were averaged.
    size_mm : (float, float)
        5th and 95th percentile of grain diameter.

    Notes
    -----
    The scale, the light of the photos (``LIGHT``, each photo anew), the floor's own
    'debris', and which grains happened to be in the portion, as variances.
    """
    light = mass_mg * LIGHT / math.sqrt(photos)
    sample = mass_mg * area_mass_spread(size_mm) / math.sqrt(max(grains_by_area(area_mm2, size_mm), 1.0))
    bare = mass_mg / area_mm2 * u_bare_mm2
    return math.hypot(u_mass_mg, light, sample, bare)


def portion_u_mg(portions: Sequence[WeighedPortion], size_mm: tuple[float, float]) -> Floats:
    """`u_from_line_mg` of every portion, shape (N,)."""
    return np.array(
        [
            u_from_line_mg(
                1000 * p.mass_g.value,
                1000 * p.mass_g.u,
                portion_area_mm2(p.shots, 0.0),
                math.sqrt(sum(s.u_bare_mm2**2 for s in p.shots)) / len(p.shots),
                len(p.shots),
                size_mm,
            )
            for p in portions
        ]
    )
