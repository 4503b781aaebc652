"""Size of a page of many runs with pictures, how long it takes to make, and how soon a browser shows its first figure.

    python tests/benchmarks/page.py [--runs 60] [--megapixels 8] [--result DIR]

One simulated run is measured, or a result that is there is taken, and shown so many times over. A page keeps nothing in
common between runs, so that copies cost what other runs would. Without Chromium the last figure is left out.
"""

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

from debriscount.inputs.debris_file import read_debris
from debriscount.layout.lay_patch import lay_patch
from debriscount.page.private import Shown
from debriscount.page.sources import read_sources
from debriscount.page.write import write_page
from debriscount.report.write import write_measurement
from debriscount.run.measure import measure
from debriscount.shipped import shipped_folder
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Cleaning, Floor, Portion, SceneSpec
from debriscount.simulate.write import write_scene

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def made_result(folder: Path, megapixels: float) -> Path:
    """Measure a simulated run of red lentils on planks, and return the folder of its result."""
    kind = read_debris(shipped_folder("debriscount._calibration", "calibration") / "debris" / "red-lentils.toml")
    spec = SceneSpec(
        patch=lay_patch(600, 400, ("top", "left")),
        portions=(Portion(kind, cover_share=0.05),),
        floor=Floor("planks"),
        camera=Camera(megapixels=megapixels),
        passes=(Cleaning(heading_deg=0.0, pickup=0.85),),
        seed=1,
    )
    write_scene(make_scene(spec), folder)
    found = measure(
        folder / "patch.toml", folder / "before.jpg", folder / "after.jpg", blank=folder / "blank.jpg", debris=[kind]
    )
    write_measurement(found, folder / "result")
    return folder / "result"


def first_figure_s(page: Path, tries: int = 3) -> float:
    """Seconds until Chromium has painted the first figure, the least of several tries."""
    from playwright.sync_api import sync_playwright

    least = float("inf")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        for _ in range(tries):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            tab = context.new_page()
            started = time.perf_counter()
            tab.goto(page.as_uri(), wait_until="commit")
            tab.locator("#found ~ .body li, #found ~ .body .found").first.wait_for(state="visible")
            tab.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
            least = min(least, time.perf_counter() - started)
            context.close()
        browser.close()
    return least


def main() -> int:
    """Print the three figures; 1 if a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--megapixels", type=float, default=8.0)
    parser.add_argument("--result", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        home = Path(scratch)
        result = options.result or made_result(home / "scene", options.megapixels)
        folders = []
        for number in range(options.runs):
            folders.append(home / f"run {number + 1}")
            shutil.copytree(result, folders[-1])
        started = time.perf_counter()
        page = write_page(read_sources(folders), home / "page.html", Shown())
        figures = [("made in", time.perf_counter() - started, 10.0, "s")]
        figures.append(("its size", page.stat().st_size / 1e6, 25.0, "MB"))
        if CHROMIUM is None:
            print("first figure: no Chromium here")
        else:
            figures.append(("first figure in Chromium after", first_figure_s(page), 1.5, "s"))
    print(f"page of {options.runs} runs")
    for name, value, bar, unit in figures:
        print(f"{name} {value:.2f} {unit} (bar {bar:g} {unit})")
    return int(any(value > bar for _, value, bar, _ in figures))


if __name__ == "__main__":
    sys.exit(main())
