"""Raw photos (DNG) developed, every one the same way."""

from collections.abc import Callable
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from ..errors import PhotoFileError


def develop(content: bytes, check_size: Callable[[int, int], None]) -> NDArray[np.uint8]:
    """Develop a DNG: the camera's white balance, and nothing that adapts to what the photo shows.

    Values are proportional to light and then take the sRGB curve [IEC 61966-2-1]. Off is what LibRaw would adapt:
    the brightness, and the white level, for which it takes the brightest pixel where that is near.

    Parameters
    ----------
    content : bytes
        The file.
    check_size : callable
        Told the sensor's width and height before the pixels are unpacked, and raises where they cannot be.

    Returns
    -------
    ndarray of uint8 of shape (H, W, 3)
        Upright sRGB.

    Raises
    ------
    PhotoFileError
        rawpy is not installed; the message does not name the file.
    """
    try:
        import rawpy
    except ImportError:
        raise PhotoFileError(
            "is a raw photo (DNG), which needs rawpy. Install it with pip install 'debriscount[raw]', or export the "
            "photo as JPEG at best quality."
        ) from None
    with rawpy.RawPy() as raw:
        raw.open_buffer(BytesIO(content))
        sizes = raw.sizes
        check_size(max(sizes.raw_width, sizes.iwidth), max(sizes.raw_height, sizes.iheight))
        raw.unpack()
        pixels = raw.postprocess(
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0.0,
            output_color=rawpy.ColorSpace.sRGB,
            output_bps=8,
            gamma=(2.4, 12.92),
        )
    if pixels.ndim == 2 or pixels.shape[2] == 1:  # a sensor without colour filters
        pixels = np.repeat(pixels.reshape(*pixels.shape[:2], 1), 3, axis=2)
    return np.asarray(pixels, np.uint8)
