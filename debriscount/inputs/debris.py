"""A kind of debris as its file describes it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationPortion:
    """A weighed portion that a kind's masses were learned from: its photos, and what they showed.

    ``area_mm2`` has crowding undone; ``grains`` is None where grains were too fine to be counted.
    """

    photos: tuple[str, ...]
    sha256: tuple[str, ...]
    grams: float
    u_grams: float
    area_mm2: float
    grains: float | None = None


@dataclass(frozen=True, slots=True)
class DebrisCalibration:
    """How a kind's masses were learned.

    ``date`` is in ISO 8601; ``patch`` names where the portions lay; ``remark`` says what the photos are. The rest are
    standard uncertainties, ``dof_area_mass`` and ``dof_grain_mass`` their degrees of freedom, None for many. A
    ``thousand_grain_mass_g`` was weighed apart.
    """

    date: str
    patch: str
    u_area_mass_mg_per_mm2: float
    portions: tuple[CalibrationPortion, ...]
    dof_area_mass: float | None = None
    u_grain_mass_mg: float | None = None
    dof_grain_mass: float | None = None
    u_crowding: float | None = None
    thousand_grain_mass_g: float | None = None
    u_thousand_grain_mass_g: float | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class DebrisKind:
    """What is known of one kind of debris before any photo is looked at.

    ``color_srgb`` is the rough daylight colour, 0 to 255 a channel; ``size_mm`` the 5th and 95th
    percentile of grain diameter. ``calibration`` says how the masses were learned, if from weighed portions.
    """

    name: str
    color_srgb: tuple[int, int, int]
    size_mm: tuple[float, float]
    grain_mass_mg: float | None = None
    area_mass_mg_per_mm2: float | None = None
    crowding: float = 0.0
    calibration: DebrisCalibration | None = None
