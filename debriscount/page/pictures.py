"""Pictures of a page: floor views made to fit, and layers of the same size that lie over them."""

import base64
import io
from dataclasses import dataclass

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image

from ..errors import InputFileError
from ..report.outlines import outline_map, resized_map
from ..report.palette import OKABE_ITO, Color, contrasting, floor_colors, outline_colors
from ..report.pictures import encode_jpeg

#: Eighths of the floor view's own width that are tried: at these a JPEG decodes at once.
_EIGHTHS = (8, 7, 6, 5, 4, 3, 2)
#: Narrower than this, grains are hard to tell; a page of very many runs is larger instead.
_LEAST_WIDTH = 480
#: A floor view at this share of its width takes about so much of its file's size, at the page's quality.
_OF_FILE = 0.75
_QUALITY = 80
#: More than the floor view of any photo that is measured.
_MOST_PIXELS = 400_000_000
_HALO = 128  # as `outline_map` marks it


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotPicture:
    """A shot on the page: the bare view and its outlines as data URIs, "" where there are none.

    ``share`` is its width over that of the floor view, 1 where a pixel is as fine as the photo's.
    """

    view: str
    outlines: str
    width: int
    height: int
    share: float


def shot_picture(
    jpeg: bytes, found: NDArray[np.uint8] | None, colors: list[Color], most_bytes: int, name: str
) -> ShotPicture:
    """Make the picture of a shot.

    Parameters
    ----------
    jpeg : bytes
        The bare floor view.
    found : ndarray of uint8, shape (H, W), or None
        The map of what was found in it.
    colors : list of colours
        Of each kind's outline.
    most_bytes : int
        What it may take, as far as it can still be read.
    name : str
        The file, for messages.

    Raises
    ------
    InputFileError
        It is no picture.

    Notes
    -----
    The view is always encoded anew: whatever a file holds beside its pixels stays behind.
    """
    height, width = _size(jpeg, name)
    for eighths in _EIGHTHS:
        share = eighths / 8
        last = eighths == _EIGHTHS[-1] or width * share < _LEAST_WIDTH
        if not last and _OF_FILE * len(jpeg) * share**2 > most_bytes:
            continue
        view = _decoded(jpeg, width, height, eighths, name)
        content = encode_jpeg(view, _QUALITY, fine_colour=False)
        if last or len(content) <= most_bytes:
            break
    outlines = "" if found is None else _data_uri("image/png", _outlines(found, view.shape[:2], colors))
    return ShotPicture(
        view=_data_uri("image/jpeg", content),
        outlines=outlines,
        width=view.shape[1],
        height=view.shape[0],
        share=eighths / 8,
    )


def kind_colors(kinds: list[Color], jpeg: bytes, found: NDArray[np.uint8] | None) -> list[Color]:
    """Colours of outlines that stand out from floor and debris; without a map the first of the palette."""
    if not kinds or found is None:
        return [OKABE_ITO[i % len(OKABE_ITO)] for i in range(len(kinds))]
    small = _decoded(jpeg, found.shape[1], found.shape[0], 2, "")
    return outline_colors(floor_colors(small, resized_map(found, small.shape[:2])), kinds)


def found_map(content: bytes, name: str) -> NDArray[np.uint8]:
    """Read a map of what was found, shape (H, W).

    Raises
    ------
    InputFileError
        It is none.
    """
    try:
        with Image.open(io.BytesIO(content), formats=("PNG",)) as image:
            if image.width * image.height > _MOST_PIXELS:
                raise InputFileError(f"{name}: is larger than any floor view. Measure again.")
            return np.asarray(image.convert("L"))
    except (OSError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputFileError(f"{name}: is not a picture that debriscount wrote ({error}). Measure again.") from None


def _size(jpeg: bytes, name: str) -> tuple[int, int]:
    try:
        height, width, _, _ = simplejpeg.decode_jpeg_header(jpeg)
    except ValueError as error:
        raise InputFileError(f"{name}: is not a picture that debriscount wrote ({error}). Measure again.") from None
    if height * width > _MOST_PIXELS:
        raise InputFileError(f"{name}: is larger than any floor view. Measure again.")
    return height, width


def _decoded(jpeg: bytes, width: int, height: int, eighths: int, name: str) -> NDArray[np.uint8]:
    """The view at so many eighths of its size, rounded up as the decoder does."""
    wide, high = (-(-side * eighths // 8) for side in (width, height))
    try:
        pixels = simplejpeg.decode_jpeg(jpeg, "RGB", min_height=high, min_width=wide)
    except ValueError as error:
        raise InputFileError(f"{name}: is damaged ({error}). Measure again.") from None
    return np.ascontiguousarray(pixels)


def _outlines(found: NDArray[np.uint8], shape: tuple[int, int], colors: list[Color]) -> bytes:
    """Outlines of all debris with a halo around them, the rest transparent, as PNG."""
    kinds = resized_map(found, shape)
    kinds[kinds > len(colors)] = 0
    width = 1 if shape[1] < 1400 else 2  # px; thicker ones would hide small grains
    where = outline_map(kinds, [width] * len(colors), 1)
    table = np.zeros(256, np.uint8)
    palette: list[Color] = [(0, 0, 0)]
    for code, color in enumerate(colors[:7], start=1):
        table[code], table[_HALO + code] = len(palette), len(palette) + 1
        palette += [color, contrasting(color)[0]]
    image = Image.fromarray(np.asarray(cv2.LUT(where, table), np.uint8), "P")
    image.putpalette([channel for color in palette for channel in color])
    content = io.BytesIO()
    image.save(content, "png", transparency=0, bits=4, compress_level=4)
    return content.getvalue()


def _data_uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
