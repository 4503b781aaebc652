"""What the terminal says of a room: how much of it was reached, and which places were missed."""

import numpy as np

from ..columns import TABLE_WIDTH, aligned, wrapped
from ..inputs.patch import Patch
from ..leftovers.records import Brought, MissedPlace, PassStep, WhyLeft
from ..leftovers.wording import share_text

#: Missed places told; all of them stand in the record.
_MOST = 8


def room_block(why: WhyLeft | None, step: PassStep | None, patch: Patch, width: int = TABLE_WIDTH) -> list[str]:
    """Return how much of a room a pass reached and what it missed, as one block of lines, or nothing.

    Parameters
    ----------
    why : WhyLeft or None
        Why debris stayed in the pass.
    step : PassStep or None
        What the pass brought.
    patch : Patch
        Nothing is said of one that is no room.
    width : int
        Columns of the longest line.
    """
    if why is None or why.reach is None or not patch.is_room:
        return []
    debris, floor = why.reach.zones.get("patch"), why.reach.floor
    parts = [
        f"{text} of the {what}"
        for what, share in (("floor", floor), ("debris", debris))
        if share is not None and (text := share_text(share.share_percent, share.interval95)) is not None
    ]
    if not parts:
        return []
    doubt = f" Doubtful: {why.reach.why}." if why.reach.trust != "sound" and why.reach.why else ""
    lines = [wrapped(f"Reached: {' and '.join(parts)}.{doubt}", "  ", width)]
    if step is not None and step.from_missed_percent is not None:
        share = f"{step.from_missed_percent:.0f} %"
        said = f"Of what pass {step.number} took, {share} lay where the pass before had not been."
        lines.append(wrapped(said, "  ", width))
        rows = [["taken from", "lay there, cm²", "of that taken", "of all it took"]]
        places = [part for part in step.brought if part.what == "missed"][:_MOST]
        rows += [_brought_row(part) for part in (*places, *(p for p in step.brought if p.what != "missed"))]
        lines += aligned(rows)
    missed = [place for place in why.missed if place.share_percent > 0]
    if missed:
        rows = [["missed", "around x, y mm", "size mm", "floor cm²", "of the leftovers"]]
        rows += [_row(place) for place in missed[:_MOST]]
        lines += ["Places never reached, those with most debris first:", *aligned(rows)]
        if len(missed) > _MOST:
            rest = sum(place.share_percent for place in missed[_MOST:])
            lines.append(f"and {len(missed) - _MOST} more with {rest:.0f} % of the leftovers together")
    return ["\n".join(lines)]


def _brought_row(part: Brought) -> list[str]:
    where = part.what if part.around_mm is None else "missed around {:.0f}, {:.0f}".format(*part.around_mm)
    return [
        where,
        f"{part.found_mm2 / 100:.1f}",
        f"{part.taken_percent:.0f} %",
        f"{part.share_percent:.1f} %",
    ]


def _row(place: MissedPlace) -> list[str]:
    corners = np.array(place.polygon_mm)
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    names = {"strip": "strip", "wide": "wide strip", "place": "place"}
    return [
        names[place.what] + (" at the turns" if place.at_turns else ""),
        f"{(left + right) / 2:.0f}, {(top + bottom) / 2:.0f}",
        f"{right - left:.0f} x {bottom - top:.0f}",
        f"{place.area_mm2 / 100:.0f}",
        f"{place.share_percent:.1f} %",
    ]
