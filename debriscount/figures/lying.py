"""How much debris a photo shows, in a sentence for who stands beside the floor."""

from os import PathLike

from ..errors import DebriscountError
from ..fitness.files import ShotCheck
from ..fitness.records import Fitness
from .count import count
from .records import UNTOLD_GRAINS

#: Width of the interval of a number, over the number, from which on it is no longer "about" that many.
UNSURE = 0.5


def lying_text(check: ShotCheck, photo: str | PathLike[str], found: Fitness) -> str:
    """Say about how many grains lie on the patch; nothing where that cannot be told.

    Parameters
    ----------
    check : ShotCheck
        What the photo was checked by. Without debris files nothing is said.
    photo : path
        The photo.
    found : Fitness
        What the check found. Without another shot to hold it against, floor whose pattern looks like the debris
        cannot be told from it, and nothing is said.
    """
    if not check.kinds or any(fault.code == "markers-hidden" for fault in found.faults):
        return ""
    if check.against is None and any(finding.code == "pattern-alike" for finding in found.findings):
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
    patch = seen.zones["patch"]
    grains, (low, high) = patch.grains, patch.grains95 or (patch.grains, patch.grains)
    if high - low > UNSURE * grains + UNTOLD_GRAINS:
        return ""
    if check.against is not None:
        return f"{_about(grains, 'more ')} here than in {check.against.name}."
    return f"{_about(grains)} here: a blank must be bare." if grains else "No debris is seen here."


def _about(grains: int, more: str = "") -> str:
    if grains < 20:
        return f"{grains or 'No'} {more}{'grain lies' if grains == 1 else 'grains lie'}"
    digits = len(str(grains)) - 2  # two digits are what one can check by eye
    return f"About {round(grains, -digits):,} {more}grains lie".replace(",", " ")
