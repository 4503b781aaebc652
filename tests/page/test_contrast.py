"""Contrast of the page's colours by WCAG 2.1, and how far apart the parts of what stayed are to every kind of eye."""

import re
from itertools import combinations
from pathlib import Path

import pytest

import debriscount.page
from debriscount.report.palette import distances

CSS = (Path(debriscount.page.__file__).parent / "page.css").read_text(encoding="utf-8")


def rgb(color: str) -> tuple[int, int, int]:
    digits = color.lstrip("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    return int(digits[:2], 16), int(digits[2:4], 16), int(digits[4:], 16)


def luminance(color: str) -> float:
    """WCAG 2.1, definition of relative luminance."""
    parts = [c / 255 for c in rgb(color)]
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(color: str, other: str) -> float:
    """WCAG 2.1, definition of contrast ratio."""
    light, dark = sorted((luminance(color), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


THEMES = dict(
    zip(
        ("light", "dark", "paper"),
        [dict(re.findall(r"--(\w+): (#\w+);", block)) for block in re.findall(r":root \{([^}]*)\}", CSS)],
        strict=True,
    )
)


def test_contrast_of_known_pairs() -> None:
    # 21:1 is the greatest by the definition; 4.48 and 4.54 of these greys on white are widely published (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", ["ink", "quiet", "link", "warn"])
def test_text_stands_out(theme: str, name: str) -> None:
    assert contrast(THEMES[theme][name], THEMES[theme]["paper"]) >= 4.5  # success criterion 1.4.3


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", ["dot", "mean", "never", "moved"])
def test_marks_stand_out(theme: str, name: str) -> None:
    assert contrast(THEMES[theme][name], THEMES[theme]["paper"]) >= 3  # success criterion 1.4.11


@pytest.mark.parametrize("theme", THEMES)
def test_parts_of_what_stayed_are_apart_to_every_kind_of_eye(theme: str) -> None:
    for one, other in combinations(("never", "lying", "moved"), 2):
        colors = [rgb(THEMES[theme][name]) for name in (one, other)]
        assert distances(colors[:1], colors[1:]).min() > 20  # a difference that nobody overlooks
