"""What stands on every page: heading, ruler and how to print."""

from ..safety import SHEET
from .correct_patch import RULER_MM
from .draw import Page, line, new_page, shortened, text, text_width_mm
from .paper import FOOT_MM, HEAD_MM, RIM_MM, page_mm

#: A reading by which the words beside the ruler show what to enter.
_EXAMPLE_MM = 97.5
_ADVICE = (
    'Print at 100 % (actual size), never "fit to page", on matt paper. Do not laminate: glare hides the squares.',
    "Cut along the dashed lines. Lay each paper flat on the floor, its arrow towards the top side of the patch.",
    "Tape all edges down, so that the machine cannot catch a paper. Lift papers before it runs only where marks",
    "on the floor show how to put them back exactly.",
    *SHEET,
)


def framed_page(paper: str, heading: str, number: int, count: int, patch_file: str) -> Page:
    """Return a page that is empty between heading and ruler.

    Parameters
    ----------
    paper : str
        One of ``PAGES_MM``.
    heading : str
        A person's words; cut to fit.
    number, count : int
        The page, counted from 1, and how many there are.
    patch_file : str
        Name of the patch file, for the words beside the ruler.

    Returns
    -------
    Page
    """
    page = new_page(page_mm(paper))
    width, height = page.size_mm
    where = f"page {number} of {count}, {paper.strip().capitalize()}"
    room = width - 2 * RIM_MM - text_width_mm(where, 9) - 6
    text(page, RIM_MM, RIM_MM + HEAD_MM / 3, shortened(heading, 11, room, bold=True), 11, bold=True)
    text(page, width - RIM_MM, RIM_MM + HEAD_MM / 3, where, 9, align="right")
    _foot(page, height - RIM_MM - FOOT_MM, patch_file)
    return page


def _foot(page: Page, top: float, patch_file: str) -> None:
    _ruler(page, RIM_MM, top + 9)
    name = patch_file if text_width_mm(patch_file, 8) < 40 else "FILE"
    name = shortened(name, 8, 40)
    beside = RIM_MM + RULER_MM + 9
    for number, words in enumerate(
        (
            "This ruler is 100 mm long. Measure it: if it is, the",
            "squares have their true size. If not, print again at",
            f"100 %, or enter what you read, such as {_EXAMPLE_MM:g} mm:",
        )
    ):
        text(page, beside, top + 4.6 + 3.9 * number, words, 8)
    command = f"debriscount markers --patch {name} --printed-ruler-mm {_EXAMPLE_MM:g} --out {name}"
    text(page, RIM_MM, top + 19, command, 8, bold=True)
    for number, words in enumerate(_ADVICE):
        text(page, RIM_MM, top + 24.5 + 4.2 * number, words, 8)


def _ruler(page: Page, left: float, base: float) -> None:
    """Draw the ruler: its first and last tick stand at its ends."""
    line(page, [(left, base), (left + RULER_MM, base)], 0.2)
    for mm in range(round(RULER_MM) + 1):
        tall = 4.5 if mm % 10 == 0 else 3.2 if mm % 5 == 0 else 2.0
        line(page, [(left + mm, base), (left + mm, base - tall)], 0.15)
        if mm % 10 == 0:
            text(page, left + mm, base + 2.4, f"{mm}" + " mm" * (mm == RULER_MM), 7, align="center")
