import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.report.caption import (
    PAPER,
    Caption,
    LegendEntry,
    draw_caption,
    label_sample,
    outline_sample,
    plain_sample,
    scale_bar,
    stroke_sample,
)
from debriscount.report.palette import DARK


@given(st.integers(1200, 6000), st.floats(0.01, 20))
def test_scale_bar_is_round_and_about_a_fifth_of_the_width(width_px: int, mm_per_px: float) -> None:
    length_mm, length_px = scale_bar(width_px, mm_per_px)
    digit = length_mm / 10 ** math.floor(math.log10(length_mm) + 1e-9)
    assert min(abs(digit - d) for d in (1, 2, 5)) < 1e-6
    assert length_px * mm_per_px == pytest.approx(length_mm)
    assert 0.12 < length_px / width_px < 0.32  # 0.2 / √2.5 to 0.2 · √2.5


@pytest.mark.parametrize(
    ("width", "mm_per_px", "text"), [(2000, 0.33, "100 mm"), (1200, 0.1, "20 mm"), (1440, 0.02, "5 mm")]
)
def test_drawn_bar_is_as_long_as_its_text_says(width: int, mm_per_px: float, text: str) -> None:
    strip = draw_caption(Caption("", "", (), ""), width, mm_per_px, 20)
    dark = (strip[3:] == DARK).all(axis=2)
    row = dark[dark[:, : width - 10].sum(axis=1).argmax()]
    (columns,) = np.nonzero(row)
    assert columns[-1] - columns[0] + 1 == row.sum() == round(float(text.split(maxsplit=1)[0]) / mm_per_px)
    assert scale_bar(width, mm_per_px)[0] == float(text.split(maxsplit=1)[0])


def test_caption_grows_with_its_legend_and_keeps_its_width() -> None:
    entry = LegendEntry("lentils", plain_sample((168, 72, 44)))
    heights = [draw_caption(Caption("a", "b", (entry,) * n, "c"), 1200, 0.5, 20).shape for n in (1, 5, 20)]
    assert {shape[1] for shape in heights} == {1200}
    assert heights[0][0] == heights[1][0] < heights[2][0]


def test_words_too_long_for_the_strip_stay_inside() -> None:
    long = "very " * 200
    strip = draw_caption(Caption(long, long, (LegendEntry(long, plain_sample((1, 2, 3))),), long), 1200, 0.5, 20)
    assert (strip[5:, :20] == PAPER).all()
    assert (strip[5:, -15:] == PAPER).all()


def test_samples_show_what_is_drawn_above() -> None:
    strip = np.full((30, 80, 3), PAPER, np.uint8)
    outline_sample((0, 114, 178), (168, 72, 44), (150, 150, 148))(strip, 10, 5, 60, 20)
    shown = {tuple(color) for color in strip[5:25, 10:70].reshape(-1, 3).tolist()}
    assert shown >= {(0, 114, 178), (168, 72, 44), (150, 150, 148)}
    assert (strip[:5] == PAPER).all()

    dashes = []
    for dashed in (False, True):
        stroke_sample(1, (150, 150, 148), dashed)(strip, 10, 5, 60, 20)
        dashes.append(np.diff((strip[15, 10:70] == DARK).all(axis=1).astype(int)).clip(0).sum())
    assert dashes == [1, 2]

    label_sample("%")(strip, 10, 5, 60, 20)
    assert strip[5:25, 10:70].max() > 200 > strip[6, 11:20].max()
