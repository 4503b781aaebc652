"""Pages in millimetres from their top-left corner, x to the right, y down, as PDF, SVG or PNG.

matplotlib's objects are used without pyplot, and its settings only within `plain_style`, so that neither a user's
settings nor the time change a byte.
"""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path as Folder
from typing import Any

import numpy as np
from matplotlib import get_data_path, style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.textpath import text_to_path
from matplotlib.transforms import Affine2D, Transform
from numpy.typing import ArrayLike
from PIL import Image

from ..arrays import Floats
from .paper import Box

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH
#: Of PNG pages: a pixel is 0.085 mm, and edges between pixels are grey by their share.
DPI = 300

_STYLE: dict[str, Any] = {
    "pdf.fonttype": 42,  # whole TrueType outlines: text can be searched, and print shops accept it
    "svg.fonttype": "path",  # a viewer need not have the font
    "svg.hashsalt": "debriscount",
    "path.simplify": False,
    "hatch.linewidth": 0.4,
}


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """A page to draw on."""

    figure: Figure
    size_mm: tuple[float, float]

    def to_figure(self) -> Transform:
        """Transform from millimetres to the figure's pixels."""
        flip = Affine2D().scale(1 / MM_PER_INCH, -1 / MM_PER_INCH).translate(0, self.size_mm[1] / MM_PER_INCH)
        return flip + self.figure.dpi_scale_trans


@contextmanager
def plain_style() -> Iterator[None]:
    """Draw as matplotlib does by itself, whatever the user has set, with true fonts."""
    with style.context(["default", _STYLE]):
        yield


def new_page(size_mm: tuple[float, float]) -> Page:
    """Return a blank page."""
    return Page(Figure(figsize=(size_mm[0] / MM_PER_INCH, size_mm[1] / MM_PER_INCH), dpi=DPI), size_mm)


def fill(page: Page, loops: Sequence[ArrayLike], shade: float = 0.0) -> None:
    """Fill closed loops of shape (N, 2) as one path, so that there are no seams; shade 0 is black, 1 white."""
    vertices: list[Floats] = []
    codes: list[np.uint8] = []
    for loop in loops:
        corners = np.asarray(loop, float)
        vertices += [corners, corners[:1]]
        codes += [Path.MOVETO, *[Path.LINETO] * (len(corners) - 1), Path.CLOSEPOLY]
    path = Path(np.concatenate(vertices), codes)
    page.figure.add_artist(
        PathPatch(path, transform=page.to_figure(), facecolor=str(shade), linewidth=0, snap=False, clip_on=False)
    )


def box_corners(box: Box) -> Floats:
    """Corners of a box (left, top, right, bottom), shape (4, 2): top left, then clockwise."""
    left, top, right, bottom = box
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def hatch(page: Page, box: Box) -> None:
    """Hatch a box."""
    left, top, right, bottom = box
    made = Rectangle((left, top), right - left, bottom - top, fill=False, hatch="//////", edgecolor="0.35", linewidth=0)
    made.set(transform=page.to_figure(), clip_on=False)
    page.figure.add_artist(made)


def line(
    page: Page, points: ArrayLike, width_mm: float = 0.2, *, dashes_mm: Sequence[float] = (), shade: float = 0.0
) -> None:
    """Draw a line through points of shape (N, 2); it ends where they end."""
    x, y = np.asarray(points, float).T
    points_wide = width_mm * POINTS_PER_MM
    made = Line2D(
        x, y, transform=page.to_figure(), color=str(shade), linewidth=points_wide, snap=False, clip_on=False,
        solid_capstyle="butt", dash_capstyle="butt", solid_joinstyle="miter",
    )  # fmt: skip
    if dashes_mm:
        made.set_linestyle((0, tuple(dash / width_mm for dash in dashes_mm)))
    page.figure.add_artist(made)


def outline(
    page: Page, corners: ArrayLike, width_mm: float = 0.2, *, dashes_mm: Sequence[float] = (), shade: float = 0.0
) -> None:
    """Draw a closed line through points of shape (N, 2)."""
    points = np.asarray(corners, float)
    line(page, np.concatenate([points, points[:1]]), width_mm, dashes_mm=dashes_mm, shade=shade)


def text(
    page: Page, x: float, y: float, words: str, size_pt: float, *,
    align: str = "left", bold: bool = False, shade: float = 0.0, angle: float = 0.0,
) -> None:  # fmt: skip
    """Write a line of text whose middle height lies at y; ``align`` says which end or middle of it lies at x."""
    made = page.figure.text(x, y, words, transform=page.to_figure(), fontproperties=_font(size_pt, bold=bold))
    made.set(color=str(shade), rotation=angle, rotation_mode="anchor", parse_math=False)
    made.set(horizontalalignment=align, verticalalignment="center_baseline")


def text_width_mm(words: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of a line of text."""
    width_pt, _, _ = text_to_path.get_text_width_height_descent(words, _font(size_pt, bold=bold), ismath=False)
    return float(width_pt) / POINTS_PER_MM


def shortened(words: str, size_pt: float, most_mm: float, *, bold: bool = False) -> str:
    """Return what of a person's words the font has and a line holds: "?" for a sign it lacks, "…" for what is cut."""
    known = get_font(_font_file(bold=bold))
    shown = "".join(c if c.isprintable() and known.get_char_index(ord(c)) else "?" for c in words)
    if text_width_mm(shown, size_pt, bold=bold) <= most_mm:
        return shown
    while shown and text_width_mm(shown + "…", size_pt, bold=bold) > most_mm:
        shown = shown[:-1]
    return shown + "…"


def _font(size_pt: float, *, bold: bool) -> FontProperties:
    return FontProperties(fname=_font_file(bold=bold), size=size_pt)


def _font_file(*, bold: bool) -> str:
    """Return a font that comes with matplotlib, wherever the system has another version of it."""
    return str(Folder(get_data_path()) / "fonts" / "ttf" / f"DejaVuSans{'-Bold' * bold}.ttf")


def pdf_bytes(pages: Sequence[Page], title: str) -> bytes:
    """Return pages as one PDF."""
    content = io.BytesIO()
    about = {"Title": title, "Creator": None, "Producer": None, "CreationDate": None}
    from matplotlib.backends.backend_pdf import PdfPages  # plots do without, and it takes long to load

    with PdfPages(content, metadata=about) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return content.getvalue()


def svg_bytes(page: Page, title: str) -> bytes:
    """Return a page as SVG."""
    content = io.BytesIO()
    about = {"Title": title, "Creator": None, "Date": None, "Format": None, "Type": None}
    page.figure.savefig(content, format="svg", metadata=about)
    return content.getvalue()


def png_bytes(page: Page) -> bytes:
    """Return a page as a grey PNG that knows its resolution."""
    canvas: Any = FigureCanvasAgg(page.figure)
    canvas.draw()
    content = io.BytesIO()
    Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("L").save(content, "PNG", dpi=(DPI, DPI))
    return content.getvalue()


def page_files(pages: Sequence[Page], title: str, out: Folder) -> dict[Folder, bytes]:
    """Return the files of pages by path: one PDF of all, or an SVG or PNG of each with its number in the name."""
    if out.suffix.lower() == ".pdf":
        return {out: pdf_bytes(pages, title)}
    names = [out.with_name(f"{out.stem}-{number}{out.suffix}") for number in range(1, len(pages) + 1)]
    if out.suffix.lower() == ".svg":
        return {name: svg_bytes(page, title) for name, page in zip(names, pages, strict=True)}
    return {name: png_bytes(page) for name, page in zip(names, pages, strict=True)}
