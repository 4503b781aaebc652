"""What the check of shots says, for people and for programs."""

from collections.abc import Sequence

from ..columns import TERMINAL_WIDTH, wrapped
from ..serialize import picked
from ..shot_check.causes import causes
from ..shot_check.records import Finding, Fitness

FORMAT = "debriscount/shot/1"
#: Lines of what to do: more is not read beside the floor.
MOST_LINES = 3


def shot_json(shots: Sequence[Fitness]) -> dict[str, object]:
    """Return the checks as a record."""
    return {
        "format": FORMAT,
        "shots": [
            {
                "file": shot.file,
                "against": shot.against or None,
                "want_percent": shot.want_percent,
                "fit": shot.fit,
                "findings": [_finding_json(finding) for finding in shot.findings],
            }
            for shot in shots
        ],
    }


def _finding_json(finding: Finding) -> dict[str, object]:
    return {
        **picked(finding, "code name"),
        "value": None if finding.value is None else float(f"{finding.value:.4g}"),
        "unit": finding.unit,
        "limit": None if finding.limit is None else float(f"{finding.limit:.4g}"),
        "limit_is": None if finding.limit is None else "least" if finding.least else "most",
        **picked(finding, "fit reason advice"),
    }


def verdict_word(shot: Fitness) -> str:
    """Return FIT or NOT FIT."""
    return "FIT" if shot.fit else "NOT FIT"


def shot_text(shot: Fitness, seen: str = "", width: int = TERMINAL_WIDTH, *, verdict_last: bool = False) -> str:
    """Return what to read beside the floor: the verdict, what to do in at most three lines, what debris is seen.

    Parameters
    ----------
    shot : Fitness
        The check.
    seen : str
        What debris is seen, a sentence or nothing.
    width : int
        Columns of the longest line.
    verdict_last : bool
        Put the verdict below the rest, where it stays on the screen.
    """
    points = "point" if shot.want_percent == 1 else "points"
    against = f", against {shot.against}" if shot.against else ""
    said = f"{verdict_word(shot)}: {shot.file} to measure pickup to {shot.want_percent:g} {points}{against}"
    verdict = wrapped(said, "  ", width).split("\n")
    advice = [fault.advice.removeprefix(f"{shot.file}: ") for fault in causes(shot.faults)]
    advice += [finding.advice for finding in shot.findings if finding.fit and finding.advice]
    rest = _few_lines(list(dict.fromkeys(advice)), width)
    rest += wrapped(seen, "  ", width).split("\n") if seen else []
    return "\n".join([*rest, *verdict] if verdict_last else [*verdict, *rest]) + "\n"


def _few_lines(advice: Sequence[str], width: int) -> list[str]:
    """What to do first, as much as fits; of something longer its beginning."""
    lines: list[str] = []
    for one in advice:
        more = wrapped(f"- {one[:1].upper()}{one[1:]}", "  ", width).split("\n")
        if not lines and len(more) > MOST_LINES:
            return [*more[: MOST_LINES - 1], _cut(more[MOST_LINES - 1], width)]
        if len(lines) + len(more) <= MOST_LINES:
            lines += more
    return lines


def _cut(line: str, width: int) -> str:
    return f"{line[: width - 4].rstrip()} ..."


def details_text(shot: Fitness, width: int = TERMINAL_WIDTH) -> str:
    """Return everything that was looked at as a table, each value with its limit and, below it, where that comes from.

    Where ``width`` columns are too few for name, value and limit beside each other, value and limit stand below. What
    is a remark alone stands at the end.
    """
    looked_at = [f for f in shot.findings if f.value is not None or not f.fit]
    rows = [(f.name, _amount(f), _limit(f)) for f in looked_at]
    widths = [max((len(row[k]) for row in rows), default=0) for k in range(3)]
    beside = sum(widths) + 6 <= width
    lines = []
    for finding, row in zip(looked_at, rows, strict=True):
        mark = " " if finding.fit else "!"
        if beside:
            cells = "  ".join(cell.ljust(column) for cell, column in zip(row, widths, strict=True))
            lines.append(f"{mark} {cells}".rstrip())
        else:
            lines.append(f"{mark} {': '.join(filter(None, (row[0], ', '.join(filter(None, row[1:])))))}")
        if finding.reason:
            lines.append("    " + wrapped(finding.reason, "    ", width - 4))
    faults = [f.advice for f in shot.findings if f.advice and not f.fit]
    remarks = [f.advice for f in shot.findings if f.advice and f.fit]
    lines += [wrapped(f"To do: {advice}", "  ", width) for advice in dict.fromkeys(faults)]
    lines += [wrapped(f"Note: {advice}", "  ", width) for advice in dict.fromkeys(remarks)]
    return "\n".join(lines) + "\n"


def _amount(finding: Finding) -> str:
    if finding.value is None:
        return "" if finding.limit is None else "-"
    return f"{finding.value:.3g} {finding.unit}"


def _limit(finding: Finding) -> str:
    if finding.limit is None:
        return ""
    return f"{'at least' if finding.least else 'at most'} {finding.limit:.3g}"
