"""The first line of a result: the figure, and whether to trust it."""

from ..flags import Flag
from ..pickup.records import PassFigures, ZoneFigures
from ..pickup.trust import of_pass, reason
from ..run.records import Measurement
from ..shot_check.causes import EXPLAINED_BY
from .lookup import base_name
from .rounding import interval_text, pickup_text

UNFIT = "not fit to publish"


def verdict_text(measurement: Measurement) -> str:
    """Return in one sentence what was picked up after the last pass, and whether that may be trusted.

    "Picked up 77.5 % (76.4 to 78.7): sound." Faults of the photos are named even where they are too small to make the
    figure doubtful.
    """
    last = measurement.passes[-1]
    whole = last.zones["patch"]
    files = {shot.name: base_name(shot.file) or shot.name for shot in measurement.shots}
    flags = _flags(measurement, last)
    unfit = [flag for flag in flags if flag.severity == "unfit"]
    if unfit:
        return f"{UNFIT[0].upper()}{UNFIT[1:]}: {reason(unfit, files)}."
    if whole.trust == "not measurable":
        return f"Not measurable: {whole.why}."
    passes = f" in {last.number} passes" if last.number > 1 else ""
    said = f"{_picked_up(whole)}{passes}: {whole.trust}"
    if whole.why:
        return f"{said}, because {whole.why}."
    though = [flag for flag in flags if flag.code in EXPLAINED_BY]
    return f"{said}, though {reason(though, files)}." if though else f"{said}."


def trust_word(measurement: Measurement, figures: PassFigures) -> str:
    """Return in a word or two whether the patch's pickup of a pass may be trusted."""
    unfit = any(flag.severity == "unfit" for flag in _flags(measurement, figures))
    return UNFIT if unfit else figures.zones["patch"].trust


def is_sound(measurement: Measurement) -> bool:
    """Whether the pickup of the patch after the last pass is sound."""
    return measurement.passes[-1].zones["patch"].trust == "sound"


def _flags(measurement: Measurement, figures: PassFigures) -> list[Flag]:
    """Flags that concern the patch's pickup of a pass."""
    return [flag for flag in of_pass(measurement.flags, figures.number) if flag.zone in (None, "patch")]


def _picked_up(figures: ZoneFigures) -> str:
    if figures.more_than_percent is not None:
        return f"Picked up {pickup_text(figures)}"
    interval = "" if figures.interval95 is None else f" ({interval_text(figures.interval95).removesuffix(' %')})"
    said = f"{pickup_text(figures)}{interval}"
    if figures.pickup_percent is not None and figures.pickup_percent < 0:
        return f"Picked up nothing, {said}: more debris lies in the patch than before"
    return f"Picked up {said}"
