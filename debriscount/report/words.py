"""What the columns of tables mean, in a sentence each."""

from collections.abc import Mapping

from ..columns import wrapped
from ..compare.tidy import WORDS

_BEFORE_AFTER = {
    "area_mm2": "area of debris seen from above, mm²",
    "grains": "number of grains; empty where it cannot be told",
    "mass_g": "mass that follows from the area, g; empty where the kind's file tells no mass",
}
ZONES: Mapping[str, str] = {
    "pass": "pass of the machine, counted from 1; all figures are against the photo before the first",
    "kind": 'kind of debris, "all" for all of them together',
    "zone": "patch, open, edge, corner, margin, or a zone of your own",
    **{
        f"{shot}_{name}": f"{shot} the pass: {words}"
        for name, words in _BEFORE_AFTER.items()
        for shot in ("before", "after")
    },
    "gone_percent": "what the zone lost, wherever it went, % of what lay there before",
    "pickup_percent": "what was picked up, %; for the patch, what was flung into the margin counts as left",
    "low95": "lower end of the 95 % interval of the pickup, %",
    "high95": "upper end of the 95 % interval of the pickup, %",
    "more_than_percent": "where next to nothing is left: what can be promised of the pickup, %",
    "detection_limit_mm2": "area of leftovers below which they cannot be told from bare floor, mm²",
    **{
        f"{shot}_grains_{end}95": f"{shot} the pass: {word} end of the 95 % interval of the number of grains"
        for shot in ("before", "after")
        for end, word in (("low", "lower"), ("high", "upper"))
    },
    "swept_g": "what was swept up in the zone and weighed, g",
    "swept_u_g": "standard uncertainty of swept_g, g",
    "untouched_percent": "share of the leftovers that lies where it lay before, %",
    "shifted_percent": "share of the leftovers that was moved, %",
    "reached_percent": "share of the zone's floor that the machine reached, %",
    "trust": "whether the pickup may be trusted: sound, doubtful or not measurable",
    "why": "why it may not, in a few words",
    "best_percent": "pickup by photo and scale together, %",
    "best_low": "lower end of its 95 % interval, %",
    "best_high": "upper end of its 95 % interval, %",
}
GRAINS: Mapping[str, str] = {
    "shot": "blank, before, after and so on",
    "kind": "kind of debris",
    "x_mm": "place of the grain's centre, to the right from the patch's top-left corner, mm",
    "y_mm": "place of the grain's centre, down from there, mm",
    "area_mm2": "area of the grain seen from above, mm²",
    "diameter_mm": "diameter of the circle of that area, mm",
    "zone": "zone in which its centre lies",
    "fate": "after a pass: untouched or shifted; empty where that is not known",
    "moved_mm": "how far the pass moved it at least, mm",
}
#: Tables by the name of their file.
TABLES: Mapping[str, Mapping[str, str]] = {"zones.csv": ZONES, "grains.csv": GRAINS, "summary --csv": WORDS}


def words_text(width: int) -> str:
    """Return all columns with what they mean, a table after the other."""
    blocks = []
    for table, columns in TABLES.items():
        room = max(map(len, columns)) + 2
        lines = [wrapped(f"{name:<{room}}{words}", " " * room, width) for name, words in columns.items()]
        blocks.append("\n".join([table, *lines]))
    return "\n\n".join(blocks) + "\n"
