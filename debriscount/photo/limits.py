"""How small and how large photos may be; messages do not name the file."""

import math

from ..errors import PhotoFileError

#: Phones reach 200 megapixels; above 300 a file is a mistake or a trap, and decoding it takes gigabytes.
MOST_MEGAPIXELS = 300.0
#: Below this no marker of four by four cells can be read.
LEAST_SIDE_PX = 64
#: The most that a pixel takes in a file: four channels of 16 bits, not compressed.
BYTES_PER_PIXEL = 8
#: Room for what a file holds beside its picture: previews, depth, the film of a moving photo (common practice, no
#: source).
BYTES_BESIDE = 64_000_000

_RAISE = "Give the photo as the camera made it, or raise the limit (--most-megapixels)."


def most_bytes(most_megapixels: float) -> int:
    """Return the size above which no file can be a photo of so many megapixels.

    Raises
    ------
    PhotoFileError
        The limit is no number above 0.
    """
    if not (math.isfinite(most_megapixels) and most_megapixels > 0):
        raise PhotoFileError(f"cannot be read: most megapixels must be a number above 0, got {most_megapixels:g}.")
    return BYTES_BESIDE + int(BYTES_PER_PIXEL * most_megapixels * 1e6)


def check_bytes(size: int, most: int) -> None:
    """Raise PhotoFileError for a file of more than ``most`` bytes."""
    if size > most:
        raise PhotoFileError(f"is larger than {most / 1e6:.0f} megabytes, more than a photo can take. {_RAISE}")


def check_size(width: int, height: int, most_megapixels: float) -> None:
    """Raise PhotoFileError for a picture of too many or too few pixels."""
    if width * height > most_megapixels * 1e6:
        raise PhotoFileError(f"has {width} x {height} px, more than {most_megapixels:g} megapixels. {_RAISE}")
    if min(width, height) < LEAST_SIDE_PX:
        raise PhotoFileError(
            f"has only {width} x {height} px, less than {LEAST_SIDE_PX} on a side."
            " Give the photo itself, not a thumbnail."
        )
