"""A run's photos beside its weighings, for the terminal."""

from collections.abc import Sequence

from ..figures.records import ScaleFigures
from ..scale.agreement import Agreement
from ..scale.quantity import Quantity
from .columns import aligned, wrapped
from .rounding import interval_text, percent_text

#: Columns that every terminal has.
_WIDTH = 80


def scale_block(scale: ScaleFigures | None) -> list[str]:
    """Pickup by photo, by scale and by both, whether they agree, and if not, why; nothing without a weighing."""
    if scale is None:
        return []
    pickup, agreement = scale.weighed.pickup_percent, scale.agreement
    notes = _not_swept(scale.weighed.not_swept, by_bin=scale.weighed.by_collection_percent is not None)
    if agreement is None:
        words = "unknown" if pickup is None else percent_text(pickup.value)
        interval = "" if pickup is None else f" ({interval_text(pickup.interval95())})"
        return ["\n".join([wrapped(f"Pickup by scale: {words}{interval}.", "  ", _WIDTH), *notes])]
    assert pickup is not None
    photo = Quantity(agreement.photo_percent, agreement.photo_u)
    rows = [_row("  by photo", photo.value, photo.interval95()), _row("  by scale", pickup.value, pickup.interval95())]
    best = scale.best.get("patch")
    rows += [] if best is None else [_row("  best of both", best.percent, best.interval95)]
    zones = [
        f"{zone} {percent_text(figure.percent)} ({interval_text(figure.interval95)})"
        for zone, figure in scale.best.items()
        if zone != "patch"
    ]
    by_zone = [wrapped(f"Best of both by zone: {', '.join(zones)}.", "  ", _WIDTH)] if zones else []
    return ["\n".join([_title(agreement), *aligned(rows, _WIDTH), *_causes(agreement), *by_zone, *notes])]


def _row(name: str, percent: float, interval: tuple[float, float]) -> list[str]:
    return [name, percent_text(percent), interval_text(interval)]


def _title(agreement: Agreement) -> str:
    wider = "scale" if agreement.scale_u > agreement.photo_u else "photo"
    said = {
        "agree": "Photo and scale agree on the pickup of the patch:",
        "too uncertain": f"The {wider} is too uncertain to tell whether the two agree, so there is no best figure:",
        "doubtful": "It is doubtful whether photo and scale agree, so there is no best figure:",
        "disagree": "Photo and scale disagree on the pickup of the patch, so there is no best figure:",
    }
    return wrapped(said[agreement.verdict], "", _WIDTH)


def _causes(agreement: Agreement) -> list[str]:
    if agreement.verdict in ("doubtful", "disagree") and not agreement.causes:
        return [wrapped("Nothing that is known of the run explains this.", "  ", _WIDTH)]
    return [
        wrapped(f"{'Perhaps' if i else 'Most likely'} {cause.name}: {cause.sentence}.", "  ", _WIDTH)
        for i, cause in enumerate(agreement.causes)
    ]


def _not_swept(zones: Sequence[str], *, by_bin: bool) -> list[str]:
    if not zones:
        return []
    rests = "; the scale's pickup rests on the bin alone" if by_bin else ""
    return [wrapped(f"Not swept: {', '.join(zones)}. What was left there is unknown{rests}.", "  ", _WIDTH)]
