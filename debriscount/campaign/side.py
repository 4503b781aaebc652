"""Measurements beside the photos: sound, air flow, suction, time, height, mass, volume.

Values are kept in the unit they were read in; they are converted when they are shown.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import fmean, stdev
from typing import Any

from ..errors import CampaignError
from ..inputs.faults import closest
from ..inputs.names import MOST_NAME
from ..inputs.toml_guard import LEAST_NUMBER, MOST_NUMBER
from ..printable import printable, spoils
from ..stats.decibel import energy_mean_db
from .records import SideMeasurement

#: Readings of one quantity that anybody takes at once.
_MOST_READINGS = 1000
_YES, _NO = ("yes", "climbed"), ("no", "not climbed")


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something that is measured beside the photos; shown in ``unit``. A level is averaged by energy."""

    unit: str
    level: bool = False
    yes_or_no: bool = False
    least: float | None = 0.0


QUANTITIES: Mapping[str, Quantity] = {
    "sound-level": Quantity("dB", level=True, least=None),
    "air-flow": Quantity("l/s"),
    "suction": Quantity("Pa"),
    "run-time": Quantity("min"),
    "height": Quantity("mm"),
    "climbed": Quantity("", yes_or_no=True),
    "mass": Quantity("g"),
    "bin-volume": Quantity("ml"),
}
#: A unit as one writes it, "m³/h" or "kg*m^2"; nothing else goes to the parser, which would reckon with it for hours.
_TERM = r"[A-Za-zµμ%][A-Za-z0-9_]*(?:(?:\^|\*\*)-?[1-9]|[²³])?"
_UNIT = re.compile(rf"{_TERM}(?: *[*/· ] *{_TERM}){{0,5}}")
_MOST_UNIT = 40
#: Ways in which a sound level meter writes its unit: the weighting is no unit of its own.
#: Levels as people write them; those weighted by other curves are other quantities, and stay what they are.
_DECIBELS = {"db": "dB", "dba": "dB(A)", "db(a)": "dB(A)", "dbc": "dB(C)", "db(c)": "dB(C)"}


@dataclass(frozen=True, slots=True)
class SideFigure:
    """Mean of readings in the unit that they are shown in, with the standard uncertainty of it where that is known."""

    value: float
    u: float | None
    unit: str
    readings: int


def side_measurement(
    quantity: str,
    readings: Sequence[str],
    unit: str,
    *,
    uncertainty: str | None = None,
    instrument: str = "",
    at: str = "",
    when: str = "",
) -> SideMeasurement:
    """Return a measurement from what a person wrote.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`.
    readings : sequence of str
        Numbers with a decimal point or comma; "yes" or "no" for climbed.
    unit : str
        As read, such as "m³/h"; "" for the usual one.
    uncertainty : str, optional
        Standard uncertainty of a reading, in the same unit.
    instrument, at, when : str
        What it was measured with, under which setting or where, and when.

    Raises
    ------
    CampaignError
        The quantity is unknown, the unit is none of it, or a reading is no number that can be.
    """
    kind = QUANTITIES.get(quantity)
    if kind is None:
        raise CampaignError(f'"{quantity}" is no side measurement. {closest(quantity, QUANTITIES)}')
    for text in (instrument, at):
        if len(text) > MOST_NAME or spoils(text):
            raise CampaignError(f"a name must have at most {MOST_NAME} characters and no control characters.")
    if not 0 < len(readings) <= _MOST_READINGS:
        raise CampaignError(f"{quantity}: give from 1 to {_MOST_READINGS} readings, got {len(readings)}.")
    if kind.yes_or_no:
        values = tuple(_yes_or_no(quantity, text) for text in readings)
        if unit or uncertainty:
            raise CampaignError(f"{quantity} has neither unit nor uncertainty. Leave them out.")
    else:
        unit = unit or kind.unit
        _factor(quantity, unit)
        values = tuple(_reading(quantity, text, kind.least) for text in readings)
    doubt = None if uncertainty is None else _reading("uncertainty", uncertainty, 0.0)
    return SideMeasurement(
        quantity=quantity, values=values, unit=unit, uncertainty=doubt, instrument=instrument, at=at, when=when
    )


def side_figure(side: SideMeasurement) -> SideFigure:
    """Return the mean of a measurement's readings in the unit that it is shown in; a level's by energy.

    Notes
    -----
    A level's mean is that of `debriscount.stats.decibel`. The uncertainty is that of the mean of the readings, from
    what they scatter and, once for all of them, from what is said of the instrument: an instrument's error is in every
    reading.
    CampaignError where quantity or unit are unknown, as a file that was changed by hand may have them.
    """
    kind = QUANTITIES.get(side.quantity)
    if kind is None:
        raise CampaignError(f'"{side.quantity}" is no side measurement. {closest(side.quantity, QUANTITIES)}')
    values = side.values
    scatter = stdev(values) / math.sqrt(len(values)) if len(values) > 1 else None
    known = [u for u in (scatter, side.uncertainty) if u is not None]
    u = math.hypot(*known) if known else None
    if kind.yes_or_no:
        return SideFigure(100 * fmean(values), None, "%", len(values))
    if kind.level:
        return SideFigure(energy_mean_db(values), u, _level_unit(side.unit) or kind.unit, len(values))
    factor = _factor(side.quantity, side.unit)
    return SideFigure(factor * fmean(values), None if u is None else factor * u, kind.unit, len(values))


def shown_side(side: SideMeasurement) -> str:
    """Return a measurement for people: its mean in the usual unit, and the readings as they are kept."""
    try:
        figure = side_figure(side)
    except CampaignError as error:
        return str(error)
    if QUANTITIES[side.quantity].yes_or_no:
        yes = sum(value == 1 for value in side.values)
        if len(side.values) == 1:
            return "yes" if yes else "no"
        return f"{yes} of {len(side.values)} times"
    read = ", ".join(f"{value:g}" for value in side.values)
    u = "" if figure.u is None else f" ± {figure.u:.2g}"
    mean = "energy mean of " if QUANTITIES[side.quantity].level else "mean of "
    as_read = f"read {mean * (len(side.values) > 1)}{read} {side.unit}"
    return f"{figure.value:.4g}{u} {figure.unit} ({as_read})"


def _factor(quantity: str, unit: str) -> float:
    """By what a reading is multiplied to come into the quantity's usual unit."""
    kind = QUANTITIES[quantity]
    if kind.level:
        if _level_unit(unit) is None:
            raise CampaignError(f'{quantity}: "{unit}" is no level in decibels. Give it in dB, such as dB(A).')
        return 1.0
    if len(unit) > _MOST_UNIT or not _UNIT.fullmatch(unit):
        raise CampaignError(f'{quantity}: "{printable(unit, _MOST_UNIT)}" is no unit. Give one such as {kind.unit}.')
    registry, errors = _units()
    written = unit.replace("³", "**3").replace("²", "**2").replace("·", "*")
    try:
        return float(registry.Quantity(1, written).to(kind.unit).magnitude)
    except errors as error:
        reason = str(error).splitlines()[0] if str(error) else "no unit"
        raise CampaignError(
            f'{quantity}: "{unit}" cannot be turned into {kind.unit} ({reason}). Give a unit such as {kind.unit}.'
        ) from None


def _level_unit(unit: str) -> str | None:
    return _DECIBELS.get(unit.lower().replace(" ", ""))


@cache
def _units() -> tuple[Any, tuple[type[Exception], ...]]:
    import pint

    # What its parser stumbles over comes as errors of Python's own.
    return pint.UnitRegistry(), (pint.PintError, AssertionError, ValueError, TypeError, AttributeError, KeyError)


def _reading(what: str, text: str, least: float | None) -> float:
    try:
        value = float(text.strip().replace(",", ".", 1))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > MOST_NUMBER or 0 < abs(value) < LEAST_NUMBER:
        raise CampaignError(f'{what}: a reading must be a number, such as 61.5, got "{text}".')
    if least is not None and value < least:
        raise CampaignError(f"{what}: a reading must be {least:g} or more, got {value:g}.")
    return value


def _yes_or_no(what: str, text: str) -> float:
    word = text.strip().lower()
    if word not in (*_YES, *_NO):
        raise CampaignError(f'{what}: answer yes or no, got "{text}".')
    return 1.0 if word in _YES else 0.0
