"""Filed runs as lines for people: one run, or a list of them."""

from collections.abc import Sequence
from json import loads

from ..campaign.records import Figures, FiledFigure, FiledRun, RunsRead, SideMeasurement
from ..campaign.remeasure import Remeasured, RemeasuredRun
from ..campaign.run_file import run_json
from ..campaign.side import shown_side
from ..flags import remarks
from ..inputs.patch import ZONES
from ..printable import printable
from ..serialize import JsonObject, plain
from .rounding import UNKNOWN, interval_text, more_than_text, percent_text

_WHOLE = "patch"


def run_line(run: FiledRun) -> str:
    """Return a run in a line: its number, what was picked up, and whether that may be trusted."""
    return f"Run {run.record.run}: {_said(run)}."


def flag_lines(figures: Figures) -> list[str]:
    """What measuring noticed about the photos and the weighing of a run, worst first, a line each."""
    return [printable(remark) for remark in remarks(figures.flags)]


def run_text(run: FiledRun) -> str:
    """Return all that is known of a run as lines."""
    record = run.record
    lines = [f"Run {record.run}, {record.when.replace('T', ' ')}, machine {record.machine}{_software(run)}"]
    if record.withdrawn is not None:
        lines.append(f"Withdrawn {_clock(record.withdrawn.when)}: {printable(record.withdrawn.why)}")
    told = {
        "Settings": settings_text(run),
        "Floor": record.floor,
        "Patch": record.patch.name,
        "Debris": ", ".join(used.kind + (f" (batch {used.batch})" if used.batch else "") for used in record.debris),
        "Block": record.block,
        "Photos": ", ".join(f"{shot} {photo.named or photo.file}" for shot, photo in record.photos.items()),
        "Weighed": "yes" if record.weighing is not None else "no",
        "Measured": f"by version {record.versions.measured}, {_clock(record.versions.measured_when)}",
    }
    lines += [f"{name + ':':<10}{printable(value)}" for name, value in told.items() if value]
    lines.append("")
    for one in run.figures.passes:
        lines.append(f"After pass {one.number}:")
        zones = [name for name in (_WHOLE, *ZONES) if name in one.zones]
        zones += [name for name in one.zones if name not in zones]
        lines += [f"  {name:<8}{figure_text(one.zones[name])}" for name in zones if name != "margin"]
    for name, figure in run.figures.weighed.items():
        low, high = figure.interval95
        lines.append(f"By scale, {name.replace('_', ' ')}: {figure.percent:.1f} % ({low:.1f} to {high:.1f})")
    if run.figures.agreement is not None:
        lines.append(f"Photo and scale: {run.figures.agreement.verdict}")
    lines += flag_lines(run.figures)
    lines += [f"Beside: {side_text(side)}" for side in record.side]
    lines += [f"Note, {_clock(note.when)}: {printable(note.text)}" for note in record.notes]
    return "\n".join(lines).rstrip() + "\n"


def runs_text(runs: Sequence[FiledRun]) -> str:
    """Return a table of runs, a line each."""
    rows = [("run", "date", "machine", "settings", "floor", "pickup", "interval95", "trust")]
    for run in runs:
        record = run.record
        settings, machine = settings_text(run), printable(record.machine, 20)
        pickup, interval, trust = _cells(run)
        date = record.when[:10]
        rows.append((f"{record.run}", date, machine, printable(settings, 40), record.floor, pickup, interval, trust))
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    right = (0, 5, 6)
    lines = (
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )
    return "\n".join(lines) + "\n"


def settings_text(run: FiledRun) -> str:
    """Settings as "brush = rubber, suction = 3"."""
    return ", ".join(f"{name} = {value}" for name, value in run.record.settings.items())


def figure_text(figure: FiledFigure) -> str:
    """Return a zone's pickup with its interval and trust."""
    if figure.more_than_percent is not None:
        return f"{more_than_text(figure.more_than_percent)}  {figure.trust}"
    if figure.pickup_percent is None:
        return f"not measurable: {figure.why}" if figure.why else "not measurable"
    interval = "" if figure.interval95 is None else f" ({interval_text(figure.interval95).removesuffix(' %')})"
    why = f", because {figure.why}" if figure.why else ""
    return f"{percent_text(figure.pickup_percent)}{interval}  {figure.trust}{why}"


def side_text(side: SideMeasurement) -> str:
    """Return a side measurement in the units that one reads it in, and as it was read."""
    at = f" at {side.at}" if side.at else ""
    by = f", {side.instrument}" if side.instrument else ""
    return printable(f"{side.quantity}{at}: {shown_side(side)}{by}")


def _said(run: FiledRun) -> str:
    if run.record.withdrawn is not None:
        return f"withdrawn, because {printable(run.record.withdrawn.why)}"
    if run.figures.passes:
        return f"picked up {figure_text(run.figures.passes[-1].zones[_WHOLE]).replace('  ', ': ')}"
    if "pickup" in run.figures.weighed:
        figure = run.figures.weighed["pickup"]
        return f"picked up {figure.percent:.1f} % ({figure.interval95[0]:.1f} to {figure.interval95[1]:.1f}) by scale"
    return "no pickup is known"


def _cells(run: FiledRun) -> tuple[str, str, str]:
    withdrawn = "withdrawn" if run.record.withdrawn is not None else ""
    if run.figures.passes and (figure := run.figures.passes[-1].zones.get(_WHOLE)) is not None:
        if figure.more_than_percent is not None:
            return more_than_text(figure.more_than_percent), "", withdrawn or figure.trust
        pickup = UNKNOWN if figure.pickup_percent is None else percent_text(figure.pickup_percent)
        interval = "" if figure.interval95 is None else interval_text(figure.interval95).removesuffix(" %")
        return pickup, interval, withdrawn or figure.trust
    weighed = run.figures.weighed.get("pickup")
    if weighed is None:
        return UNKNOWN, "", withdrawn
    return f"{weighed.percent:.1f} %", "{:.1f} to {:.1f}".format(*weighed.interval95), withdrawn or "by scale"


def _software(run: FiledRun) -> str:
    return f" (software {run.record.software})" if run.record.software else ""


def _clock(when: str) -> str:
    return when.replace("T", " ")


def run_record_json(run: FiledRun) -> JsonObject:
    """Return a run as plain JSON values: what its run.json says, and its figures."""
    return {**loads(run_json(run.record)), "figures": plain(run.figures)}


def runs_json(read: RunsRead) -> JsonObject:
    """Return all runs of a campaign as plain JSON values, and what could not be read."""
    return {"runs": [run_record_json(run) for run in read.runs], "unread": plain(read.unread)}


def remeasured_text(done: Remeasured) -> str:
    """Return what measuring anew changed, a line for each run whose pickup or trust is another."""
    lines = [line for one in done.runs if one.after is not None and (line := _changed(one))]
    faults = sum(bool(one.fault) for one in done.runs)
    measured = len(done.runs) - faults
    counted = f"{measured} {'run' if measured == 1 else 'runs'} measured anew, {len(lines)} changed"
    counted += f", {faults} not measured" if faults else ""
    counted += f"; {done.done_before} were done before it was interrupted" if done.done_before else ""
    return "\n".join([*lines, f"{counted}."]) + "\n"


def _changed(one: RemeasuredRun) -> str:
    before, after = (_whole(figures) for figures in (one.before, one.after))
    return "" if before == after else f"Run {one.run}: {before} -> {after}"


def _whole(figures: Figures | None) -> str:
    if figures is None:
        return "not readable"
    if figures.passes and _WHOLE in figures.passes[-1].zones:
        return figure_text(figures.passes[-1].zones[_WHOLE])
    weighed = figures.weighed.get("pickup")
    return "no pickup" if weighed is None else f"{weighed.percent:.1f} % by scale"
