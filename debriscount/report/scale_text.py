"""A run's photos beside its weighings, for the terminal."""

from collections.abc import Sequence

from ..columns import aligned, wrapped
from ..pickup.records import PassFigures
from ..run.records import BestPickup, ScaleFigures
from ..scale.agreement import Agreement
from ..stats.quantity import Quantity
from .rounding import interval_text, more_than_text, percent_text

#: From here on a percentage with one decimal would read as all of it.
_ALL = 99.95


def scale_block(scale: ScaleFigures | None, last: PassFigures, width: int = 80) -> list[str]:
    """Pickup by photo, by scale and by both, whether they agree, and if not, why; nothing without a weighing.

    Parameters
    ----------
    scale : ScaleFigures, optional
        What was weighed.
    last : PassFigures
        By photo, of the pass that it was weighed after.
    width : int
        Columns of the terminal.

    Returns
    -------
    list of str
        One block of lines, none over ``width``, or none.
    """
    if scale is None:
        return []
    pickup, agreement = scale.weighed.pickup_percent, scale.agreement
    notes = _not_swept(scale.weighed.not_swept, width, by_bin=scale.weighed.by_collection_percent is not None)
    if agreement is None:
        said = "unknown" if pickup is None else f"{percent_text(pickup.value)} ({interval_text(pickup.interval95())})"
        return ["\n".join([wrapped(f"Pickup by scale: {said}.", "  ", width), *notes])]
    assert pickup is not None
    photo = Quantity(agreement.photo_percent, agreement.photo_u)
    as_mass = last.zones["patch"].before.mass_g is not None
    rows = [
        _row("by photo, as mass" if as_mass else "by photo", photo.value, photo.interval95()),
        _row("by scale", pickup.value, pickup.interval95()),
    ]
    for zone, best in scale.best.items():
        name = "  best of both" if zone == "patch" else f"    {zone}"
        rows.append([name, _best(best), interval_text(best.interval95)])
    title = _title(agreement, width, doubted=bool(scale.weighed.balance.flags))
    return ["\n".join([title, *aligned(rows, width), *_causes(agreement, width), *notes])]


def _row(name: str, percent: float, interval: tuple[float, float]) -> list[str]:
    return [f"  {name}", percent_text(percent), interval_text(interval)]


def _best(pickup: BestPickup) -> str:
    """The figure or, where next to nothing is left, what can be promised."""
    return more_than_text(pickup.interval95[0]) if pickup.percent >= _ALL else percent_text(pickup.percent)


def _title(agreement: Agreement, width: int, *, doubted: bool) -> str:
    wider = "scale" if agreement.scale_u > agreement.photo_u else "photo"
    said = {
        "agree": "Photo and scale agree, but what was weighed does not fit together, so there is no best figure:"
        if doubted
        else "Photo and scale agree on the pickup of the patch:",
        "too uncertain": f"The {wider} is too uncertain to tell whether the two agree, so there is no best figure:",
        "doubtful": "It is doubtful whether photo and scale agree, so there is no best figure:",
        "disagree": "Photo and scale disagree on the pickup of the patch, so there is no best figure:",
    }
    return wrapped(said[agreement.verdict], "", width)


def _causes(agreement: Agreement, width: int) -> list[str]:
    if agreement.verdict in ("doubtful", "disagree") and not agreement.causes:
        return [wrapped("Nothing that is known of the run explains this.", "  ", width)]
    return [
        wrapped(f"{'Perhaps' if i else 'Most likely'} {cause.name}: {cause.sentence}.", "  ", width)
        for i, cause in enumerate(agreement.causes)
    ]


def _not_swept(zones: Sequence[str], width: int, *, by_bin: bool) -> list[str]:
    if not zones:
        return []
    rests = "; the scale's pickup rests on the bin alone" if by_bin else ""
    return [wrapped(f"Not swept: {', '.join(zones)}. What was left there is unknown{rests}.", "  ", width)]
