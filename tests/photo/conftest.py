"""Small pictures, and a raw file as a camera writes it."""

import io
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray


def _picture(height: int = 70, width: int = 90) -> NDArray[np.uint8]:
    y, x = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    return np.round(np.stack([x, y, 1 - x * y], axis=2) * 255).astype(np.uint8)


@pytest.fixture
def picture() -> Callable[..., NDArray[np.uint8]]:
    """Smooth, so that JPEG keeps it; every corner has another colour."""
    return _picture


#: Written in the place of the tag of EXIF, one higher, which tifffile will not write.
_NEARLY_EXIF = 34664


def _rational(*values: float) -> list[int]:
    return [number for value in values for number in (round(value * 10000), 10000)]


def make_dng(
    linear: NDArray[np.floating],
    *,
    orientation: int = 1,
    white: int = 4000,
    black: int = 256,
    neutral: tuple[float, float, float] = (0.5, 1.0, 0.8),
    exif_at: int | None = None,
    **options: Any,
) -> bytes:
    """DNG of a camera whose own colours are linear sRGB times ``neutral``, with an RGGB sensor.

    ``linear`` of shape (H, W, 3) is light from 0 to 1, white being (1, 1, 1). Tags by the DNG specification 1.4.
    """
    import tifffile

    camera = black + (white - black) * linear * neutral
    height, width = linear.shape[:2]
    rows, columns = np.mgrid[:height, :width]
    channel = rows % 2 + columns % 2  # RGGB
    mosaic = np.round(np.take_along_axis(camera, channel[..., None], axis=2)[..., 0]).astype(np.uint16)
    # From XYZ to the camera's colours at D65 (IEC 61966-2-1), before the white balance.
    matrix = np.diag(neutral) @ np.linalg.inv(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    tags: list[tuple[int, int, int, Any, bool]] = [
        (271, 2, 0, "made up", True),
        (272, 2, 0, "made up", True),
        (274, 3, 1, orientation, True),
        (33421, 3, 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, 1, 4, bytes([0, 1, 1, 2]), True),  # CFAPattern
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, 2, 0, "made up", True),  # UniqueCameraModel
        (50714, 3, 1, black, True),  # BlackLevel
        (50717, 4, 1, white, True),  # WhiteLevel
        (50721, 10, 9, _rational(*matrix.ravel()), True),  # ColorMatrix1
        (50728, 5, 3, _rational(*neutral), True),  # AsShotNeutral
        (50778, 3, 1, 21, True),  # CalibrationIlluminant1: D65
    ]
    if exif_at is not None:
        tags.append((_NEARLY_EXIF, 4, 1, exif_at, True))
    file = io.BytesIO()
    tifffile.imwrite(file, mosaic, photometric=32803, extratags=tags, metadata=None, **options)
    written, meant = (struct.pack("<HHI", tag, 4, 1) for tag in (_NEARLY_EXIF, _NEARLY_EXIF + 1))
    return file.getvalue().replace(written, meant)


@pytest.fixture
def dng() -> Callable[..., bytes]:
    """Make a DNG file from linear light; see `make_dng`."""
    return make_dng
