from collections.abc import Callable
from dataclasses import replace
from types import ModuleType

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure

from debriscount.leftovers.records import Explained, PassStep
from debriscount.report import plots
from debriscount.report.lookup import has_pass_curve
from debriscount.report.palette import distances
from debriscount.report.plots import SHIFTED, UNTOUCHED, draw_passes
from debriscount.run.records import Measurement


@pytest.fixture
def figures(spied_figures: Callable[[ModuleType], list[Figure]]) -> list[Figure]:
    """Figures that are drawn while a test runs."""
    return spied_figures(plots)


def test_passes_are_drawn_alone_together_and_one_more(explained: Measurement, figures: list[Figure]) -> None:
    draw_passes(explained)
    axes = figures[0].axes[0]
    assert [text.get_text() for text in axes.get_legend().get_texts()] == [  # type: ignore[union-attr]
        "of what the pass found",
        "together",
        "one more pass, extrapolated",
    ]
    dashed = [line for line in axes.lines if line.get_linestyle() == "--"]
    assert [line.get_xydata().tolist() for line in dashed] == [[[2, pytest.approx(49.98765432)], [3, 60]]]  # type: ignore[union-attr]
    assert axes.get_xticks().tolist() == [1, 2, 3]


def test_without_an_extrapolation_the_curve_ends_with_the_last_pass(
    explained: Measurement, figures: list[Figure]
) -> None:
    draw_passes(replace(explained, left=replace(explained.left, further=None)))
    assert not [line for line in figures[0].axes[0].lines if line.get_linestyle() == "--"]


def test_passes_that_pushed_debris_in_or_are_unknown_are_drawn_all_the_same(
    explained: Measurement, figures: list[Figure]
) -> None:
    first, second = explained.passes
    zone = replace(first.zones["patch"], pickup_percent=-20.0, interval95=None)
    pushed = replace(first, zones={"patch": zone})
    unknown = replace(zone, pickup_percent=None)
    nothing = replace(second, zones={"patch": unknown})
    steps = (
        PassStep(
            number=1,
            of_found_percent=-20.0,
            of_found_interval95=None,
            together_percent=-20.0,
            missed_again_percent=None,
            missed_again_by_chance_percent=None,
        ),
        PassStep(
            number=2,
            of_found_percent=None,
            of_found_interval95=None,
            together_percent=None,
            missed_again_percent=None,
            missed_again_by_chance_percent=None,
        ),
    )
    draw_passes(replace(explained, passes=(pushed, nothing), left=Explained(steps=steps)))
    draw_passes(replace(explained, passes=(nothing, nothing), left=Explained(steps=(steps[1], steps[1]))))
    low, high = figures[0].axes[0].get_ylim()
    assert low < -20
    assert high > 100


def test_a_curve_needs_two_passes_with_their_steps(explained: Measurement, run: Measurement) -> None:
    assert has_pass_curve(explained)
    for made in (run, replace(explained, passes=explained.passes[:1])):
        assert not has_pass_curve(made)
        with pytest.raises(ValueError, match="a pass curve needs two passes"):
            draw_passes(made)


def test_plots_are_the_same_whatever_the_user_has_set(explained: Measurement) -> None:
    usual = draw_passes(explained)
    with mpl.rc_context({"axes.facecolor": "black", "font.size": 30, "lines.linewidth": 9}):
        assert (draw_passes(explained) == usual).all()


def test_untouched_and_shifted_differ_for_all_eyes() -> None:
    def rgb(text: str) -> tuple[int, int, int]:
        red, green, blue = bytes.fromhex(text[1:])
        return red, green, blue

    assert distances([rgb(UNTOUCHED)], [rgb(SHIFTED)]).min() > 40


def test_a_long_name_in_letters_that_the_font_lacks_is_drawn_in_lines_without_a_word(
    explained: Measurement, figures: list[Figure], recwarn: pytest.WarningsRecorder
) -> None:
    run = replace(explained, patch=replace(explained.patch, name="台所の床 " * 40))
    image = draw_passes(run)
    assert not list(recwarn)
    lines = figures[0].axes[0].get_title().split("\n")
    assert max(map(len, lines)) < 90
    assert "".join(lines).count("台所の床") == 40
    assert image.shape[0] > draw_passes(explained).shape[0]


def test_all_ends_of_intervals_are_in_sight(explained: Measurement, figures: list[Figure]) -> None:
    steps = (
        explained.left.steps[0],
        PassStep(
            number=2,
            of_found_percent=101.0,
            of_found_interval95=(85.0, 112.0),
            together_percent=60.0,
            missed_again_percent=None,
            missed_again_by_chance_percent=None,
        ),
    )
    draw_passes(replace(explained, left=replace(explained.left, steps=steps)))
    low, high = figures[0].axes[0].get_ylim()
    assert low <= 0 and high >= 112
