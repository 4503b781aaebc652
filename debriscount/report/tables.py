"""The figures as tables: two CSV files for other programs and one short table for people."""

import csv
import io
import textwrap
import unicodedata
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from ..figures.records import Amount, MeasuredShot, Measurement, PassFigures, ZoneFigures
from ..inputs.patch import ZONES
from .lookup import base_name, shot_name_of_pass, zones_in_order
from .rounding import (
    AREA_DECIMALS,
    MASS_DECIMALS,
    PERCENT_DECIMALS,
    PUSHED_IN,
    UNKNOWN,
    amount_text,
    area_text,
    interval_text,
    percent_text,
    rounded,
)

ZONES_HEADER = (
    "pass", "kind", "zone",
    "before_area_mm2", "after_area_mm2", "before_grains", "after_grains", "before_mass_g", "after_mass_g",
    "gone_percent", "pickup_percent", "low95", "high95",
)  # fmt: skip
GRAINS_HEADER = ("shot", "kind", "x_mm", "y_mm", "area_mm2", "diameter_mm", "zone")

TABLE_WIDTH = 100
_SHORTEST_NAME = 10


def zones_csv(measurement: Measurement) -> str:
    """Return one line a pass, kind and zone; kind "all" comes first, an unknown figure is empty."""
    rows = [
        (figures.number, kind, zone, *_zone_cells(cells))
        for figures in measurement.passes
        for kind, zones in [("all", figures.zones), *figures.kinds.items()]
        for zone, cells in zones_in_order(zones, measurement.patch).items()
    ]
    return _csv([ZONES_HEADER, *rows])


def grains_csv(measurement: Measurement) -> str:
    """Return one line a grain, shot by shot, in the order of the shot's grain table."""
    lines = [_csv([GRAINS_HEADER]).rstrip("\n")]
    for shot in measurement.shots:
        lines.extend(_grain_lines(shot, [kind.name for kind in measurement.kinds]))
    return "\n".join(lines) + "\n"


def table_text(measurement: Measurement) -> str:
    """Return a table for the terminal, at most 100 columns wide, with the warnings below it."""
    blocks = [_heading(measurement)]
    blocks += [_pass_block(figures, measurement) for figures in measurement.passes]
    blocks += [_wrapped(f"Warning: {warning}", "  ") for warning in measurement.warnings]
    return "\n\n".join(blocks) + "\n"


def _csv(rows: Iterable[Iterable[object]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def _zone_cells(figures: ZoneFigures) -> tuple[object, ...]:
    low, high = figures.interval95 or (None, None)
    pairs = (figures.before, figures.after)
    percents = (figures.gone_percent, figures.pickup_percent, low, high)
    return (
        *(rounded(amount.area_mm2, AREA_DECIMALS) for amount in pairs),
        *(amount.grains for amount in pairs),
        *(rounded(amount.mass_g, MASS_DECIMALS) for amount in pairs),
        *(rounded(percent, PERCENT_DECIMALS) for percent in percents),
    )


def _grain_lines(shot: MeasuredShot, kinds: list[str]) -> Iterator[str]:
    """Lines of one shot, without the CSV writer: ten thousands of grains in a tenth of a second."""
    prefixes = [_csv([(shot.name, kind)]).rstrip("\n") for kind in kinds]
    zones = [*ZONES, "outside"]  # code -1 picks the last
    grains = shot.grains
    columns = (
        (prefixes[kind] for kind in grains.kind.tolist()),
        _column(grains.x_mm),
        _column(grains.y_mm),
        _column(grains.area_mm2),
        _column(grains.diameter_mm),
        (zones[code] for code in grains.zone.tolist()),
    )
    return (",".join(cells) for cells in zip(*columns, strict=True))


def _column(values: NDArray[np.float64]) -> list[str]:
    finite = np.isfinite(values).all()
    return [f"{v:.4f}" if finite or np.isfinite(v) else "" for v in values.tolist()]


def _heading(measurement: Measurement) -> str:
    patch = measurement.patch
    walls = f"walls {', '.join(patch.walls)}" if patch.walls else "no walls"
    kinds = ", ".join(kind.name for kind in measurement.kinds)
    return _wrapped(f"{patch.name}, {patch.width_mm:g} x {patch.height_mm:g} mm, {walls}; debris: {kinds}", "  ")


def _pass_block(figures: PassFigures, measurement: Measurement) -> str:
    tables = {"": zones_in_order(figures.zones, measurement.patch)}
    if len(figures.kinds) > 1:
        tables |= {kind: zones_in_order(zones, measurement.patch) for kind, zones in figures.kinds.items()}
    zones = [zone for table in tables.values() for zone in table.values()]
    with_mass = any(amount.mass_g is not None for zone in zones for amount in (zone.before, zone.after))
    lines = _aligned(_rows(tables, with_mass))
    if with_mass and max(map(_width, lines)) > TABLE_WIDTH:
        lines = _aligned(_rows(tables, with_mass=False))
    notes = [
        _wrapped(f"{name}: {percent_text(cells.pickup_percent)}, {PUSHED_IN}.", "  ")
        for kind, table in tables.items()
        for zone, cells in table.items()
        for name in [f"{zone}, {kind}" if kind else zone]
        if cells.pickup_percent is not None and cells.pickup_percent < 0
    ]
    return "\n".join([_wrapped(_pass_title(figures.number, measurement), "  "), *lines, *notes])


def _rows(tables: dict[str, dict[str, ZoneFigures]], with_mass: bool) -> list[list[str]]:
    rows = [_header_row(with_mass)]
    for kind, table in tables.items():
        if kind:
            rows.append([kind])
        for zone, cells in table.items():
            rows.append([f"{'  ' if kind else ''}{zone}", *_figure_cells(cells, with_mass)])
    return rows


def _pass_title(number: int, measurement: Measurement) -> str:
    files = {shot.name: base_name(shot.file) or shot.name for shot in measurement.shots}
    after = shot_name_of_pass(number)
    what = "After pass 1" if number == 1 else f"After {number} passes together"
    return f"{what}: {files.get(after, after)} against {files.get('before', 'before')}"


def _header_row(with_mass: bool) -> list[str]:
    mass = ["g"] if with_mass else []
    return ["zone", "before mm²", "grains", *mass, "left mm²", "grains", *mass, "pickup", "95 % interval"]


def _figure_cells(figures: ZoneFigures, with_mass: bool) -> list[str]:
    def amount(a: Amount) -> list[str]:
        return [
            area_text(a.area_mm2),
            amount_text(a.grains),
            *([amount_text(a.mass_g, 2)] if with_mass else []),
        ]

    interval = UNKNOWN if figures.pickup_percent is None else interval_text(figures.interval95)
    return [*amount(figures.before), *amount(figures.after), percent_text(figures.pickup_percent), interval]


def _aligned(rows: list[list[str]]) -> list[str]:
    """Lines of equal columns, the first to the left and cut to the room it has, all others to the right."""
    widths = [max(_width(row[i]) for row in rows if i < len(row)) for i in range(len(rows[0]))]
    room = TABLE_WIDTH - sum(widths[1:]) - 2 * len(widths[1:])
    widths[0] = min(widths[0], max(room, _SHORTEST_NAME))
    lines = []
    for row in rows:
        name = _shortened(row[0], widths[0])
        cells = [" " * (w - _width(cell)) + cell for cell, w in zip(row[1:], widths[1:], strict=False)]
        lines.append("  ".join([name + " " * (widths[0] - _width(name)), *cells]).rstrip())
    return lines


def _width(text: str) -> int:
    """Columns that a terminal gives the text; East Asian characters take two, combining ones none."""
    return sum((unicodedata.east_asian_width(c) in "WF") + 1 - bool(unicodedata.combining(c)) for c in text)


def _printable(text: str) -> str:
    """Blank out what could break the line or command the terminal: names come from files."""
    return "".join(c if c.isprintable() else " " for c in text)


def _shortened(text: str, width: int) -> str:
    text = _printable(text)
    if _width(text) <= width:
        return text
    while _width(text) > width - 3:
        text = text[:-1]
    return text + "..."


def _wrapped(text: str, indent: str) -> str:
    return textwrap.fill(" ".join(_printable(text).split()), TABLE_WIDTH, subsequent_indent=indent)
