"""How much debris a photo shows, in a sentence for who stands beside the floor."""

from os import PathLike

from ..errors import DebriscountError
from ..fitness.files import ShotCheck
from ..fitness.records import Fitness
from .count import count
from .counted import Counted
from .records import UNTOLD_GRAINS
from .zones import zone_areas_mm2

#: Width of the interval of a number, over the number, from which on it is no longer "about" that many.
UNSURE = 0.5
#: Grains in the margin, over as much floor of the patch, from which on they are taken for the floor's own pattern:
#: debris is strewn in the patch alone, and between all of it and none this is a quarter.
PATTERN = 0.25


def lying_text(check: ShotCheck, photo: str | PathLike[str], found: Fitness) -> str:
    """Say about how many grains lie on the patch; nothing where that cannot be told.

    Parameters
    ----------
    check : ShotCheck
        What the photo was checked by. Without debris files nothing is said.
    photo : path
        The photo.
    found : Fitness
        What the check found.

    Notes
    -----
    Without another shot to hold it against, the floor's own pattern is counted as well: nothing is said then where the
    margin, in which nothing is strewn, shows as much.
    """
    if not check.kinds or any(fault.code == "markers-hidden" for fault in found.faults):
        return ""
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
        return ""
    return lying_sentence(seen, None if check.against is None else check.against.name)


def lying_sentence(seen: Counted, against: str | None) -> str:
    """Say about how many grains were counted on a patch, beyond those of another shot of that name or by themselves."""
    patch = seen.zones["patch"]
    if patch.grains95 is None:
        return ""
    low, high = patch.grains95
    if high - low > UNSURE * patch.grains + UNTOLD_GRAINS:
        return ""
    if against is not None:
        return f"{_about(patch.grains, 'more ')} here than in {against}."
    if not patch.grains:
        return "No debris is seen here."
    return f"{_about(patch.grains)} here: a blank must be bare." if _strewn(seen) else ""


def _strewn(seen: Counted) -> bool:
    """Whether grains lie in the patch rather than all over the floor, where its own pattern is taken for them."""
    if seen.patch is None or "margin" not in seen.zones:
        return False
    floor = zone_areas_mm2(seen.patch)
    density = {zone: seen.zones[zone].grains / floor[zone] for zone in ("patch", "margin") if floor[zone] > 0}
    return "margin" in density and density["margin"] < PATTERN * density["patch"]


def _about(grains: int, more: str = "") -> str:
    if grains < 20:
        return f"{grains or 'No'} {more}{'grain lies' if grains == 1 else 'grains lie'}"
    digits = len(str(grains)) - 2  # two digits are what one can check by eye
    return f"About {round(grains, -digits):,} {more}grains lie".replace(",", " ")
