"""Photos as callers give them, and how they are told what is going on."""

from collections.abc import Callable
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo, photo_from_array, read_photo

#: A photo: a file or sRGB pixels of shape (H, W, 3), 8 bits a channel.
PhotoSource = str | PathLike[str] | NDArray[np.uint8]
#: Told the share done, 0 to 1, and what is being done.
Progress = Callable[[float, str], None]


def load_photo(source: PhotoSource, name: str, most_megapixels: float = MOST_MEGAPIXELS) -> Photo:
    """Read a photo, or take an array for one.

    Parameters
    ----------
    source : path or ndarray of uint8, shape (H, W, 3)
        The photo.
    name : str
        What messages call an array.
    most_megapixels : float
        Larger photo files are refused.

    Returns
    -------
    Photo

    Raises
    ------
    PhotoFileError
        As `read_photo`.
    ValueError
        As `photo_from_array`.
    """
    if isinstance(source, np.ndarray):
        return photo_from_array(source, name)
    return read_photo(source, most_megapixels=most_megapixels)
