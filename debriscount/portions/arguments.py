"""Portions as people write them: photos and grams."""

import math
import re
from dataclasses import dataclass
from pathlib import Path

from ..errors import PortionError
from ..stats.quantity import Quantity

_NUMBER = r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+"
_GRAMS = re.compile(rf"\s*({_NUMBER})\s*(?:g\s*)?(?:(?:±|\+-|\+/-)\s*({_NUMBER})\s*(?:g\s*)?)?")
#: Readings behind a portion's grams: full and empty cup.
READINGS = 2


@dataclass(frozen=True, slots=True)
class PortionArgument:
    """Photos of one portion as it was laid once, and what it weighs."""

    photos: tuple[Path, ...]
    mass_g: Quantity


def parse_portion(text: str) -> PortionArgument:
    """Read a portion.

    Parameters
    ----------
    text : str
        "PHOTO=GRAMS" or "PHOTO=GRAMS±U", with U what the scale may be off by 95 times in 100; further photos of the
        same portion, not laid anew, follow the first after commas.

    Returns
    -------
    PortionArgument

    Raises
    ------
    PortionError
        The text is written otherwise.
    """
    before, sign, after = text.rpartition("=")
    photos = tuple(Path(name.strip()) for name in before.split(",") if name.strip())
    if not (sign and photos):
        raise PortionError(
            f'portion "{text}": must be written PHOTO=GRAMS or PHOTO=GRAMS±U, such as "lentils-20g.jpg=20.1±0.1".'
        )
    return PortionArgument(photos, parse_grams(after, f'portion "{text}"'))


def parse_grams(text: str, where: str) -> Quantity:
    """Read a mass, grams: "20.1" or "20.1±0.1".

    Parameters
    ----------
    text : str
        U after the sign is an expanded uncertainty, k = 2. Without one, the last decimal written is the scale's step d,
        and the mass a difference of two readings, each rounded to it: u = d / sqrt(6) (JCGM 100, 4.3.7).
    where : str
        What a message begins with.

    Returns
    -------
    Quantity

    Raises
    ------
    PortionError
        The text is no mass greater than 0.
    """
    found = _GRAMS.fullmatch(text)
    value = float(found[1].replace(",", ".")) if found else 0.0
    if found is None or not 0 < value < 1e6:
        raise PortionError(f'{where}: "{text}" is no mass in grams. Write it as "20.1" or "20.1±0.1", greater than 0.')
    if found[2] is not None:
        return Quantity(value, float(found[2].replace(",", ".")) / 2)
    _, _, decimals = found[1].replace(",", ".").partition(".")
    return Quantity(value, 10.0 ** -len(decimals) * math.sqrt(READINGS / 12))
