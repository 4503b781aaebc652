from collections.abc import Callable
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.typing import NDArray

from debriscount.leftovers.records import Explained, PassStep, WallProfile, Walls, WhyLeft
from debriscount.report import plots
from debriscount.report.lookup import has_pass_curve
from debriscount.report.palette import distances
from debriscount.report.plots import SHIFTED, UNTOUCHED, draw_passes, draw_walls, drawn
from debriscount.run.records import Measurement


@pytest.fixture
def figures(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """Figures that are drawn while a test runs."""
    seen: list[Figure] = []

    def spy(size: tuple[float, float], draw: Callable[[Figure], None]) -> NDArray[np.uint8]:
        def keep(figure: Figure) -> None:
            draw(figure)
            seen.append(figure)

        return drawn(size, keep)

    monkeypatch.setattr(plots, "drawn", spy)
    return seen


def _why(run: Measurement) -> WhyLeft:
    why = run.left.why(1)
    assert why is not None
    return why


def _walled(run: Measurement, *profiles: WallProfile) -> Measurement:
    why = replace(_why(run), walls=Walls(profiles, _why(run).walls.corners))
    return replace(run, left=replace(run.left, passes=(why, *run.left.passes[1:])))


def _heights(figure: Figure, axes: int = 0) -> list[float]:
    return [round(float(bar.get_height()), 3) for bar in figure.axes[axes].patches if hasattr(bar, "get_height")]


def test_bars_are_what_stayed_of_what_lay_there(explained: Measurement, figures: list[Figure]) -> None:
    image = draw_walls(explained.shots[1], explained)
    assert image.dtype == np.uint8
    assert image.shape[2] == 3
    # 12.5 of 12.6 and 1.2 of 37.7 mm² untouched, then 0 and 3 of 37.7 shifted; where nothing lay there is no bar.
    assert _heights(figures[0])[:4] == [99.206, 3.183, 0.0, 7.958]
    assert figures[0].axes[0].get_title() == "top wall: debris stays up to 8 mm (7 to 10 mm)"


def test_a_wall_without_a_step_says_so(explained: Measurement, figures: list[Figure]) -> None:
    plain = replace(_why(explained).walls.walls[0], gap_mm=None, gap_interval95=None, beyond_percent=None)
    draw_walls(explained.shots[1], _walled(explained, plain))
    assert figures[0].axes[0].get_title() == "top wall: no strip is seen in which most stays"
    assert not figures[0].axes[0].lines


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_every_wall_has_a_plot_of_its_own(explained: Measurement, figures: list[Figure], number: int) -> None:
    profile = _why(explained).walls.walls[0]
    sides = ("top", "right", "bottom", "left")[:number]
    draw_walls(explained.shots[1], _walled(explained, *(replace(profile, wall=side) for side in sides)))
    assert [axes.get_title().split()[0] for axes in figures[0].axes] == list(sides)
    assert [text.get_text() for text in figures[0].legends[0].get_texts()].count("untouched") == 1


def test_estimates_that_stray_do_not_upset_the_plot(explained: Measurement, figures: list[Figure]) -> None:
    odd = replace(
        _why(explained).walls.walls[0],
        untouched_mm2=(-1.0, 0.0, 900.0), shifted_mm2=(0.0, 5.0, -2.0), beyond_percent=float("nan"),
    )  # fmt: skip
    draw_walls(explained.shots[1], _walled(explained, odd))
    assert min(_heights(figures[0])) == 0
    assert figures[0].axes[0].get_ylim() == (0, 150)


def test_no_walls_make_no_plot(explained: Measurement, run: Measurement) -> None:
    for made, shot in ((run, run.shots[1]), (explained, explained.shots[2]), (explained, explained.shots[0])):
        with pytest.raises(ValueError, match="has no walls to draw"):
            draw_walls(shot, made)


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


def test_a_long_name_in_letters_that_the_font_lacks_is_cut_and_drawn_without_a_word(
    explained: Measurement, figures: list[Figure], recwarn: pytest.WarningsRecorder
) -> None:
    run = replace(explained, patch=replace(explained.patch, name="台所の床 " * 40))
    draw_walls(run.shots[1], run)
    draw_passes(run)
    assert not list(recwarn)
    titles = [figures[0].get_suptitle().split("\n")[0], figures[1].axes[0].get_title()]
    assert all(title.endswith("…") and len(title) < 90 for title in titles)


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
