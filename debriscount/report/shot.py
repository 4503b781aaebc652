"""What the check of shots says, for people and for programs."""

from collections.abc import Sequence

from ..fitness.records import Finding, Fitness

FORMAT = "debriscount/shot/1"


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
        "name": finding.name,
        "value": None if finding.value is None else float(f"{finding.value:.4g}"),
        "unit": finding.unit,
        "limit": None if finding.limit is None else float(f"{finding.limit:.4g}"),
        "limit_is": None if finding.limit is None else "least" if finding.least else "most",
        "fit": finding.fit,
        "reason": finding.reason,
        "advice": finding.advice,
    }


def shot_text(shot: Fitness) -> str:
    """Return one check as a table, the verdict first and what to do last."""
    verdict, points = "FIT" if shot.fit else "NOT FIT", "point" if shot.want_percent == 1 else "points"
    against = f", against {shot.against}" if shot.against else ""
    lines = [f"{shot.file}: {verdict} to measure pickup to {shot.want_percent:g} {points}{against}"]
    rows = [(f.name, _amount(f), _limit(f), f.reason) for f in shot.findings]
    widths = [max(len(row[k]) for row in rows) for k in range(3)]
    for finding, row in zip(shot.findings, rows, strict=True):
        mark = " " if finding.fit else "!"
        cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        lines.append(f"{mark} {cells}  {row[3]}".rstrip())
    faults = [f.advice for f in shot.findings if f.advice and not f.fit]
    remarks = [f.advice for f in shot.findings if f.advice and f.fit]
    lines += [f"To do: {advice}" for advice in dict.fromkeys(faults)]
    lines += [f"Note: {advice}" for advice in dict.fromkeys(remarks)]
    return "\n".join(lines) + "\n"


def _amount(finding: Finding) -> str:
    return "-" if finding.value is None else f"{finding.value:.3g} {finding.unit}"


def _limit(finding: Finding) -> str:
    if finding.limit is None:
        return ""
    return f"{'at least' if finding.least else 'at most'} {finding.limit:.3g}"
