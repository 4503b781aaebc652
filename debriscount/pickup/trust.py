"""Whether a figure may be trusted: sound, doubtful or not measurable, with the reason in a few words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from ..flags import SEVERITIES, Flag, listed
from .records import PassFigures, ZoneFigures

#: Half width of the 95 % interval, percentage points, up to which the pickup of the patch and of open floor is sound:
#: the standard uncertainty is then at most the one point of accuracy that photos are checked for
#: (shot_check.records.USUAL_WANT), and machines that differ by three points can be told apart: sqrt(2) × 2 = 2.8.
SOUND = 2.0
#: The same for zones that hold but a few of the grains: along a wall and in a corner machines differ by tens of points,
#: and of 50 grains a single one, here or over the zone's border, is 2 points.
SOUND_ZONE = 4.0
LARGE = ("patch", "open")

#: Half width of a 95 % interval, percentage points, beyond which a pickup is not given: off by so many points it ranks
#: no two machines (common practice, no source).
WIDEST = 15.0
TOO_WIDE = f"its 95 % interval is wider than {2 * WIDEST:.0f} points"

#: What a flag says of photos in the middle of a sentence, behind their names; of runs it is the whole clause.
OF_PHOTOS: dict[str, str] = {
    "blurred": "is blurred",
    "slanted": "is taken at too great a slant",
    "burnt-out": "is burnt out in places",
    "shadow": "has a shadow, foot or reflection in it",
    "too-coarse": "shows the grains too small",
    "faint": "hardly shows the debris",
    "compressed": "is compressed too much",
    "noisy": "is too noisy",
    "too-alike": "shows debris and floor too much alike",
    "markers-hidden": "hides markers",
    "marker-moved": "has a marker moved",
    "markers-off": "shows markers off their places",
    "places-uncertain": "tells places on the floor too roughly",
    "patch-cut": "does not show the whole patch",
    "sizes-differ": "is taken at another slant than the others",
    "exposure-differs": "is exposed otherwise than the others",
    "colour-differs": "is lit in another colour than the others",
    "noise-differs": "is more or less noisy than the others",
    "compression-differs": "is compressed otherwise than the others",
    "other-lens": "is taken with another lens",
    "debris-on-blank": "shows debris",
    "another-run": "seems to be of another run",
    "unnamed-debris": "shows debris that no file names",
    "foreign-thing": "shows a thing that no other shot shows",
    "solid-thing": "shows a thing that is no debris",
    "other-tone": "is toned otherwise than the others",
    "other-noise": "is noisier than the others",
    "moire": "shows waves of colour that the others do not show",
    "taken-backwards": "was taken before the shot that it follows",
}
OF_RUNS: dict[str, str] = {
    "marker-moved": "a marker has moved between the shots",
    "lens-unusable": "the lens file is not usable",
    "no-colour": "a photo shows no colour",
    "hardly-told": "debris can hardly be told from the floor in places",
    "too-fine": "grains are hardly larger than a pixel",
    "grain-size": "the grains are not of the size that the debris file says",
    "size-range": "the debris file does not tell how large the grains are",
    "margin-strewn": "the floor's pattern is taken for debris",
}
#: Why an interval is wide, by the largest source of the budget.
WIDE_BECAUSE: dict[str, str] = {
    "floor": "the floor's own pattern looks like this debris",
    "faint grains": "most grains are too small to be seen",
    "not judged": "much of the floor has the debris' own colour",
    "colour limit": "debris hardly stands out from the floor",
    "light": "the shots show the same grains in different sizes",
    "area against number": "grains and area give different pickups",
    "zone borders": "places on the floor are uncertain",
    "crowding": "grains hide one another",
}
NOTHING_LAY = "no debris lay here before"
_PLURAL = {
    "is": "are",
    "has": "have",
    "shows": "show",
    "does": "do",
    "hides": "hide",
    "tells": "tell",
    "seems": "seem",
    "was": "were",
}


def untold(figures: ZoneFigures, why: str) -> ZoneFigures:
    """The figures without their pickup, which cannot be told, and why not."""
    return replace(
        figures,
        gone_percent=None,
        pickup_percent=None,
        more_than_percent=None,
        interval95=None,
        trust="not measurable",
        why=why,
    )


def judged(
    passes: Sequence[PassFigures], flags: Iterable[Flag], files: Mapping[str, str], largest_source: str
) -> tuple[PassFigures, ...]:
    """Say of every zone's pickup of every pass and kind whether it may be trusted.

    Parameters
    ----------
    passes : sequence of PassFigures
        With pickups and intervals; those that cannot be told say why already.
    flags : iterable of Flag
        All that was noticed about the run.
    files : mapping of str to str
        Names of the photos by shot, for the reasons.
    largest_source : str
        Of the budget of the patch's pickup, "" if unknown.

    Returns
    -------
    tuple of PassFigures

    Notes
    -----
    A figure is not measurable if it is not given. It is doubtful if a flag that is unfit or doubtful concerns it: one
    of its own shots or of all, its own zone or all, for the patch also a zone that holds more of the debris than a
    sound figure may be off by. And it is doubtful if its 95 % interval is wider than a sound figure's.
    """
    against = [flag for flag in flags if flag.severity != "note"]
    result = []
    for figures in passes:
        own = of_pass(against, figures.number)

        def judge(zones: dict[str, ZoneFigures], own: Sequence[Flag] = own) -> dict[str, ZoneFigures]:
            return {name: _judged(name, zones, own, files, largest_source) for name in zones}

        kinds = {kind: judge(zones) for kind, zones in figures.kinds.items()}
        result.append(replace(figures, zones=judge(figures.zones), kinds=kinds))
    return tuple(result)


def of_pass(flags: Iterable[Flag], number: int) -> list[Flag]:
    """Flags of the shots that a pass's pickup rests on, and of all shots."""
    shots = (None, "blank", "before", "after" if number == 1 else f"after{number}")
    return [flag for flag in flags if flag.shot in shots]


def _judged(
    name: str, zones: Mapping[str, ZoneFigures], flags: Sequence[Flag], files: Mapping[str, str], source: str
) -> ZoneFigures:
    figures = zones[name]
    if figures.pickup_percent is None:
        why = figures.why + (_because(name, source) if figures.why == TOO_WIDE else "")
        return replace(figures, trust="not measurable", why=why or NOTHING_LAY)
    those = [flag for flag in flags if _concerns(flag, name, zones)]
    why = reason(those, files) or _too_wide(name, figures, source)
    return replace(figures, trust="doubtful" if why else "sound", why=why)


def _concerns(flag: Flag, name: str, zones: Mapping[str, ZoneFigures]) -> bool:
    if flag.zone in (None, name, "patch"):
        return True
    part, whole = zones.get(flag.zone), zones["patch"].before.area_mm2
    return name == "patch" and part is not None and 100 * part.before.area_mm2 > SOUND * whole


def _too_wide(name: str, figures: ZoneFigures, source: str) -> str:
    if figures.interval95 is None:
        return "how well it is known cannot be told"
    width, most = figures.interval95[1] - figures.interval95[0], 2 * (SOUND if name in LARGE else SOUND_ZONE)
    if width <= most:
        return ""
    return f"its 95 % interval is wider than {most:g} points" + _because(name, source)


def _because(name: str, source: str) -> str:
    """Why the patch's interval is wide; of zones it is not known, and all are worded alike, so as to be said once."""
    because = WIDE_BECAUSE.get(source, "") if name == "patch" else ""
    return f": {because}" if because else ""


def reason(flags: Sequence[Flag], files: Mapping[str, str]) -> str:
    """What the worst of some flags says in a few words, as "before.jpg is blurred"; empty without any."""
    if not flags:
        return ""
    worst = min(flags, key=lambda flag: SEVERITIES.index(flag.severity))
    alike = [f for f in flags if (f.code, f.severity) == (worst.code, worst.severity)]
    shots = list(dict.fromkeys(f.shot for f in alike if f.shot is not None))
    if shots and worst.code in OF_PHOTOS:
        verb, rest = OF_PHOTOS[worst.code].split(" ", 1)
        return f"{listed([files.get(s, s) for s in shots])} {verb if len(shots) == 1 else _PLURAL[verb]} {rest}"
    if worst.code in OF_RUNS:
        return OF_RUNS[worst.code]
    said = listed(list(dict.fromkeys(flag.sentence.split(". ")[0].rstrip(".") for flag in alike)))
    return said[:1].lower() + said[1:] if not said[:2].isupper() else said
