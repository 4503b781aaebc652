"""The figures as tables: two CSV files for other programs and one short table for people."""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from ..arrays import Floats
from ..columns import TERMINAL_WIDTH, aligned, columns_of, csv_text, wrapped
from ..flags import remarks
from ..grains.table import GrainTable
from ..inputs.patch import OUTSIDE, ZONES
from ..leftovers.records import WhyLeft
from ..pickup.records import Amount, PassFigures, ZoneFigures
from ..pickup.trust import NOTHING_LAY
from ..run.records import MeasuredShot, Measurement
from ..serialize import AREA_DECIMALS, LENGTH_DECIMALS, MASS_DECIMALS, PERCENT_DECIMALS, rounded
from .lookup import base_name, shot_name_of_pass, why_of, zones_in_order
from .room_text import room_block
from .rounding import MORE_THAN, PUSHED_IN, UNKNOWN, amount_text, area_text, interval_text, percent_text, pickup_text
from .scale_text import scale_block
from .verdict import verdict_text
from .why_text import why_block

ZONES_HEADER = (
    "pass", "kind", "zone",
    "before_area_mm2", "after_area_mm2", "before_grains", "after_grains", "before_mass_g", "after_mass_g",
    "gone_percent", "pickup_percent", "low95", "high95",
    "more_than_percent", "detection_limit_mm2",
    "before_grains_low95", "before_grains_high95", "after_grains_low95", "after_grains_high95",
    "swept_g", "swept_u_g",
    "untouched_percent", "shifted_percent", "reached_percent",
    "trust", "why",
    "best_percent", "best_low", "best_high",
)  # fmt: skip
GRAINS_HEADER = ("shot", "kind", "x_mm", "y_mm", "area_mm2", "diameter_mm", "zone", "fate", "moved_mm")


def zones_csv(measurement: Measurement) -> str:
    """Return one line a pass, kind and zone; kind "all" comes first, an unknown figure is empty."""
    rows = [
        (
            figures.number,
            kind,
            zone,
            *_zone_cells(cells),
            *_swept_cells(measurement, figures, kind, zone),
            *_why_cells(measurement.left.why(figures.number), kind, zone),
            cells.trust,
            cells.why,
            *_best_cells(measurement, figures, kind, zone),
        )
        for figures in measurement.passes
        for kind, zones in [("all", figures.zones), *figures.kinds.items()]
        for zone, cells in zones_in_order(zones, measurement.patch).items()
    ]
    return csv_text([ZONES_HEADER, *rows])


def grains_csv(measurement: Measurement) -> str:
    """Return one line a grain, shot by shot, in the order of the shot's grain table.

    The fate is "untouched" or "shifted" after a pass, and empty where it is unknown: in *blank* and *before*, outside
    patch and margin, of kinds that are not matched grain by grain, and of what the floor itself shows. How far a grain
    was moved by the pass is told at least: from the nearest place that lost one of its kind.
    """
    lines = [csv_text([GRAINS_HEADER]).rstrip("\n")]
    kinds = [kind.name for kind in measurement.kinds]
    for shot in measurement.shots:
        lines.extend(
            grain_lines([shot.name], kinds, shot.grains, more=[_fates(shot, measurement), _ways(shot, measurement)])
        )
    return "\n".join(lines) + "\n"


def table_text(measurement: Measurement, width: int = TERMINAL_WIDTH) -> str:
    """Return what the terminal shows of a run, in lines of at most ``width`` columns, from 50 on.

    Whether to trust the figure comes first, then of every pass the table and why debris stayed, notes last.
    """
    blocks = [wrapped(verdict_text(measurement), "  ", width), _heading(measurement, width)]
    left = measurement.left
    for figures in measurement.passes:
        blocks.append(_pass_block(figures, measurement, width))
        blocks += room_block(left.why(figures.number), left.step(figures.number), measurement.patch, width)
        blocks += why_block(left.why(figures.number), left.step(figures.number), width)
    blocks += [wrapped(left.further.sentence, "  ", width)] if left.further is not None else []
    blocks += scale_block(measurement.scale, measurement.passes[-1], width)
    notes = [wrapped(remark, "  ", width) for remark in remarks(measurement.flags)]
    blocks += ["\n".join(notes)] if notes else []
    return "\n\n".join(blocks) + "\n"


def grain_lines(
    first: Sequence[object],
    kinds: Sequence[str],
    grains: GrainTable,
    zones: Sequence[str] = (*ZONES, "outside"),
    more: Sequence[Sequence[str]] = (),
) -> Iterator[str]:
    """CSV lines of a table of grains, without the CSV writer: ten thousands of grains in a tenth of a second.

    Parameters
    ----------
    first : sequence
        Cells that begin every line, before the kind's.
    kinds : sequence of str
        Names of the kinds.
    grains : GrainTable
        The grains.
    zones : sequence of str
        Names of the zones by their code; code -1, outside, picks the last.
    more : sequence of sequence of str
        Further columns, a cell for each grain.

    Returns
    -------
    iterator of str
        Lines without their ends.
    """
    prefixes = [csv_text([(*first, kind)]).rstrip("\n") for kind in kinds]
    columns: list[Iterable[str]] = [
        (prefixes[kind] for kind in grains.kind.tolist()),
        *map(_decimals, (grains.x_mm, grains.y_mm, grains.area_mm2, grains.diameter_mm)),
        (zones[code] for code in grains.zone.tolist()),
        *more,
    ]
    return (",".join(cells) for cells in zip(*columns, strict=True))


def _decimals(values: Floats) -> list[str]:
    """Return numbers, shape (N,), as cells with four decimals; what is not finite is empty."""
    finite = np.isfinite(values).all()
    return [f"{v:.4f}" if finite or np.isfinite(v) else "" for v in values.tolist()]


def _swept_cells(measurement: Measurement, figures: PassFigures, kind: str, zone: str) -> tuple[object, object]:
    """What was swept up in the zone after the last pass, all kinds together, and its standard uncertainty, grams."""
    last = figures is measurement.passes[-1] and kind == "all"
    swept = measurement.scale.weighed.swept_g.get(zone) if measurement.scale is not None and last else None
    return (None, None) if swept is None else (rounded(swept.value, MASS_DECIMALS), rounded(swept.u, MASS_DECIMALS))


def _best_cells(measurement: Measurement, figures: PassFigures, kind: str, zone: str) -> tuple[object, object, object]:
    """Pickup by photo and scale together after the last pass, all kinds together, and its 95 % interval."""
    last = figures is measurement.passes[-1] and kind == "all"
    best = measurement.scale.best.get(zone) if measurement.scale is not None and last else None
    if best is None:
        return None, None, None
    low, high = (rounded(end, PERCENT_DECIMALS) for end in best.interval95)
    return rounded(best.percent, PERCENT_DECIMALS), low, high


def _why_cells(why: WhyLeft | None, kind: str, zone: str) -> tuple[object, object, object]:
    """Untouched, shifted and reached; reach is told by all kinds together."""
    if why is None:
        return None, None, None
    left = (why.leftovers.zones if kind == "all" else why.leftovers.kinds.get(kind, {})).get(zone)
    reached = why.reach.zones.get(zone) if why.reach is not None and kind == "all" else None
    return (
        None if left is None else rounded(left.untouched_percent, PERCENT_DECIMALS),
        None if left is None else rounded(left.shifted_percent, PERCENT_DECIMALS),
        None if reached is None else rounded(reached.share_percent, PERCENT_DECIMALS),
    )


def _fates(shot: MeasuredShot, measurement: Measurement) -> list[str]:
    why = why_of(shot, measurement)
    if why is None:
        return [""] * len(shot.grains)
    matched = [why.leftovers.matched.get(kind.name, False) for kind in measurement.kinds]
    untouched = why.untouched
    known = np.array([*matched, False])[shot.grains.kind] & (shot.grains.zone != OUTSIDE) & np.isfinite(untouched)
    words = np.where(untouched >= 0.5, "untouched", "shifted")
    return [str(word) for word in np.where(known, words, "").tolist()]


def _ways(shot: MeasuredShot, measurement: Measurement) -> list[str]:
    why = why_of(shot, measurement)
    if why is None:
        return [""] * len(shot.grains)
    least = np.hypot(*why.way_mm.T)
    return [f"{way:.{LENGTH_DECIMALS}f}" if np.isfinite(way) else "" for way in least.tolist()]


def _zone_cells(figures: ZoneFigures) -> tuple[object, ...]:
    low, high = figures.interval95 or (None, None)
    pairs = (figures.before, figures.after)
    percents = (figures.gone_percent, figures.pickup_percent, low, high, figures.more_than_percent)
    return (
        *(rounded(amount.area_mm2, AREA_DECIMALS) for amount in pairs),
        *(amount.told_grains for amount in pairs),
        *(rounded(amount.mass_g, MASS_DECIMALS) for amount in pairs),
        *(rounded(percent, PERCENT_DECIMALS) for percent in percents),
        rounded(figures.limit_mm2, AREA_DECIMALS),
        *(end for amount in pairs for end in amount.grains95 or (None, None)),
    )


def _heading(measurement: Measurement, width: int) -> str:
    patch = measurement.patch
    walls = f"walls {', '.join(patch.walls)}" if patch.walls else "no walls"
    kinds = ", ".join(kind.name for kind in measurement.kinds)
    said = f"{patch.name}, {patch.width_mm:g} x {patch.height_mm:g} mm, {walls}; debris: {kinds}"
    return wrapped(said, "  ", width)


def _pass_block(figures: PassFigures, measurement: Measurement, width: int) -> str:
    tables = {"": zones_in_order(figures.zones, measurement.patch)}
    if len(figures.kinds) > 1:
        tables |= {kind: zones_in_order(zones, measurement.patch) for kind, zones in figures.kinds.items()}
    notes: dict[str, list[str]] = {}
    first_line = measurement.passes[-1].zones["patch"].why
    for kind, table in tables.items():
        for zone, cells in table.items():
            name = f"{zone}, {kind}" if kind else zone
            if cells.pickup_percent is not None and cells.pickup_percent < 0:
                notes.setdefault(f"{percent_text(cells.pickup_percent)}, {PUSHED_IN}", []).append(name)
            elif _worth_saying(cells, kind) and zone != "margin" and cells.why != first_line:
                notes.setdefault(f"{cells.trust}, {cells.why}", []).append(name)
    said = [wrapped(f"{'; '.join(names)}: {note}.", "  ", width) for note, names in notes.items()]
    return "\n".join([wrapped(_pass_title(figures.number, measurement), "  ", width), *_table(tables, width), *said])


def _worth_saying(cells: ZoneFigures, kind: str) -> bool:
    """Whether a reason belongs below the table: not that nothing lay there, nor what a note says of all kinds."""
    return cells.why not in ("", NOTHING_LAY) and (cells.trust == "doubtful" or bool(kind))


def _table(tables: dict[str, dict[str, ZoneFigures]], width: int) -> list[str]:
    """The table with as many columns as there is room for: areas go first, then masses, then numbers of grains."""
    zones = [zone for table in tables.values() for zone in table.values()]
    with_mass = any(amount.mass_g is not None for zone in zones for amount in (zone.before, zone.after))
    units = ["mm²", *(["g"] if with_mass else []), "grains"]
    while True:
        lines = aligned(_rows(tables, units), width)
        if not units or max(map(columns_of, lines)) <= width:
            return lines
        units = units[1:]


def _rows(tables: dict[str, dict[str, ZoneFigures]], units: Sequence[str]) -> list[list[str]]:
    over = ["", "", "", "", *(["before", *units[1:], "left", *units[1:]] if units else [])]
    over = [word if word in ("before", "left") else "" for word in over]
    rows = [over] if units else []
    rows.append(["zone", "pickup", "95 % interval", "trust", *units, *units])
    for kind, table in tables.items():
        if kind:
            rows.append([kind])
        for zone, cells in table.items():
            rows.append([f"{'  ' if kind else ''}{zone}", *_figure_cells(cells, units)])
    return rows


def _pass_title(number: int, measurement: Measurement) -> str:
    files = {shot.name: base_name(shot.file) or shot.name for shot in measurement.shots}
    after = shot_name_of_pass(number)
    what = "After pass 1" if number == 1 else f"After {number} passes together"
    return f"{what}: {files.get(after, after)} against {files.get('before', 'before')}"


def _figure_cells(figures: ZoneFigures, units: Sequence[str]) -> list[str]:
    def amount(a: Amount) -> list[str]:
        texts = {"mm²": area_text(a.area_mm2), "g": amount_text(a.mass_g, 2), "grains": amount_text(a.told_grains)}
        return [texts[unit] for unit in units]

    promised = figures.more_than_percent is not None
    interval = UNKNOWN if figures.pickup_percent is None else interval_text(figures.interval95, down=promised)
    pickup = pickup_text(figures).replace(MORE_THAN, ">")
    trust = UNKNOWN if figures.pickup_percent is None else figures.trust
    return [pickup, interval.removesuffix(" %"), trust, *amount(figures.before), *amount(figures.after)]
