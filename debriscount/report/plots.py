"""What the plots of a measurement have in common: size, style and the way to pixels."""

import warnings
from collections.abc import Callable

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ..layout.draw import plain_style
from .palette import DARK, OKABE_ITO, Color

_DPI = 130
_LETTER_INCH = 0.092  # a middling letter of a title, 11 points


def hex_color(color: Color) -> str:
    """Return a colour as matplotlib takes it."""
    return "#{:02x}{:02x}{:02x}".format(*color)


GREY = "#505050"
#: Untouched and shifted, apart to every kind of eye.
UNTOUCHED, SHIFTED = hex_color(OKABE_ITO[4]), hex_color(OKABE_ITO[0])
INK = hex_color(DARK)


def title_of(text: str, width_inch: float) -> str:
    """Return a title, cut with "…" where it is wider than the figure."""
    most = int(width_inch / _LETTER_INCH)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def drawn(size_inch: tuple[float, float], draw: Callable[[Figure], None]) -> NDArray[np.uint8]:
    """Draw a figure and return its pixels, sRGB of shape (H, W, 3); the same on every machine with the same versions.

    Parameters
    ----------
    size_inch : (float, float)
        Width and height; an inch is 130 px.
    draw : callable
        Fills the empty figure, with margins of its own: laying it out would take longer than drawing it.
    """
    with plain_style(), warnings.catch_warnings():
        # A name in letters that the font lacks is drawn with boxes for them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure = Figure(figsize=size_inch, dpi=_DPI)
        canvas = FigureCanvasAgg(figure)
        draw(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        pixels = np.asarray(canvas.buffer_rgba(), np.uint8)  # type: ignore[no-untyped-call]
        return np.ascontiguousarray(pixels[..., :3])
