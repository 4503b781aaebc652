from collections.abc import Callable
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest
from matplotlib.figure import Figure

from debriscount.leftovers.records import LocalPickup, WallPickup, Walls, WhyLeft
from debriscount.report import walls_plot
from debriscount.report.walls_plot import draw_walls
from debriscount.run.records import Measurement


@pytest.fixture
def figures(spied_figures: Callable[[ModuleType], list[Figure]]) -> list[Figure]:
    """Figures that are drawn while a test runs."""
    return spied_figures(walls_plot)


def _why(run: Measurement) -> WhyLeft:
    why = run.left.why(1)
    assert why is not None
    return why


def _along(run: Measurement, *pickups: WallPickup) -> Measurement:
    walls = _why(run).walls
    why = replace(_why(run), walls=Walls(walls.walls, walls.corners, pickups))
    return replace(run, left=replace(run.left, passes=(why, *run.left.passes[1:])))


def _lines(figure: Figure, label: str) -> list[list[list[float]]]:
    return [np.asarray(line.get_xydata()).tolist() for line in figure.axes[0].lines if line.get_label() == label]


def _words(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.legends[0].get_texts()]


def test_steps_are_the_pickup_at_a_distance_and_the_line_is_open_floors(
    explained: Measurement, figures: list[Figure]
) -> None:
    image = draw_walls(explained.shots[1], explained)
    assert image.dtype == np.uint8 and image.shape[2] == 3
    assert _lines(figures[0], "picked up at this distance") == [[[0.0, 0.8], [10.0, 0.8]]]
    steps = [np.asarray(line.get_xydata()).tolist() for line in figures[0].axes[0].lines]
    assert [[20.0, 88.90001], [40.0, 88.90001]] in steps
    assert _lines(figures[0], "open floor") == [[[0.0, 89.0], [1.0, 89.0]]]
    assert "open\nfloor\n89 %" in [text.get_text() for text in figures[0].axes[0].texts]


def test_the_title_answers_how_much_less_and_how_far(explained: Measurement, figures: list[Figure]) -> None:
    draw_walls(explained.shots[1], explained)
    assert " ".join(figures[0].axes[0].get_title().split()) == (
        "Within 10 mm of the top wall 1 % was picked up, on open floor 89 %: 88 points less (57 to 94). "
        "Debris stays up to 8 mm (7 to 10 mm)."
    )


def test_without_a_gap_the_question_is_answered_all_the_same(explained: Measurement, figures: list[Figure]) -> None:
    walls = _why(explained).walls
    plain = replace(walls.walls[0], gap_mm=None, gap_interval95=None)
    why = replace(_why(explained), walls=Walls((plain,), (), walls.pickup))
    draw_walls(explained.shots[1], replace(explained, left=replace(explained.left, passes=(why,))))
    assert (
        figures[0]
        .axes[0]
        .get_title()
        .replace("\n", " ")
        .replace("\N{NO-BREAK SPACE}", " ")
        .endswith("88 points less (57 to 94).")
    )
    assert "debris stays up to here" not in _words(figures[0])


def test_the_legend_names_all_that_is_drawn_and_nothing_else(explained: Measurement, figures: list[Figure]) -> None:
    draw_walls(explained.shots[1], explained)
    bare = replace(_why(explained).walls.pickup[0], strips_mm=())
    draw_walls(explained.shots[1], _along(explained, bare))
    always = ["picked up at this distance", "95 % interval", "open floor", "border of the edge zone"]
    assert _words(figures[0]) == [*always, "debris stays up to here", "strip between lanes, left out"]
    assert _words(figures[1]) == [*always, "debris stays up to here"]


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_every_wall_has_a_plot_of_its_own(explained: Measurement, figures: list[Figure], number: int) -> None:
    found = _why(explained).walls.pickup[0]
    sides = ("top", "right", "bottom", "left")[:number]
    draw_walls(explained.shots[1], _along(explained, *(replace(found, wall=side) for side in sides)))
    assert [axes.get_title().split(" wall")[0].split()[-1] for axes in figures[0].axes] == list(sides)
    assert _words(figures[0]).count("open floor") == 1


def test_what_was_pushed_in_lies_below_nothing_and_what_is_unknown_is_left_out(
    explained: Measurement, figures: list[Figure]
) -> None:
    found = replace(
        _why(explained).walls.pickup[0],
        bins=(LocalPickup(-30.0, (-90.0, 10.0)), LocalPickup(None, None), LocalPickup(-700.0, (-900.0, 0.0))),
        open=LocalPickup(None, None), less_percent=None, less_interval95=None,
    )  # fmt: skip
    draw_walls(explained.shots[1], _along(explained, found))
    assert figures[0].axes[0].get_ylim() == (-50, 104)
    assert "too little lay there" in figures[0].axes[0].get_title().replace("\n", " ").replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert "open floor" not in _words(figures[0])


def test_no_walls_make_no_plot(explained: Measurement, run: Measurement) -> None:
    for made, shot in ((run, run.shots[1]), (explained, explained.shots[2]), (explained, explained.shots[0])):
        with pytest.raises(ValueError, match="has no walls to draw"):
            draw_walls(shot, made)


def test_a_long_name_is_broken_and_none_of_it_lost(explained: Measurement, figures: list[Figure]) -> None:
    run = replace(explained, patch=replace(explained.patch, name="kitchen bench " * 12))
    image = draw_walls(run.shots[1], run)
    heading = figures[0].get_suptitle()
    assert " ".join(heading.split()).count("kitchen bench") == 12
    assert image.shape[0] > draw_walls(explained.shots[1], explained).shape[0]
