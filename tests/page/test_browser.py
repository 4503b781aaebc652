"""The page in a browser: nothing asked of anyone, and everything usable by keyboard, by touch and without scripts."""

import io
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

pytestmark = pytest.mark.slow

LAYERS = ("outlines", "zones", "fates", "strips", "scatter")


@pytest.fixture
def opened(chromium: Any, page_file: Path) -> Iterator[Any]:
    """The page, opened; no test may make it complain or ask for anything."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    page, said, asked = context.new_page(), [], []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    page.evaluate("Promise.all([...document.images].map((image) => image.decode()))")
    yield page
    assert said == []
    assert [url for url in asked if not url.startswith("data:")] == [page_file.as_uri()]
    context.close()


def _pixels(element: Any) -> Any:
    return np.asarray(Image.open(io.BytesIO(element.screenshot())).convert("RGB"), int)


def _clip(page: Any) -> str:
    return str(page.eval_on_selector(".after .frame", "frame => getComputedStyle(frame).clipPath"))


def test_divider_is_moved_by_keys(opened: Any) -> None:
    slider = opened.locator(".divider input").first
    slider.focus()
    assert _clip(opened) == "inset(0px 0px 0px 50%)"
    opened.keyboard.press("ArrowRight")
    assert _clip(opened) == "inset(0px 0px 0px 51%)"
    opened.keyboard.press("Home")
    assert _clip(opened) == "inset(0px)" or _clip(opened) == "inset(0px 0px 0px 0%)"


def test_divider_is_moved_by_mouse(opened: Any) -> None:
    box = opened.locator(".pair").first.bounding_box()
    opened.locator(".pair").first.scroll_into_view_if_needed()
    box = opened.locator(".pair").first.bounding_box()
    opened.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    opened.mouse.down()
    opened.mouse.move(box["x"] + box["width"] / 4, box["y"] + box["height"] / 2)
    opened.mouse.up()
    assert opened.locator(".divider input").first.input_value() == "25"
    assert _clip(opened) == "inset(0px 0px 0px 25%)"


def test_divider_is_moved_by_touch(chromium: Any, page_file: Path) -> None:
    context = chromium.new_context(viewport={"width": 360, "height": 700}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(page_file.as_uri())
    pair = page.locator(".pair").first
    pair.scroll_into_view_if_needed()
    box = pair.bounding_box()
    page.touchscreen.tap(box["x"] + 0.8 * box["width"], box["y"] + box["height"] / 2)
    assert abs(int(page.locator(".divider input").first.input_value()) - 80) <= 1
    context.close()


@pytest.mark.parametrize("layer", LAYERS)
def test_layers_are_switched_by_keys(opened: Any, layer: str) -> None:
    view = opened.locator(".view").first
    view.locator(".divider input").fill("0")
    frame, switch = view.locator(".after .frame"), view.locator(f".on-{layer}")
    for name in LAYERS:
        view.locator(f".on-{name}").set_checked(False)
    bare = _pixels(frame)
    switch.focus()
    opened.keyboard.press("Space")
    assert switch.is_checked()
    assert (np.abs(_pixels(frame) - bare).max(axis=2) > 60).sum() > 50
    opened.keyboard.press("Space")
    assert np.abs(_pixels(frame) - bare).max() == 0


def test_magnifier_is_moved_by_keys(opened: Any) -> None:
    view = opened.locator(".view").first
    view.locator(".magnify").focus()
    opened.keyboard.press("Space")
    spot, where = view.locator(".spot"), view.locator(".where")
    assert spot.is_visible()
    first = where.inner_text()
    spot.focus()
    opened.keyboard.press("ArrowRight")
    opened.keyboard.press("Shift+ArrowDown")
    assert where.inner_text() != first
    assert spot.get_attribute("aria-valuetext") in where.inner_text()


@pytest.mark.parametrize(("view", "shot"), [(0, "before"), (0, "after"), (1, "before"), (2, "before")])
def test_magnifier_shows_the_pictures_own_pixels(opened: Any, view: int, shot: str) -> None:
    """The first two views are of one run and share their picture before; the third is of another run."""
    opened.locator(".magnify").nth(view).check()
    shown = opened.evaluate(
        """async ([number, shot]) => {
          const view = document.querySelectorAll(".view")[number], found = view.querySelector(`.${shot} .photo`);
          const shared = document.getElementById(found.dataset.shared);
          const photo = new Image();
          photo.src = shared ? shared.getAttribute("href") : found.src;
          await photo.decode();
          const canvas = document.createElement("canvas"), lens = document.createElement("canvas");
          canvas.width = photo.naturalWidth; canvas.height = photo.naturalHeight;
          const own = canvas.getContext("2d", {willReadFrequently: true});
          const seen = lens.getContext("2d", {willReadFrequently: true});
          own.drawImage(photo, 0, 0);
          seen.drawImage(view.querySelector(`.lens-${shot}`), 0, 0);
          const x = Math.round(photo.naturalWidth / 2 - 40), y = Math.round(photo.naturalHeight / 2 - 30);
          return [own.getImageData(x, y, 1, 1), seen.getImageData(0, 0, 1, 1), seen.getImageData(3, 3, 1, 1)]
            .map((one) => [...one.data]);
        }""",
        [view, shot],
    )
    assert shown[0] == shown[1] == shown[2]


def test_everything_is_reached_by_tabs_in_order(opened: Any) -> None:
    reached = []
    for _ in range(60):
        opened.keyboard.press("Tab")
        reached.append(opened.evaluate("document.activeElement.className || document.activeElement.tagName"))
    assert reached[0] == "skip"
    for name in ("on-outlines", "on-scatter", "join", "magnify"):
        assert name in reached


@pytest.mark.parametrize("width", [320, 360, 768, 1280, 2560])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_nothing_runs_out_of_the_page(chromium: Any, page_file: Path, width: int, theme: str) -> None:
    context = chromium.new_context(viewport={"width": width, "height": 800}, color_scheme=theme)
    page = context.new_page()
    page.goto(page_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    background = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert background == {"light": "rgb(251, 250, 246)", "dark": "rgb(21, 24, 28)"}[theme]
    context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_core_finds_nothing_serious(chromium: Any, page_file: Path, axe: str, theme: str) -> None:
    # https://github.com/dequelabs/axe-core, rules of WCAG 2.0 and 2.1, levels A and AA
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, color_scheme=theme)
    page = context.new_page()
    page.goto(page_file.as_uri())
    page.locator(".magnify").first.check()
    page.evaluate(axe)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]
    found = page.evaluate("tags => axe.run({runOnly: tags})", tags)
    assert len(found["passes"]) > 15
    grave = [
        (one["id"], one["nodes"][0]["html"]) for one in found["violations"] if one["impact"] in ("serious", "critical")
    ]
    assert grave == []
    context.close()


def test_without_scripts_both_pictures_and_all_layers_are_there(chromium: Any, page_file: Path) -> None:
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(page_file.as_uri())
    before, after = (page.locator(f".{name} .photo").first.bounding_box() for name in ("before", "after"))
    assert before["x"] + before["width"] <= after["x"]
    assert not page.locator(".controls").first.is_visible()
    page.locator(".on-fates").first.check()
    assert page.locator(".after .fates").first.is_visible()
    context.close()


def test_data_are_saved_without_scripts(chromium: Any, page_file: Path, tmp_path: Path) -> None:
    context = chromium.new_context(java_script_enabled=False, accept_downloads=True)
    page = context.new_page()
    page.goto(page_file.as_uri())
    with page.expect_download() as saved:
        page.locator("a.download").first.click()
    saved.value.save_as(tmp_path / "data.zip")
    assert (tmp_path / "data.zip").read_bytes()[:2] == b"PK"
    context.close()


def test_paper_holds_every_figure(chromium: Any, page_file: Path, tmp_path: Path) -> None:
    pdfplumber = pytest.importorskip("pdfplumber")
    context = chromium.new_context()
    page = context.new_page()
    page.goto(page_file.as_uri())
    cells = page.locator("td, th").all_inner_texts()
    page.pdf(path=tmp_path / "page.pdf", format="A4")
    context.close()
    with pdfplumber.open(tmp_path / "page.pdf") as pdf:
        right = max(word["x1"] for sheet in pdf.pages for word in sheet.extract_words())
        width = pdf.pages[0].width
        text = "".join(sheet.extract_text() for sheet in pdf.pages)
    assert right <= width
    printed = "".join(text.split())
    for cell in cells:
        for part in cell.split():
            assert "".join(part.split()) in printed or len(part) > 60  # a hash is parted by the end of a line


def test_firefox_opens_it(page_file: Path, tmp_path: Path) -> None:
    firefox = shutil.which("firefox-esr") or shutil.which("firefox")
    if firefox is None:
        pytest.skip("no Firefox here: apt-get install firefox-esr")
    picture = tmp_path / "page.png"
    command = [
        firefox,
        "--headless",
        "--no-remote",
        "--profile",
        str(tmp_path / "profile"),
        "--window-size",
        "1000,3000",
    ]
    (tmp_path / "profile").mkdir()
    home = {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}
    subprocess.run(
        [*command, "--screenshot", str(picture), page_file.as_uri()],
        check=True,
        timeout=240,
        env=home,
        capture_output=True,
    )
    with Image.open(picture) as shot:
        seen = np.asarray(shot.convert("RGB"), int)
    floor = np.abs(seen - (150, 150, 148)).max(axis=2) < 12  # the made-up floor, between light paper and dark ink
    assert floor.sum() > 10_000
