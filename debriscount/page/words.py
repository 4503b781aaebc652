"""What a page says of a run: sentences, tables and charts from its record, without anything typed anew."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..campaign.records import FiledFigure, FiledPass
from ..flags import listed
from ..pickup.trust import NOTHING_LAY
from ..report.rounding import (
    MORE_THAN,
    UNKNOWN,
    amount_text,
    area_text,
    interval_text,
    more_than_text,
    percent_text,
)
from ..serialize import JsonObject
from .charts import DotChart, Figure, Group, WallChart, dot_chart, wall_chart
from .sources import PageRun

#: Zones in sentences and as headings; a tester's own have their names.
IN_ZONE = {
    "patch": "on the whole patch",
    "open": "on open floor",
    "edge": "along the wall",
    "corner": "in the corner",
    "margin": "outside the patch",
}
ZONE_TITLE = {
    "patch": "Whole patch",
    "open": "Open floor",
    "edge": "Along the wall",
    "corner": "Corner",
    "margin": "Outside the patch",
}
SOUND, DOUBTFUL = "sound", "doubtful"
#: Sentences that the split of the leftovers says already.
_SAID_BY_SPLIT = ("not reached", "passed over", "moved")


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRow:
    """A line of the table of a pass."""

    zone: str
    pickup: str
    interval: str
    trust: str
    why: str
    before: str
    left: str
    grains: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of what stayed, in whole percent, and its place in a bar."""

    name: str
    words: str
    percent: int
    x: int
    interval: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PassWords:
    """What a page says of a pass."""

    number: int
    title: str
    rows: tuple[ZoneRow, ...]
    kinds: Mapping[str, tuple[ZoneRow, ...]]
    split: tuple[Part, ...]
    remarks: tuple[str, ...]
    walls: tuple[WallChart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunWords:
    """What a page says of a run beside its pictures."""

    verdict: str
    trust: str
    sentences: tuple[str, ...]
    passes: tuple[PassWords, ...]
    pass_chart: DotChart | None
    further: str
    agreement: JsonObject | None
    agreement_chart: DotChart | None
    budget: tuple[tuple[str, str], ...]
    flags: tuple[JsonObject, ...]


def run_words(run: PageRun) -> RunWords:
    """Put a run into words.

    Parameters
    ----------
    run : PageRun
        With its record as it may leave the house.

    Raises
    ------
    KeyError, TypeError, ValueError, AttributeError
        Its record is not whole.
    """
    record, passes = run.record, run.figures.passes
    if not record:
        return _weighed_only(run)
    last = passes[-1].zones["patch"]
    further = record.get("further_pass") or {}
    return RunWords(
        verdict=str(record.get("verdict") or f"Picked up {pickup_words(last)}: {last.trust}."),
        trust=last.trust,
        sentences=(*_sentences(passes[-1]), *_why_sentence(record["passes"][-1])),
        passes=tuple(_pass(done, found) for done, found in zip(passes, record["passes"], strict=True)),
        pass_chart=_pass_chart(record["passes"]) if len(passes) > 1 else None,
        further=str(further.get("sentence", "")),
        agreement=record.get("agreement"),
        agreement_chart=_agreement_chart(record.get("agreement")),
        budget=tuple(
            (str(line["source"]), UNKNOWN if line["u_percent"] is None else f"{line['u_percent']:.2f}")
            for line in record.get("budget", ())
        ),
        flags=tuple(record.get("flags", ())),
    )


def _weighed_only(run: PageRun) -> RunWords:
    pickup = run.figures.weighed.get("pickup")
    verdict = "Weighed, but what was picked up is not known."
    if pickup is not None:
        verdict = f"Picked up {percent_text(pickup.percent)} by scale ({interval_text(pickup.interval95)})."
    return RunWords(
        verdict=verdict,
        trust=SOUND,
        sentences=(),
        passes=(),
        pass_chart=None,
        further="",
        agreement=None,
        agreement_chart=None,
        budget=(),
        flags=(),
    )


def pickup_words(figure: FiledFigure) -> str:
    """A pickup with its interval: "83.1 % (81.5 to 84.4 %)"."""
    if figure.more_than_percent is not None:
        return more_than_text(figure.more_than_percent)
    if figure.pickup_percent is None:
        return "not measurable"
    interval = "" if figure.interval95 is None else f" ({interval_text(figure.interval95)})"
    return f"{percent_text(figure.pickup_percent)}{interval}"


def zone_title(zone: str) -> str:
    """A zone as a heading."""
    return ZONE_TITLE.get(zone, zone)


def known_pickup(figure: FiledFigure) -> float | None:
    """Where a pickup is drawn: at what is promised at least, where nothing more is known."""
    return figure.more_than_percent if figure.more_than_percent is not None else figure.pickup_percent


def drawn(figure: FiledFigure, words: str) -> Figure | None:
    """A pickup as a dot; None where it is not known."""
    value = known_pickup(figure)
    if value is None:
        return None
    promised = figure.more_than_percent is not None
    return Figure(
        words=f"{words}: {pickup_words(figure)}{'' if figure.trust == SOUND else f', {figure.trust}'}",
        value=value,
        interval95=None if promised else figure.interval95,
        doubtful=figure.trust != SOUND,
        at_least=promised,
    )


def _sentences(done: FiledPass) -> Iterator[str]:
    """A sentence a zone, for all kinds together, then one a kind."""
    for zone, figure in done.zones.items():
        if zone in ("patch", "margin") or figure.why == NOTHING_LAY:
            continue
        where = IN_ZONE.get(zone, f"in “{zone}”")
        yield _sentence(f"{where[0].upper()}{where[1:]}", figure)
    if len(done.kinds) > 1:
        for kind, zones in done.kinds.items():
            if zones["patch"].why != NOTHING_LAY:
                yield _sentence(f"Of {kind}", zones["patch"])


def _sentence(where: str, figure: FiledFigure) -> str:
    if figure.pickup_percent is None and figure.more_than_percent is None:
        return f"{where}: not measurable{f', because {figure.why}' if figure.why else ''}."
    if figure.pickup_percent is not None and figure.pickup_percent < 0 and figure.more_than_percent is None:
        said = f"{where}: {pickup_words(figure)}, for more debris lies here than before: it was pushed in"
    else:
        said = f"{where}: {pickup_words(figure)} picked up"
    if figure.trust == SOUND:
        return f"{said}."
    return f"{said}; {figure.trust}{f', because {figure.why}' if figure.why else ''}."


def _why_sentence(found: Mapping[str, Any]) -> Iterator[str]:
    """What became of the debris that stayed, in one sentence."""
    parts = split_parts((found.get("why_left") or {}).get("patch"))
    if parts:
        yield f"Of what stayed, {listed([f'{part.percent} %{part.interval} was {part.words}' for part in parts])}."


def _pass(done: FiledPass, found: Mapping[str, Any]) -> PassWords:
    title = "After the pass" if done.number == 1 else f"After {done.number} passes together"
    findings = [finding for finding in found.get("findings", ()) if finding["what"] not in _SAID_BY_SPLIT]
    split = split_parts((found.get("why_left") or {}).get("patch"))
    if not split:
        findings = list(found.get("findings", ()))
    open_floor = known_pickup(done.zones["open"]) if "open" in done.zones else None
    return PassWords(
        number=done.number,
        title=title,
        rows=_rows(done.zones, found["zones"]),
        kinds={kind: _rows(zones, found["kinds"][kind]["zones"]) for kind, zones in done.kinds.items()}
        if len(done.kinds) > 1
        else {},
        split=split,
        remarks=tuple(str(finding["sentence"]) for finding in findings),
        walls=tuple(_wall_charts(found.get("wall") or {}, open_floor)),
    )


def _wall_charts(found: Mapping[str, Any], open_percent: float | None) -> Iterator[WallChart]:
    """A chart a wall; of a record that was measured before 2026-12, from what stayed, with lanes' strips and all."""
    for wall, one in (found.get("pickup") or {}).items():
        intervals = [None if ends is None else (ends[0], ends[1]) for ends in one["pickup_interval95"]]
        pickups = list(zip(one["pickup_percent"], intervals, strict=True))
        chart = wall_chart(wall, one["edges_mm"], pickups, one["open"]["pickup_percent"])
        if chart is not None:
            yield chart
    if found.get("pickup"):
        return
    for wall, profile in (found.get("walls") or {}).items():
        stayed = [
            max(u, 0.0) + max(s, 0.0) for u, s in zip(profile["untouched_mm2"], profile["shifted_mm2"], strict=True)
        ]
        shares = [
            None if lay <= 0 else 100 * (1 - lies / lay)
            for lay, lies in zip(profile["before_mm2"], stayed, strict=True)
        ]
        chart = wall_chart(wall, profile["edges_mm"], [(share, None) for share in shares], open_percent)
        if chart is not None:
            yield chart


def _rows(zones: Mapping[str, FiledFigure], found: Mapping[str, Any]) -> tuple[ZoneRow, ...]:
    rows = []
    for zone, figure in zones.items():
        promised = figure.more_than_percent is not None
        known = figure.pickup_percent is not None or promised
        grains = [amount_text(found[zone][shot].get("grains")) for shot in ("before", "after")]
        pickup = more_than_text(figure.more_than_percent) if promised and figure.more_than_percent is not None else ""
        rows.append(
            ZoneRow(
                zone=zone_title(zone),
                pickup=(pickup or percent_text(figure.pickup_percent)).replace(MORE_THAN, ">"),
                interval=interval_text(figure.interval95, down=promised) if known else UNKNOWN,
                trust=UNKNOWN if figure.why == NOTHING_LAY else figure.trust,
                why=figure.why,
                before=area_text(figure.before_mm2),
                left=area_text(figure.after_mm2),
                grains=" → ".join(grains),
            )
        )
    return tuple(rows)


def split_parts(found: Mapping[str, Any] | None) -> tuple[Part, ...]:
    """What stayed in three parts of whole percent that sum to 100; none where it was not told."""
    if not found:
        return ()
    names = {
        "never_reached_percent": ("never", "never reached"),
        "left_lying_percent": ("lying", "reached and left lying"),
        "moved_percent": ("moved", "moved and left"),
    }
    exact = {key: float(found[key]) for key in names}
    whole = {key: int(value) for key, value in exact.items()}
    # What rounding down has lost goes to those that lost most.
    for key in sorted(exact, key=lambda key: whole[key] - exact[key])[: 100 - sum(whole.values())]:
        whole[key] += 1
    parts, x = [], 0
    for key, (name, words) in names.items():
        ends = found.get(key.replace("_percent", "_interval95"))
        interval = "" if ends is None else f" ({ends[0]:.0f} to {ends[1]:.0f} %)"
        parts.append(Part(name=name, words=words, percent=whole[key], x=x, interval=interval))
        x += whole[key]
    return tuple(parts)


def _pass_chart(passes: Sequence[Mapping[str, Any]]) -> DotChart | None:
    groups = []
    for found in passes:
        figures = []
        for key, words in (("together", "all passes so far together"), ("of_found", "of what this pass found")):
            value, interval = found.get(f"{key}_percent"), found.get(f"{key}_interval95")
            if key == "together" and interval is None:
                interval = found["zones"]["patch"].get("interval95")
            if value is not None:
                said = percent_text(value) + ("" if interval is None else f" ({interval_text(tuple(interval))})")
                figures.append(
                    Figure(
                        words=f"{words}: {said}", value=value, interval95=None if interval is None else tuple(interval)
                    )
                )
        # The first pass found all that lay there: both are one.
        shown = figures[:1] if found["pass"] == 1 else figures
        groups.append(Group(label=f"Pass {found['pass']}", figures=tuple(shown)))
    return dot_chart("Pickup pass by pass, percent", groups)


def _agreement_chart(found: Mapping[str, Any] | None) -> DotChart | None:
    if not found:
        return None
    groups = []
    for name, words in (("photo", "By photo"), ("scale", "By scale")):
        value, u = float(found[f"{name}_percent"]), float(found[f"{name}_u"])
        interval = (value - 1.96 * u, min(value + 1.96 * u, 100.0))  # normal, 95 %
        figure = Figure(
            words=f"{words}: {percent_text(value)} ({interval_text(interval)})", value=value, interval95=interval
        )
        groups.append(Group(label=words, figures=(figure,)))
    return dot_chart("Pickup of the patch, percent", groups)
