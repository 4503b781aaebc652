"""Results of a made-up run for pages, and a browser to open them in."""

import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from debriscount.page.private import Shown
from debriscount.page.sources import Sources, read_sources
from debriscount.page.write import write_page
from debriscount.report.write import write_measurement
from debriscount.run.records import Measurement

from ..report.conftest import explained, run  # noqa: F401  the made-up run

#: A busy machine is no fault.
_PATIENCE_MS = 240_000
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def result(explained: Measurement, tmp_path_factory: pytest.TempPathFactory) -> Path:  # noqa: F811
    """Folder with the made-up run's result."""
    out = tmp_path_factory.mktemp("pages") / "kitchen"
    write_measurement(explained, out)
    return out


@pytest.fixture(scope="session")
def second(explained: Measurement, tmp_path_factory: pytest.TempPathFactory) -> Path:  # noqa: F811
    """Folder with another one, of one pass and doubtful."""
    out = tmp_path_factory.mktemp("pages") / "hall"
    whole = replace(explained.passes[0].zones["patch"], trust="doubtful", why="the light differs by 12 %")
    first = replace(explained.passes[0], zones={**explained.passes[0].zones, "patch": whole})
    left = replace(explained.left, passes=explained.left.passes[:1], steps=explained.left.steps[:1], further=None)
    write_measurement(replace(explained, shots=explained.shots[:2], passes=(first,), left=left), out)
    return out


@pytest.fixture(scope="session")
def sources(result: Path, second: Path) -> Sources:
    return read_sources([result, second])


@pytest.fixture(scope="session")
def page_file(sources: Sources, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of both runs."""
    return write_page(sources, tmp_path_factory.mktemp("pages") / "page.html", Shown())


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Debian's Chromium without a window, driven by playwright."""
    if CHROMIUM is None:
        pytest.skip("no Chromium here: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        # As root, as in most containers, Chromium has no sandbox.
        options = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=options, timeout=_PATIENCE_MS)

        def new_context(**settings: Any) -> Any:
            context = browser.new_context(**settings)
            context.set_default_timeout(_PATIENCE_MS)
            return context

        yield SimpleNamespace(new_context=new_context)
        browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The source of axe-core, which is under the MPL-2.0 and never installed for users."""
    place = os.environ.get("AXE_CORE", "")
    if not place:
        pytest.skip("axe-core is not here: .ci/run fetches it by npm and names it in AXE_CORE")
    return Path(place).read_text(encoding="utf-8")
