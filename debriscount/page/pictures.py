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
from ..report.outlines import outline_map
from ..report.palette import OKABE_ITO, Color, contrasting, floor_colors, outline_colors
from ..report.pictures import encode_jpeg

#: Shares of the floor view's own width that are tried, the whole first.
_SHARES = (1.0, 0.75, 0.6, 0.5, 0.4, 0.3, 0.2)
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


def shot_picture(jpeg: bytes, found: bytes | None, colors: list[Color], most_bytes: int, name: str) -> ShotPicture:
    """Make the picture of a shot.

    Parameters
    ----------
    jpeg : bytes
        The bare floor view.
    found : bytes or None
        The map of what was found in it, as PNG.
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
    for share in _SHARES:
        last = share == _SHARES[-1] or width * share < _LEAST_WIDTH
        if not last and _OF_FILE * len(jpeg) * share**2 > 1.2 * most_bytes:
            continue
        view = _reduced(jpeg, max(1, round(width * share)), max(1, round(height * share)), name)
        content = encode_jpeg(view, _QUALITY, fine_colour=False)
        if last or len(content) <= most_bytes:
            break
    outlines = "" if found is None else _data_uri("image/png", _outlines(found, view.shape[:2], colors, name))
    return ShotPicture(
        view=_data_uri("image/jpeg", content),
        outlines=outlines,
        width=view.shape[1],
        height=view.shape[0],
        share=view.shape[1] / width,
    )


def kind_colors(kinds: list[Color], jpeg: bytes | None, found: bytes | None) -> list[Color]:
    """Colours of outlines that stand out from floor and debris; without a picture the first of the palette."""
    if not kinds or jpeg is None or found is None:
        return [OKABE_ITO[i % len(OKABE_ITO)] for i in range(len(kinds))]
    height, width = _size(jpeg, "")
    small = _reduced(jpeg, max(1, width // 4), max(1, height // 4), "")
    return outline_colors(floor_colors(small, _map(found, small.shape[:2], "")), kinds)


def _size(jpeg: bytes, name: str) -> tuple[int, int]:
    try:
        height, width, _, _ = simplejpeg.decode_jpeg_header(jpeg)
    except ValueError as error:
        raise InputFileError(f"{name}: is not a picture that debriscount wrote ({error}). Measure again.") from None
    if height * width > _MOST_PIXELS:
        raise InputFileError(f"{name}: is larger than any floor view. Measure again.")
    return height, width


def _reduced(jpeg: bytes, width: int, height: int, name: str) -> NDArray[np.uint8]:
    """Decode, in a quarter of the time where half the size or less will do."""
    try:
        pixels = simplejpeg.decode_jpeg(jpeg, "RGB", min_height=height, min_width=width, min_factor=1.0)
    except ValueError as error:
        raise InputFileError(f"{name}: is damaged ({error}). Measure again.") from None
    if pixels.shape[:2] != (height, width):
        pixels = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(pixels)


def _map(found: bytes, shape: tuple[int, int], name: str) -> NDArray[np.uint8]:
    try:
        with Image.open(io.BytesIO(found), formats=("PNG",)) as image:
            if image.width * image.height > _MOST_PIXELS:
                raise InputFileError(f"{name}: is larger than any floor view. Measure again.")
            kinds = np.asarray(image.convert("L"))
    except (OSError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputFileError(f"{name}: is not a picture that debriscount wrote ({error}). Measure again.") from None
    # The nearest pixel would lose grains that are finer than the page's.
    return np.asarray(_largest(kinds, shape), np.uint8)


def _largest(kinds: NDArray[np.uint8], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """The map at a smaller size; a pixel with debris anywhere in it shows debris."""
    factor = min(kinds.shape[0] / shape[0], kinds.shape[1] / shape[1])
    if factor > 1:
        kinds = np.asarray(cv2.dilate(kinds, np.ones((round(factor), round(factor)), np.uint8)), np.uint8)
    return np.asarray(cv2.resize(kinds, shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)


def _outlines(found: bytes, shape: tuple[int, int], colors: list[Color], name: str) -> bytes:
    """Outlines of all debris with a halo around them, the rest transparent, as PNG."""
    kinds = _map(found, shape, name)
    kinds[kinds > len(colors)] = 0
    width = 1 if shape[1] < 1400 else 2  # px; thicker ones would hide small grains
    where = outline_map(kinds, [width] * len(colors), 1)
    table = np.zeros(256, np.uint8)
    palette: list[Color] = [(0, 0, 0)]
    for code, color in enumerate(colors[:7], start=1):
        table[code], table[_HALO + code] = len(palette), len(palette) + 1
        palette += [color, contrasting(color)[0]]
    image = Image.fromarray(np.asarray(cv2.LUT(where, table), np.uint8)).convert("P")
    image.putpalette([channel for color in palette for channel in color])
    content = io.BytesIO()
    image.save(content, "png", transparency=0, bits=4, compress_level=6)
    return content.getvalue()


def _data_uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
