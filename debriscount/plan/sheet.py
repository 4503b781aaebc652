"""A sheet to work through while the runs are made: cautions first, then a line a run with boxes to tick."""

from collections.abc import Sequence
from pathlib import Path

from ..compare.labels import SETTING
from ..errors import SheetError
from ..inputs.save import save_files
from ..layout.draw import Page, line, new_page, outline, page_files, plain_style, shortened, text, text_width_mm
from ..layout.paper import RIM_MM, page_mm
from ..layout.write_sheet import ENDINGS
from ..safety import MINERAL_DUST, SHEET
from .portion import PortionPlan
from .runs import PlannedTest, RunsPlan

#: What is ticked of each run, in the order of the work.
STEPS = ("clean floor", "strewn", "before", "machine ran", "after", "bin weighed")
_BOX_MM, _ROW_MM, _HEAD_MM = 4.0, 8.5, 9.0
#: Left ends of number, block, level and of the first box, and between boxes, mm from the rim.
_NUMBER, _BLOCK, _LEVEL, _BOXES, _STEP = 0.0, 9.0, 21.0, 68.0, 20.0
_SIZE_PT, _SMALL_PT = 9, 7.5


def write_run_sheet(
    plan: RunsPlan,
    portions: Sequence[PortionPlan],
    title: str,
    out: Path,
    paper: str = "a4",
    *,
    fine: bool = False,
    overwrite: bool = False,
) -> list[Path]:
    """Write the sheet as .pdf, or each page as .svg or .png.

    Parameters
    ----------
    plan : RunsPlan
        The runs and their order.
    portions : sequence of PortionPlan
        What is strewn before each.
    title : str
        A person's words.
    out : Path
        The file; to .svg and .png each page's number is added.
    paper : str
        "a4" or "letter".
    fine : bool
        Whether the debris may be fine mineral dust, so that the sheet says how to collect it.
    overwrite : bool
        Whether files that are there may be replaced.

    Returns
    -------
    list of Path

    Raises
    ------
    SheetError
        Paper or ending is unknown.
    OutputError
        A file is there already, or cannot be written.
    """
    if out.suffix.lower() not in ENDINGS:
        raise SheetError(f"{out}: a sheet must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}.")
    size = page_mm(paper)
    with plain_style():
        pages = _pages(plan, portions, title, size, fine=fine)
        return save_files(page_files(pages, f"Runs of {title}", out), overwrite=overwrite)


def _pages(
    plan: RunsPlan, portions: Sequence[PortionPlan], title: str, size: tuple[float, float], *, fine: bool
) -> list[Page]:
    pages: list[Page] = []
    left = list(plan.tests)
    while left:
        page = new_page(size)
        y = RIM_MM + _HEAD_MM
        if not pages:
            y = _cautions(page, y, fine=fine)
            y = _portions(page, y, portions)
        y = _table_head(page, plan, y)
        room = max(1, int((size[1] - RIM_MM - y) / _ROW_MM))
        now, left = left[:room], left[room:]
        for test in now:
            _row(page, plan, test, y)
            y += _ROW_MM
        pages.append(page)
    for number, page in enumerate(pages, start=1):
        _heading(page, title, f"page {number} of {len(pages)}" if len(pages) > 1 else "")
    return pages


def _heading(page: Page, title: str, where: str) -> None:
    room = page.size_mm[0] - 2 * RIM_MM - text_width_mm(where, _SIZE_PT) - 6
    text(page, RIM_MM, RIM_MM + 3, shortened(f"Runs of {title}", 12, room, bold=True), 12, bold=True)
    text(page, page.size_mm[0] - RIM_MM, RIM_MM + 3, where, _SIZE_PT, align="right")


def _cautions(page: Page, y: float, *, fine: bool) -> float:
    lines = [*SHEET, *([MINERAL_DUST] if fine else [])]
    height = 4.6 * len(lines) + 3
    left, right = RIM_MM, page.size_mm[0] - RIM_MM
    outline(page, [(left, y), (right, y), (right, y + height), (left, y + height)], 0.4)
    for number, words in enumerate(lines):
        text(page, left + 2, y + 3.8 + 4.6 * number, words, _SMALL_PT)
    return y + height + 5


def _portions(page: Page, y: float, portions: Sequence[PortionPlan]) -> float:
    for portion in portions:
        said = f"Strew before each run: {portion.grams:.1f} g of {portion.kind} ({portion.load_g_per_m2:.0f} g/m²)."
        text(page, RIM_MM, y, shortened(said, _SIZE_PT, page.size_mm[0] - 2 * RIM_MM), _SIZE_PT, bold=True)
        y += 5.5
    return y + 1


def _table_head(page: Page, plan: RunsPlan, y: float) -> float:
    heads = {_NUMBER: "run", _LEVEL: shortened(plan.factor.removeprefix(SETTING), _SMALL_PT, _BOXES - _LEVEL - 3)}
    if plan.order != "none":
        heads[_BLOCK] = "block"
    heads |= {_BOXES + _STEP * i: step for i, step in enumerate(STEPS)}
    for x, words in heads.items():
        text(page, RIM_MM + x, y + 3, words, _SMALL_PT, shade=0.3)
    return y + 6


def _row(page: Page, plan: RunsPlan, test: PlannedTest, y: float) -> None:
    begins_block = plan.order != "none" and (test.number - 1) % len(plan.levels) == 0
    line(page, [(RIM_MM, y), (page.size_mm[0] - RIM_MM, y)], 0.3 if begins_block else 0.1, shade=0.3)
    middle = y + _ROW_MM / 2
    text(page, RIM_MM + _NUMBER, middle, str(test.number), _SIZE_PT)
    if plan.order != "none":
        text(page, RIM_MM + _BLOCK, middle, str(test.block), _SIZE_PT)
    text(page, RIM_MM + _LEVEL, middle, shortened(test.level, _SIZE_PT, _BOXES - _LEVEL - 3), _SIZE_PT, bold=True)
    for i in range(len(STEPS)):
        x, top = RIM_MM + _BOXES + _STEP * i, middle - _BOX_MM / 2
        outline(page, [(x, top), (x + _BOX_MM, top), (x + _BOX_MM, top + _BOX_MM), (x, top + _BOX_MM)], 0.25)
