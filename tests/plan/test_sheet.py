from pathlib import Path

import pdfplumber
import pytest

from debriscount.errors import SheetError
from debriscount.inputs.debris import DebrisKind
from debriscount.plan.portion import plan_portion
from debriscount.plan.runs import Repeatability, plan_runs
from debriscount.plan.sheet import STEPS, write_run_sheet

LENTILS = DebrisKind("red lentils", (168, 72, 44), (4.0, 6.0), area_mass_mg_per_mm2=2.0)
PORTIONS = [portion for portion in [plan_portion(LENTILS, 240_000.0)] if portion is not None]


def test_cautions_come_first_and_every_run_has_its_boxes(tmp_path: Path) -> None:
    plan = plan_runs("setting.brush", ["rubber", "bristle"], Repeatability(2.0, 9), 3.0, each=20)
    (file,) = write_run_sheet(plan, PORTIONS, "two brushes", tmp_path / "sheet.pdf")
    with pdfplumber.open(file) as pdf:
        words = [page.extract_text() for page in pdf.pages]
        boxes = sum(len(page.rects) + len(page.curves) for page in pdf.pages)
    assert len(words) == 2
    assert [text.splitlines()[0] for text in words] == [f"Runs of two brushes page {n} of 2" for n in (1, 2)]
    assert words[0].index("Safety:") < words[0].index("Strew before each run: 19.2 g of red lentils")
    assert (
        words[0].index("machine off, plug or battery out") < words[0].index("brush\n")
        if "brush\n" in words[0]
        else True
    )
    assert sum(text.count("rubber") + text.count("bristle") for text in words) == 40
    for step in STEPS:
        assert all(step in text for text in words)
    assert boxes >= 40 * len(STEPS)


def test_fine_dust_is_warned_of(tmp_path: Path) -> None:
    plan = plan_runs("machine", ["A", "B"], Repeatability(2.0, 9), 3.0, each=2, order="none")
    (file,) = write_run_sheet(plan, [], "dust", tmp_path / "sheet.pdf", fine=True)
    with pdfplumber.open(file) as pdf:
        text = pdf.pages[0].extract_text()
    assert "Never sweep sand or other fine mineral dust dry" in text
    assert "block" not in text
    assert text.splitlines()[0] == "Runs of dust"


def test_pages_as_pictures_and_unknown_endings(tmp_path: Path) -> None:
    plan = plan_runs("machine", ["A", "B"], Repeatability(2.0, 9), 3.0, each=2)
    assert write_run_sheet(plan, [], "x", tmp_path / "sheet.svg", "letter") == [tmp_path / "sheet-1.svg"]
    with pytest.raises(SheetError, match=r"must end in \.pdf, \.svg or \.png"):
        write_run_sheet(plan, [], "x", tmp_path / "sheet.doc")
    with pytest.raises(SheetError, match='paper "a9" is unknown'):
        write_run_sheet(plan, [], "x", tmp_path / "sheet.pdf", "a9")
