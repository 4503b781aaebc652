"""Grains as drawn: size, outline, colour and mass, from the seed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..errors import SceneError
from ..photo.colour import srgb_to_linear
from .check import MOST_GRAINS
from .spec import Portion

#: Standard normal deviate of the 95th percentile.
_Z95 = 1.6448536269514722
#: Waves around an irregular grain's outline, following one another from 2.
HARMONICS = (2, 3, 4, 5)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Grains:
    """Grains of all kinds, one entry a grain in every array.

    An outline is, in the grain's own axes, x = a ρ cos θ and y = b ρ sin θ with
    ρ = 1 + Re Σ c_k exp(i k θ); its area is π a b (1 + Σ |c_k|² / 2). ``waves`` of shape (N, 4) holds
    the complex c_k of ``HARMONICS``; ``color`` of shape (N, 3) is linear light. ``mass_mg`` is NaN
    for kinds without an area mass.
    """

    kind: NDArray[np.int16]
    a_mm: Floats
    b_mm: Floats
    waves: NDArray[np.complex128]
    height_mm: Floats
    color: Floats
    area_mm2: Floats
    mass_mg: Floats

    def __len__(self) -> int:
        return len(self.kind)

    def take(self, chosen: Mask | NDArray[np.intp]) -> "Grains":
        """Those grains alone."""
        return Grains(**{name: getattr(self, name)[chosen] for name in self.__dataclass_fields__})


def draw_grains(portions: tuple[Portion, ...], patch_area_mm2: float, rng: np.random.Generator) -> Grains:
    """Draw the grains of every portion.

    Parameters
    ----------
    portions : tuple of Portion
        Checked by `check_spec`.
    patch_area_mm2 : float
        Area to which cover shares relate.
    rng : Generator
        Source of chance.

    Returns
    -------
    Grains
        As many as bring each portion closest to its area or mass.

    Raises
    ------
    SceneError
        More grains than ``MOST_GRAINS``.
    """
    parts = [_portion(k, portion, patch_area_mm2, rng) for k, portion in enumerate(portions)]
    grains = Grains(**{f: np.concatenate([getattr(p, f) for p in parts]) for f in Grains.__dataclass_fields__})
    order = rng.permutation(len(grains))
    return grains.take(order)


def _portion(number: int, portion: Portion, patch_area_mm2: float, rng: np.random.Generator) -> Grains:
    kind = portion.kind
    small, large = kind.size_mm
    # Lognormal through both percentiles (the usual description of granular matter, from memory).
    mu, sigma = np.log(small * large) / 2, np.log(large / small) / (2 * _Z95)
    mean_area = np.pi / 4 * np.exp(2 * mu + 2 * sigma**2)
    if portion.cover_share is not None:
        wanted = portion.cover_share * patch_area_mm2
    else:
        wanted = 1000 * (portion.grams or 0.0) / (kind.area_mass_mg_per_mm2 or 1.0)
    expected = wanted / mean_area
    if expected > MOST_GRAINS:
        raise SceneError(
            f'portion "{kind.name}" makes {expected:,.0f} grains; {MOST_GRAINS:,} are the most. '
            "Give a smaller load or larger grains."
        )
    count = int(expected + 6 * np.sqrt(expected + 1) + 10)
    # Cut at four deviations: a single giant grain would make up much of a small portion.
    diameter = np.exp(mu + sigma * np.clip(rng.standard_normal(count), -4, 4))
    area = np.pi / 4 * diameter**2
    if kind.area_mass_mg_per_mm2 is None:
        mass = np.full(count, np.nan)
    else:
        # Larger grains are thicker; the divisor keeps mean mass over mean area at the kind's area mass.
        mass = kind.area_mass_mg_per_mm2 * area * diameter / np.exp(mu + 2.5 * sigma**2)
    summed, goal = (area, wanted) if portion.grams is None else (mass, 1000 * portion.grams)
    count = int(np.argmin(np.abs(np.concatenate([[0.0], np.cumsum(summed)]) - goal)))
    diameter, area, mass = diameter[:count], area[:count], mass[:count]
    aspect, waves = _form(portion, count, rng)
    # Axes such that the area is that of the drawn diameter.
    product = area / (np.pi * (1 + (np.abs(waves) ** 2).sum(axis=1) / 2))
    a, b = np.sqrt(product * aspect), np.sqrt(product / aspect)
    lightness = np.exp(portion.color_spread * rng.standard_normal((count, 1)))
    tint = np.exp(0.3 * portion.color_spread * rng.standard_normal((count, 3)))
    color = np.clip(srgb_to_linear(np.array(kind.color_srgb) / 255) * lightness * tint, 0, 1)
    return Grains(
        kind=np.full(count, number, np.int16),
        a_mm=a,
        b_mm=b,
        waves=waves,
        height_mm=2 * b * portion.height_share,
        color=color,
        area_mm2=area,
        mass_mg=mass,
    )


def _form(portion: Portion, count: int, rng: np.random.Generator) -> tuple[Floats, NDArray[np.complex128]]:
    """Aspects and outline waves of a portion's grains."""
    waves = np.zeros((count, len(HARMONICS)), complex)
    if portion.shape == "round":
        return 1 + 0.06 * np.abs(rng.standard_normal(count)), waves
    if portion.shape == "long":
        return np.maximum(portion.aspect * np.exp(0.1 * rng.standard_normal(count)), 1.0), waves
    strength = 0.16 / np.array(HARMONICS, float)
    normal = rng.standard_normal((2, count, len(HARMONICS)))
    waves = np.clip(normal, -1.8, 1.8)[0] * strength + 1j * np.clip(normal, -1.8, 1.8)[1] * strength
    return 1 + 0.3 * rng.random(count), waves
