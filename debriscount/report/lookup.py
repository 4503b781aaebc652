"""Where the parts of a measurement belong to one another."""

from collections.abc import Mapping
from typing import TypeVar

import numpy as np

from ..inputs.patch import ZONES, Patch, zone_in_patch
from ..leftovers.records import WhyLeft
from ..pickup.records import Amount, PassFigures, ZoneFigures
from ..run.records import MeasuredShot, Measurement

T = TypeVar("T")


def shot_name_of_pass(number: int) -> str:
    """Name of the shot taken after a pass: "after", "after2", …."""
    return "after" if number == 1 else f"after{number}"


def zones_in_order(zones: Mapping[str, T], patch: Patch) -> dict[str, T]:
    """Zones as they are reported: the patch, its own zones, then the user's.

    A zone that needs a wall is left out where the patch has no such wall.
    """
    missing = set(ZONES) - set(patch.zone_names())
    wanted = ["patch", *ZONES, *zones]
    return {name: zones[name] for name in dict.fromkeys(wanted) if name in zones and name not in missing}


def pass_of(shot: MeasuredShot, measurement: Measurement) -> PassFigures | None:
    """Return the pass that the shot shows the end of, or None for *blank* and *before*."""
    for figures in measurement.passes:
        if shot_name_of_pass(figures.number) == shot.name:
            return figures
    return None


def why_of(shot: MeasuredShot, measurement: Measurement) -> WhyLeft | None:
    """Return why debris stayed in the pass that the shot shows the end of, or None where nothing is known of it."""
    figures = pass_of(shot, measurement)
    return None if figures is None else measurement.left.why(figures.number)


def figures_of(shot: MeasuredShot, measurement: Measurement) -> dict[str, ZoneFigures]:
    """Return the zones' figures of the pass before the shot; empty for *blank* and *before*."""
    figures = pass_of(shot, measurement)
    return {} if figures is None else zones_in_order(figures.zones, measurement.patch)


def has_pass_curve(measurement: Measurement) -> bool:
    """Whether there are two passes or more of which it is known what each brought."""
    return len(measurement.passes) > 1 and len(measurement.left.steps) == len(measurement.passes)


def amount_in_patch(shot: MeasuredShot, measurement: Measurement) -> Amount:
    """Debris in the patch in this shot, as its pass states it; for a *blank* from its grains."""
    figures = figures_of(shot, measurement)
    if figures:
        return figures["patch"].after
    if shot.name == "before" and measurement.passes:
        return measurement.passes[0].zones["patch"].before
    inside = zone_in_patch(shot.grains.zone)
    return Amount(float(shot.grains.area_mm2[inside].sum()), int(np.count_nonzero(inside)), None)


def base_name(file: str) -> str:
    """Last part of a path written on any system, so that a record shows no folders."""
    return file.replace("\\", "/").rsplit("/", 1)[-1]
