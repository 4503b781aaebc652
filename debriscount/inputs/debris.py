"""A kind of debris as its file describes it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DebrisKind:
    """What is known of one kind of debris before any photo is looked at.

    ``color_srgb`` is the rough daylight colour, 0 to 255 a channel; ``size_mm`` the 5th and 95th
    percentile of grain diameter.
    """

    name: str
    color_srgb: tuple[int, int, int]
    size_mm: tuple[float, float]
    grain_mass_mg: float | None = None
    area_mass_mg_per_mm2: float | None = None
    crowding: float = 0.0
