import io
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache
from itertools import combinations, product
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pdfplumber
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from numpy.typing import NDArray
from PIL import Image

from debriscount.errors import InputFileError, OutputError, PatchLayoutError, SheetError
from debriscount.inputs.patch import Marker, Patch
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.draw import plain_style
from debriscount.layout.paper import page_mm
from debriscount.layout.write_sheet import draw_sheet, sheet_files, write_sheet
from debriscount.safety import SHEET

POINT_MM = 25.4 / 72
PAPERS = ("a4", "letter")
NAMES = ("wall", "corner", "right", "mixed")
#: Every patch on one paper, each paper twice.
SHEETS = [("wall", "a4"), ("corner", "letter"), ("right", "a4"), ("mixed", "letter")]


@cache
def pdf_bytes(patch: Patch, paper: str) -> bytes:
    (content,) = sheet_files(patch, Path("sheet.pdf"), paper).values()
    return content


def pdf_of(patch: Patch, paper: str) -> Any:
    return pdfplumber.open(io.BytesIO(pdf_bytes(patch, paper)))


def detected(grey: NDArray[np.uint8]) -> dict[int, NDArray[np.float64]]:
    """Corners in pixels of what OpenCV's own detector sees, by number: top left as read, then clockwise."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.minMarkerPerimeterRate = 0.003  # a page is much larger than its smallest square
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    assert ids is not None
    return {int(n): np.reshape(quad, (4, 2)).astype(float) for n, quad in zip(np.ravel(ids), corners, strict=True)}


def check_seen(grey: NDArray[np.uint8], dpi: float, markers: dict[int, Marker]) -> set[int]:
    seen = detected(grey)
    for number, corners in seen.items():
        sides_mm = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1) * 25.4 / dpi
        assert sides_mm == pytest.approx([markers[number].side_mm] * 4, abs=0.1)
        along = corners[1] - corners[0]
        assert along[0] > 0  # upright: the first corner is the top left one
        assert abs(along[1]) < 1.5
        assert corners[3, 1] > corners[0, 1]
    return set(seen)


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_squares_have_their_true_size_in_the_pdf(patches: dict[str, Patch], name: str, paper: str) -> None:
    patch, widths = patches[name], []
    with pdf_of(patch, paper) as pdf:
        for page in pdf.pages:
            assert (page.width * POINT_MM, page.height * POINT_MM) == pytest.approx(page_mm(paper), abs=0.01)
            if "this side up" in page.extract_text():
                black = [rect for rect in page.rects if rect["fill"] and rect["non_stroking_color"] in (0, (0,), [0])]
                widths += [(rect["width"] * POINT_MM, rect["height"] * POINT_MM) for rect in black]
    # Modules that stand alone within a code are rectangles as well, and much smaller.
    for side in {marker.side_mm for marker in patch.markers}:
        whole = [size for size in widths if size == pytest.approx((side, side), abs=0.01)]
        assert len(whole) == sum(marker.side_mm == side for marker in patch.markers)


@pytest.mark.parametrize(("name", "paper"), [("wall", "a4"), ("mixed", "letter")])
def test_every_page_has_a_ruler_of_100_mm(patches: dict[str, Patch], name: str, paper: str) -> None:
    with pdf_of(patches[name], paper) as pdf:
        for page in pdf.pages:
            text = page.extract_text()
            assert "This ruler is 100 mm long." in text
            assert "debriscount markers --patch patch.toml --printed-ruler-mm 97.5 --out patch.toml" in text
            assert "Print at 100 % (actual size)" in text
            assert "\n".join(SHEET) in text
            assert f"page {page.page_number} of {len(pdf.pages)}, {paper.capitalize()}" in text
            level = [line for line in page.lines if abs(line["y0"] - line["y1"]) < 1e-3]
            base = max(level, key=lambda line: float(line["bottom"]))
            assert (base["x1"] - base["x0"]) * POINT_MM == pytest.approx(100, abs=0.01)
            ticks = [
                line["x0"] for line in page.lines if abs(line["bottom"] - base["bottom"]) < 0.1 and line is not base
            ]
            assert (np.diff(sorted(ticks)) * POINT_MM) == pytest.approx(np.ones(100), abs=0.01)


@pytest.mark.parametrize(("name", "paper"), SHEETS[:2])
def test_squares_are_detected_in_the_printed_page(patches: dict[str, Patch], name: str, paper: str) -> None:
    with pdf_of(patches[name], paper) as pdf:
        grey = np.asarray(pdf.pages[0].to_image(resolution=300).original.convert("L"))
    markers = {marker.id: marker for marker in patches[name].markers}
    assert check_seen(grey, 300, markers) == set(markers)


@pytest.mark.parametrize("paper", PAPERS)
def test_squares_are_detected_in_the_png(patches: dict[str, Patch], paper: str, tmp_path: Path) -> None:
    patch = patches["mixed"]
    markers = {marker.id: marker for marker in patch.markers}
    found: set[int] = set()
    files = sheet_files(patch, tmp_path / "sheet.png", paper)
    assert [path.name for path in files] == [f"sheet-{number}.png" for number in range(1, len(files) + 1)]
    for content in list(files.values())[:-1]:
        with Image.open(io.BytesIO(content)) as image:
            assert image.info["dpi"] == pytest.approx((300, 300), abs=0.01)
            assert np.array(image.size) * 25.4 / 300 == pytest.approx(page_mm(paper), abs=0.1)
            found |= check_seen(np.asarray(image.convert("L")), 300, markers)
    assert found == set(markers)


def test_there_is_no_seam_between_black_modules(patches: dict[str, Patch]) -> None:
    content = next(iter(sheet_files(patches["wall"], Path("sheet.png"), "a4").values()))
    with Image.open(io.BytesIO(content)) as image:
        grey = np.asarray(image)
    for number, corners in detected(grey).items():
        (left, top), (right, bottom) = corners[0], corners[2]
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        size = round(right - left)
        drawn = cv2.aruco.generateImageMarker(dictionary, number, 6 * round(size / 6))
        whole = cv2.resize(drawn, (size, round(bottom - top)), interpolation=cv2.INTER_NEAREST)
        inside = cv2.erode(
            np.asarray(whole == 0, np.uint8), np.ones((9, 9), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0
        )
        there = grey[round(top) : round(top) + whole.shape[0], round(left) : round(left) + whole.shape[1]]
        assert inside.mean() > 0.3
        assert there[inside == 1].max() == 0


@pytest.mark.parametrize("paper", PAPERS)
def test_svg_pages_are_measured_in_true_units(patches: dict[str, Patch], paper: str) -> None:
    files = sheet_files(patches["wall"], Path("sheet.svg"), paper)
    assert [path.name for path in files] == ["sheet-1.svg", "sheet-2.svg"]
    for content in files.values():
        root = ET.fromstring(content)
        width, height = (root.attrib[key] for key in ("width", "height"))
        assert width.endswith("pt") and height.endswith("pt")
        size = np.array([float(width[:-2]), float(height[:-2])])
        assert size * POINT_MM == pytest.approx(page_mm(paper), abs=0.001)
        assert [float(part) for part in root.attrib["viewBox"].split()] == pytest.approx([0, 0, *size])
    first = next(iter(files.values())).decode()
    number = r"([\d.]+)"
    tops = re.findall(rf'd="M {number} {number}\s+L {number} \2\s+L \3 {number}\s+L \1 \4\s+z\s+M', first)
    sizes = [((float(x1) - float(x0)) * POINT_MM, (float(y1) - float(y0)) * POINT_MM) for x0, y0, x1, y1 in tops]
    assert sizes == [pytest.approx((60, 60), abs=0.001)] * 4


@pytest.mark.parametrize(("name", "paper"), [*product((*NAMES, "strip"), PAPERS), ("crowd", "letter")])
def test_no_words_lie_on_others_or_off_the_page(patches: dict[str, Patch], name: str, paper: str) -> None:
    with plain_style():
        for page in draw_sheet(patches[name], paper, "patch.toml"):
            canvas: Any = FigureCanvasAgg(page.figure)
            renderer = canvas.get_renderer()
            boxes = {text: text.get_window_extent(renderer) for text in page.figure.texts}
            rim = 9.5 / 25.4 * page.figure.dpi  # a ruler's 0 is centred on its tick
            for text, box in boxes.items():
                assert box.x0 > rim * 0.9 and box.x1 < page.figure.bbox.x1 - rim, text.get_text()
                assert box.y0 > rim and box.y1 < page.figure.bbox.y1 - rim, text.get_text()
            for (a, box_a), (b, box_b) in combinations(boxes.items(), 2):
                assert not box_a.overlaps(box_b), (a.get_text(), b.get_text())


def test_the_layout_says_what_to_measure(patches: dict[str, Patch]) -> None:
    with pdf_of(patches["corner"], "a4") as pdf:
        text = pdf.pages[-1].extract_text()
    for words in (
        "Layout of kitchen corner", "from the left wall", "from the top wall", "edge 30 mm", "corner 60 mm",
        "margin 60 mm", "top side of the patch", "300 mm", "0 25 370.0 382.5 395.0 13.0 25.5 38.0", "patch 360.6",
    ):  # fmt: skip
        assert words in text
    diagonal = np.hypot(357, 257)
    assert f"0 to 2 {diagonal:.1f}" in text


def test_words_are_fonts_in_the_pdf(patches: dict[str, Patch]) -> None:
    content = pdf_bytes(patches["right"], "a4")
    assert b"/FontFile2" in content  # TrueType, embedded
    assert b"/Type3" not in content
    with pdfplumber.open(io.BytesIO(content)) as pdf:
        text = pdf.pages[0].extract_text()
        assert {re.sub("^[A-Z]{6}[+]", "", char["fontname"]) for char in pdf.pages[0].chars} == {
            "DejaVuSans", "DejaVuSans-Bold"
        }  # fmt: skip
    assert 'Markers of Küche "links" $x$ ??' in text  # what the font lacks, and line ends, are question marks
    assert "…" in text


def test_the_same_patch_makes_the_same_bytes(patches: dict[str, Patch], tmp_path: Path) -> None:
    file = tmp_path / "patch.toml"
    file.write_bytes(patch_toml(patches["corner"]).encode())
    endings = (".pdf", ".svg", ".png")
    here = [path for ending in endings for path in write_sheet(file, tmp_path / f"here{ending}")]
    code = (
        "from debriscount.layout.write_sheet import write_sheet\n"
        f"for ending in {endings}: write_sheet({str(file)!r}, {str(tmp_path / 'there')!r} + ending)"
    )
    settings = tmp_path / "matplotlibrc"
    settings.write_text("font.size: 30\npdf.fonttype: 3\nlines.linewidth: 9\n")
    # Another process, hash seed, time and the user's own settings.
    subprocess.run([sys.executable, "-c", code], check=True, cwd=tmp_path, env=os.environ | {"PYTHONHASHSEED": "7"})
    for path in here:
        other = path.with_name(path.name.replace("here", "there"))
        assert path.read_bytes() == other.read_bytes()
        assert b"CreationDate" not in path.read_bytes()
        assert b"matplotlib" not in path.read_bytes().lower()


def test_a_sheet_is_written_beside_nothing_else(patches: dict[str, Patch], tmp_path: Path) -> None:
    file = tmp_path / "bench.toml"
    file.write_bytes(patch_toml(patches["wall"]).encode())
    out = tmp_path / "sheet.pdf"
    assert write_sheet(file, out, "Letter") == [out]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bench.toml", "sheet.pdf"]
    with pdfplumber.open(out) as pdf:
        assert "--patch bench.toml --printed-ruler-mm" in pdf.pages[0].extract_text()
    with pytest.raises(OutputError, match=r"sheet\.pdf: is there already\."):
        write_sheet(file, out)
    write_sheet(file, out, overwrite=True)


@pytest.mark.parametrize(
    ("out", "paper", "side", "error", "words"),
    [
        ("sheet.doc", "a4", 60, SheetError, r"sheet\.doc: a sheet must end in \.pdf, \.svg or \.png\.$"),
        ("sheet.toml", "a4", 60, SheetError, r"A \.toml file is written with --printed-ruler-mm alone\."),
        ("sheet.pdf", "legal", 60, SheetError, 'paper "legal" is unknown'),
        (
            "sheet.pdf",
            "a4",
            90,
            PatchLayoutError,
            r"patch\.toml: marker 0 at .* its paper reaches 17\.5 mm beyond the wall",
        ),
        ("sheet.pdf", "a4", -1, InputFileError, "side_mm must be greater than 0"),
    ],
)
def test_what_cannot_be_printed_is_refused(
    patches: dict[str, Patch], tmp_path: Path, out: str, paper: str, side: float, error: type[Exception], words: str
) -> None:
    patch = patches["wall"]
    file = tmp_path / "patch.toml"
    file.write_text(patch_toml(replace(patch, markers=tuple(replace(m, side_mm=float(side)) for m in patch.markers))))
    with pytest.raises(error, match=words):
        write_sheet(file, tmp_path / out, paper)
    assert list(tmp_path.iterdir()) == [file]


def test_a_square_that_no_page_holds_is_refused(patches: dict[str, Patch]) -> None:
    large = tuple(replace(marker, side_mm=138.0) for marker in patches["wall"].markers)
    with pytest.raises(SheetError, match=r"does not fit a4 paper.* Take letter paper"):
        sheet_files(replace(patches["wall"], markers=large), Path("sheet.pdf"), "a4")
