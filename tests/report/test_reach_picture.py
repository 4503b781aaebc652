from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.leftovers.records import Reach, WhyLeft
from debriscount.registration.grid import FloorGrid
from debriscount.report.caption import Caption
from debriscount.report.palette import distances
from debriscount.report.reach_picture import NEVER, REACHED, draw_reach
from debriscount.run.records import Measurement


def _with(run: Measurement, why: WhyLeft) -> Measurement:
    return replace(run, left=replace(run.left, passes=(why, *run.left.passes[1:])))


def _bare(run: Measurement, reach: Reach | None = None) -> Measurement:
    """The run without outlines of what was not reached."""
    why = run.left.why(1)
    assert why is not None
    return _with(run, replace(why, lanes=None, missed=(), reach=reach or why.reach))


def _part(image: NDArray[np.uint8], grid: FloorGrid, x_mm: float, y_mm: float, mm: float = 3.0) -> NDArray[np.float64]:
    column, row = np.rint(grid.to_px(np.array([x_mm, y_mm]))).astype(int)
    reach = round(mm / grid.mm_per_px)
    return image[row - reach : row + reach, column - reach : column + reach].reshape(-1, 3).astype(float)


def test_reached_unreached_and_untold_places_differ_in_light_and_pattern(explained: Measurement) -> None:
    run = _bare(explained)
    image = draw_reach(run.shots[1], run)
    reached, never, untold = (_part(image, run.grid, x, y) for x, y in ((50, 60), (50, 35), (80, 65)))
    # A plain floor below: what is reached has one colour, the others have lines and dots in it.
    assert reached.std(axis=0).max() < 1
    assert never.std(axis=0).max() > 20
    assert untold.std(axis=0).max() > 10
    colors = [np.median(part, axis=0) for part in (reached, never, untold)]
    assert distances(np.array(colors), np.array(colors))[~np.eye(3, dtype=bool)].min() > 15


def test_reached_and_not_can_be_told_by_every_eye() -> None:
    assert distances([NEVER], [REACHED]).min() > 20  # see TELLING in test_palette.py


def test_specks_are_given_to_what_lies_round_them(explained: Measurement) -> None:
    """A cell of 2 mm, 24 px of a picture in whose type a line is 23 px high, is no place of its own."""
    grid = FloorGrid(1.0, 1.0, 2.0, 40, 50)
    map_ = np.ones(grid.shape, np.float32)
    map_[20, 20], map_[20, 30] = 0.0, np.nan
    run = _bare(explained, Reach({}, grid, map_, 1.0))
    plain = _bare(explained, Reach({}, grid, np.ones(grid.shape, np.float32), 1.0))
    assert (draw_reach(run.shots[1], run) == draw_reach(plain.shots[1], plain)).all()


def test_a_map_is_shown_where_it_lies(explained: Measurement) -> None:
    """A single unreached cell of 10 mm is hatched there and nowhere else."""
    grid = FloorGrid(5.0, 5.0, 10.0, 8, 10)
    map_ = np.ones(grid.shape, np.float32)
    map_[4, 6] = 0.0
    run = _bare(explained, Reach({}, grid, map_, 1.0))
    image = draw_reach(run.shots[1], run)
    dark = (image[:1000] == (60, 50, 45)).all(axis=-1)
    row, column = np.nonzero(dark)
    x, y = run.grid.x_mm()[column], run.grid.y_mm()[row]
    # Half way between the cell's centre and its neighbours' the chance is one half: 5 mm to each side.
    assert np.abs([x.min() - 60, x.max() - 70, y.min() - 40, y.max() - 50]).max() < 0.4


def test_what_cannot_be_told_does_not_leak_into_its_neighbours(explained: Measurement) -> None:
    grid = FloorGrid(5.0, 5.0, 10.0, 8, 10)
    map_ = np.ones(grid.shape, np.float32)
    map_[:, 5:] = np.nan
    run = _bare(explained, Reach({}, grid, map_, 0.5))
    image = draw_reach(run.shots[1], run)
    assert not (image[:1000] == (60, 50, 45)).all(axis=-1).any()
    assert (_part(image, run.grid, 45, 40, 2) == _part(image, run.grid, 25, 40, 2)).all()


def test_nothing_is_tinted_outside_the_patch(explained: Measurement) -> None:
    run = _bare(explained)
    image = draw_reach(run.shots[1], run)
    margin = _part(image, run.grid, 106, 70)
    assert (margin == margin[0]).all()
    assert np.ptp(margin[0]) == 0  # grey


@pytest.mark.parametrize("level", [5, 45, 150, 250])
def test_dark_and_light_floors_look_alike(explained: Measurement, level: int) -> None:
    rng = np.random.default_rng(1)
    pattern = np.clip(level + rng.normal(0, 20, (*explained.grid.shape, 1)), 0, 255).astype(np.uint8)
    shot = replace(explained.shots[1], floor_view=np.repeat(pattern, 3, axis=2))
    image = draw_reach(shot, _bare(explained))
    reached, never = (_part(image, explained.grid, x, y) for x, y in ((50, 60), (50, 35)))
    assert 150 < reached.mean() < 240
    assert distances(reached.mean(axis=0), np.median(never, axis=0))[0, 0] > 15


def test_the_caption_tells_reach_and_pickup_there(explained: Measurement, captions: list[Caption]) -> None:
    draw_reach(explained.shots[1], explained)
    assert captions[0].title == "Reached: 88 % (85 to 90 %) of the debris"
    assert captions[0].figures.startswith(
        "Picked up of what was reached: 56 % (54 to 57 %). Where the machine acted \N{EN DASH} after (pass 1)"
    )
    words = [entry.text for entry in captions[0].legend]
    assert words[:3] == [
        "reached",
        "not reached: width of a strip, elsewhere share of the leftovers",
        "cannot be told: too little debris lay there",
    ]


def test_a_pickup_that_cannot_be_is_not_told(explained: Measurement, captions: list[Caption]) -> None:
    why = explained.left.why(1)
    assert why is not None
    assert why.reach is not None
    whole = replace(why.reach.zones["patch"], pickup_percent=126.0, pickup_interval95=(117.0, 137.0))
    run = _bare(explained, replace(why.reach, zones={"patch": whole}))
    draw_reach(run.shots[1], run)
    assert captions[0].title == "Reached: 88 % (85 to 90 %) of the debris"
    assert captions[0].figures.startswith("Where the machine acted")


def test_the_legend_names_only_what_is_shown(explained: Measurement, captions: list[Caption]) -> None:
    run = _bare(explained, Reach({}, FloorGrid(5.0, 5.0, 10.0, 8, 10), np.ones((8, 10), np.float32), 1.0))
    draw_reach(run.shots[1], run)
    words = [entry.text for entry in captions[0].legend]
    assert words == ["reached", "not reached", "border of the patch", "border of a zone"]
    assert captions[0].title == "How much of the debris was reached cannot be told."


def test_a_pass_without_reach_is_refused(explained: Measurement, run: Measurement) -> None:
    why = explained.left.why(1)
    assert why is not None
    for made, shot in ((run, run.shots[1]), (explained, explained.shots[0])):
        with pytest.raises(ValueError, match="has no reach to draw"):
            draw_reach(shot, made)
    with pytest.raises(ValueError, match="'after' has no reach to draw"):
        draw_reach(explained.shots[1], _with(explained, replace(why, reach=None)))


def test_a_strip_is_not_reached_though_the_grains_near_by_tell_otherwise(explained: Measurement) -> None:
    """The fixture's strip lies along y = 35, 10 mm wide; a map that calls all floor reached gives way to it."""
    why = explained.left.why(1)
    assert why is not None and why.reach is not None and why.lanes is not None
    everywhere = replace(why.reach, map=np.ones(why.reach.grid.shape, np.float32))
    image = draw_reach(explained.shots[1], _with(explained, replace(why, reach=everywhere, missed=())))
    strip, beside = (_part(image, explained.grid, x, y, 2.0) for x, y in ((30, 35), (50, 60)))
    assert beside.std(axis=0).max() < 1
    assert strip.std(axis=0).max() > 20


def test_a_doubtful_reach_and_strips_too_narrow_to_be_seen_are_told(
    explained: Measurement, captions: list[Caption]
) -> None:
    why = explained.left.why(1)
    assert why is not None and why.reach is not None
    run = _bare(explained, replace(why.reach, trust="doubtful", why="no pea was found", spacing_mm=41.2))
    draw_reach(run.shots[1], run)
    assert captions[0].figures.startswith("Doubtful: no pea was found. Picked up")
    assert "Strips narrower than 41 mm may go unseen." in captions[0].figures
