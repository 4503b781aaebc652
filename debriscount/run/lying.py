"""How much debris a photo shows, in a sentence for who stands beside the floor."""

import re
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import DebriscountError
from ..flags import Flag
from ..pickup.records import UNTOLD_GRAINS
from ..shot_check.files import ShotCheck
from ..shot_check.records import Finding, Fitness

# What counts takes long to load, and is loaded only where debris files are given.
if TYPE_CHECKING:
    from .records import Counted

#: Width of the interval of a number, over the number, from which on it is no longer "about" that many.
UNSURE = 0.5
#: Grains in the margin, over as much floor of the patch, from which on they are taken for the floor's own pattern:
#: debris is strewn in the patch alone, and between all of it and none this is a quarter.
PATTERN = 0.25
#: Faults after which grains are not counted.
UNCOUNTED = ("markers-hidden", "same-photo")
#: What to do about a mix-up while the floor is as it is.
TO_DO = {
    "foreign-thing": "Clear the place and retake the photo",
    "solid-thing": "If it is no heap, take it away and retake the photo",
    "not-found": "Look whether it is the right debris file",
    "grain-size": "Look whether it is the right debris file",
    "size-range": "Correct the sizes in the debris file",
    "unnamed-debris": "Give a debris file for each kind that was strewn",
}
#: What such a mix-up is called among the things looked at.
CALLED = {
    "foreign-thing": "foreign thing, stain or shadow",
    "solid-thing": "thing of the debris' colour",
    "not-found": "debris of the file",
    "grain-size": "size of the grains",
    "size-range": "size of the grains",
    "unnamed-debris": "debris that no file names",
}
#: Names of files that show debris.
STREWN = re.compile(r"before|after|pass|left|portion")


def looked_over(check: ShotCheck, photo: str | PathLike[str]) -> tuple[Fitness, str]:
    """Check a photo, and say about how many grains lie on the patch; nothing where that cannot be told.

    Parameters
    ----------
    check : ShotCheck
        What the photo is checked by. Without debris files nothing is said of grains.
    photo : path
        The photo.

    Returns
    -------
    Fitness
        What the check found; held against another shot, also a foreign thing and a debris file that does not fit.
    str
        One sentence or nothing.

    Notes
    -----
    Without another shot to hold it against, the floor's own pattern is counted as well: nothing is said then where the
    margin, in which nothing is strewn, shows as much.
    """
    found = check.check(photo)
    if not check.kinds or any(fault.code in UNCOUNTED for fault in found.faults):
        return found, ""
    from .count import count

    try:
        seen = count(
            photo,
            patch=check.patch,
            blank=None if check.against is None else check.against.pixels,
            debris=check.kinds,
            lens=check.lens,
            most_megapixels=check.most_megapixels,
        )
    except DebriscountError:  # the check itself has said what is wrong, or the photo is for something else
        return found, ""
    faults = [
        Finding(
            name=CALLED.get(flag.code, flag.code),
            value=None,
            unit="",
            limit=None,
            least=True,
            fit=False,
            reason="",
            advice=_advice(flag),
            code=flag.code,
        )
        for flag in seen.mixups
    ]
    said = lying_sentence(seen, None if check.against is None else check.against.name, Path(photo).name)
    return replace(found, findings=(*found.findings, *faults)), said


def _advice(flag: Flag) -> str:
    said = flag.sentence.split(". ")[0]
    return f"{TO_DO[flag.code]}: {said}." if flag.code in TO_DO else f"{flag.sentence}."


def lying_sentence(seen: "Counted", against: str | None, file: str = "") -> str:
    """Say about how many grains were counted on a patch, beyond those of another shot of that name or by themselves.

    Whether that is as it should be depends on which shot it is. People name the files by that; where ``file`` does not
    tell, both are said.
    """
    patch = seen.zones["patch"]
    if patch.grains95 is None:
        return ""
    low, high = patch.grains95
    if high - low > UNSURE * patch.grains + 2 * UNTOLD_GRAINS:
        return ""
    if against is not None:
        return f"{_about(patch.grains, 'more ')} here than in {against}."
    if not patch.grains:
        return "No debris is seen here."
    if not _strewn(seen):
        return ""
    role = file.lower()
    bare = (
        ": a blank must be bare"
        if "blank" in role
        else ""
        if STREWN.search(role)
        else "; a blank would have to be bare"
    )
    return f"{_about(patch.grains)} here{bare}."


def _strewn(seen: "Counted") -> bool:
    """Whether grains lie in the patch rather than all over the floor, where its own pattern is taken for them."""
    if seen.patch is None or "margin" not in seen.zones:
        return False
    from ..pickup.zones import zone_areas_mm2

    floor = zone_areas_mm2(seen.patch)
    density = {zone: seen.zones[zone].grains / floor[zone] for zone in ("patch", "margin") if floor[zone] > 0}
    return "margin" in density and density["margin"] < PATTERN * density["patch"]


def _about(grains: int, more: str = "") -> str:
    if grains < 20:
        return f"{grains or 'No'} {more}{'grain lies' if grains == 1 else 'grains lie'}"
    digits = len(str(grains)) - 2  # two digits are what one can check by eye
    return f"About {round(grains, -digits):,} {more}grains lie".replace(",", " ")
