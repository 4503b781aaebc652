"""How small and how large photos may be; messages do not name the file."""

import math

from ..errors import PhotoFileError

#: What cameras of full size reach; decoding takes gigabytes above that. Phones of 200 megapixels need the limit raised.
MOST_MEGAPIXELS = 120.0
#: Pixels to a byte of the file above which no photo can be. A JPEG of one colour takes a byte for 170 pixels (two codes
#: of a bit for each of six blocks to 256 pixels, ITU-T T.81), and a camera's noise makes it a byte for 3 to 20; newer
#: kinds take a third of that.
MOST_PIXELS_PER_BYTE = 1000
#: Up to here a picture is not looked at for that: it takes no memory to speak of.
_SMALL_PIXELS = 1_000_000
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


def check_packed(width: int, height: int, size: int) -> None:
    """Raise PhotoFileError for a picture of so many pixels that ``size`` bytes cannot hold a photo of them."""
    if width * height > max(_SMALL_PIXELS, MOST_PIXELS_PER_BYTE * size):
        raise PhotoFileError(
            f"has {width} x {height} px in {size} bytes, too few for a photo. Copy it from the camera once more."
        )


def check_size(width: int, height: int, most_megapixels: float) -> None:
    """Raise PhotoFileError for a picture of too many or too few pixels."""
    if width * height > most_megapixels * 1e6:
        raise PhotoFileError(f"has {width} x {height} px, more than {most_megapixels:g} megapixels. {_RAISE}")
    if min(width, height) < LEAST_SIDE_PX:
        raise PhotoFileError(
            f"has only {width} x {height} px, less than {LEAST_SIDE_PX} on a side."
            " Give the photo itself, not a thumbnail."
        )
