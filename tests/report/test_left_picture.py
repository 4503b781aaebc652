from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.grains.table import GrainTable
from debriscount.leftovers.records import WhyLeft
from debriscount.registration.grid import FloorGrid
from debriscount.report.canvas import marking_colors
from debriscount.report.caption import PAPER, Caption
from debriscount.report.left_picture import draw_leftovers
from debriscount.report.pictures import drop_beyond_margin
from debriscount.run.records import MeasuredShot, Measurement

Color = tuple[int, int, int]


def _why(run: Measurement) -> WhyLeft:
    why = run.left.why(1)
    assert why is not None
    return why


def _with(run: Measurement, why: WhyLeft, shot: MeasuredShot | None = None) -> Measurement:
    after = shot or run.shots[1]
    return replace(
        run, left=replace(run.left, passes=(why, *run.left.passes[1:])), shots=(run.shots[0], after, *run.shots[2:])
    )


def _near(image: NDArray[np.uint8], grid: FloorGrid, x_mm: float, y_mm: float, color: Color, mm: float = 4.5) -> int:
    """How many pixels of a colour lie about a place."""
    column, row = np.rint(grid.to_px(np.array([x_mm, y_mm]))).astype(int)
    reach = round(mm / grid.mm_per_px)
    part = image[max(0, row - reach) : row + reach, max(0, column - reach) : column + reach]
    return int((part == color).all(axis=-1).sum())


def _many(run: Measurement, number: int) -> Measurement:
    """The run with so many grains of the first kind left on open floor, the right half of them shifted."""
    rng = np.random.default_rng(5)
    x, y = rng.uniform((25, 25), (95, 75), (number, 2)).T
    grains = GrainTable(np.zeros(number, np.int16), x, y, np.full(number, 0.04), run.patch.zone_codes(x, y))
    kind_map = np.zeros_like(run.shots[1].kind_map)
    column, row = np.rint(run.grid.to_px(np.column_stack([x, y]))).astype(int).T
    kind_map[row, column] = 1
    why = replace(
        _why(run), untouched=(x < 60).astype(float), way_mm=np.full((number, 2), np.nan), lanes=None, missed=()
    )
    return _with(run, why, replace(run.shots[1], grains=grains, kind_map=kind_map))


def test_untouched_debris_is_ringed_and_shifted_debris_crossed(explained: Measurement) -> None:
    image = draw_leftovers(explained.shots[1], explained)
    (ring, cross), _ = marking_colors(explained, 2)
    grid = explained.grid
    # Grains of the first kind as they lie in AFTER; fates are those of the fixture.
    assert _near(image, grid, 50, 5, ring) > 100
    assert _near(image, grid, 50, 5, cross) == 0
    assert _near(image, grid, 60, 5, cross) > 50
    assert _near(image, grid, 60, 5, ring) == 0
    assert _near(image, grid, 70, 60, ring) > 100


def test_a_line_runs_to_what_was_moved_from_where_some_was_lost(explained: Measurement) -> None:
    """The grain at (60, 5) came from 3 mm to the right and 4 mm below."""
    image = draw_leftovers(explained.shots[1], explained)
    still = replace(_why(explained), way_mm=np.full((4, 2), np.nan))
    plain = draw_leftovers(explained.shots[1], _with(explained, still))
    changed = (image != plain).any(axis=-1)
    scale = image.shape[1] / explained.grid.width_px
    rows, columns = np.nonzero(changed)
    ends = explained.grid.to_px(np.array([[60.0, 5.0], [63.0, 9.0]])) * scale
    low, high = ends.min(axis=0) - 4, ends.max(axis=0) + 4
    assert changed.any()
    assert columns.min() >= low[0] and columns.max() <= high[0]
    assert rows.min() >= low[1] and rows.max() <= high[1]


def test_a_share_of_one_half_counts_as_untouched(explained: Measurement) -> None:
    why = replace(_why(explained), untouched=np.array([0.5, 0.499, 1.0, 0.0]))
    image = draw_leftovers(explained.shots[1], _with(explained, why))
    (ring, cross), _ = marking_colors(explained, 2)
    assert _near(image, explained.grid, 50, 5, ring) > 100
    assert _near(image, explained.grid, 60, 5, cross) > 50


def test_what_is_the_floors_own_gets_no_mark(explained: Measurement) -> None:
    why = replace(_why(explained), untouched=np.array([np.nan, 0.0, 1.0, np.nan]))
    image = draw_leftovers(explained.shots[1], _with(explained, why))
    (ring, cross), _ = marking_colors(explained, 2)
    assert _near(image, explained.grid, 50, 5, ring) + _near(image, explained.grid, 50, 5, cross) == 0


def test_kinds_that_are_not_matched_are_outlined(explained: Measurement, captions: list[Caption]) -> None:
    draw_leftovers(explained.shots[1], explained)
    words = [entry.text for entry in captions[0].legend]
    assert words[:5] == [
        "untouched: lies where it lay before",
        "shifted: moved, not picked up",
        "moved from there or from farther",
        '"fine" sand, outlined: untouched',
        '"fine" sand, outlined: shifted',
    ]


def test_grains_too_many_for_marks_are_outlined(explained: Measurement, captions: list[Caption]) -> None:
    few, many = _many(explained, 30), _many(explained, 20_000)
    for run in (few, many):
        draw_leftovers(run.shots[1], run)
    assert captions[0].legend[0].text.startswith("untouched")
    assert captions[1].legend[0].text == "rote Linsen, groß, outlined: untouched"


def test_outlines_show_what_was_moved(explained: Measurement) -> None:
    run = _many(explained, 20_000)
    image = draw_leftovers(run.shots[1], run)
    (stayed, moved), _ = marking_colors(run, 2)
    left, right = (_near(image, run.grid, x, 50, stayed, 12) for x in (42, 78))
    assert left > 20 * max(right, 1)
    assert _near(image, run.grid, 78, 50, moved, 12) > 10 * max(_near(image, run.grid, 42, 50, moved, 12), 1)


def test_nothing_lies_over_debris(explained: Measurement) -> None:
    """Where debris was found the picture is the photo's, whatever marks, borders and labels there are."""
    for run in (explained, _many(explained, 30), _many(explained, 3_000)):
        shot = run.shots[1]
        image = draw_leftovers(shot, run)
        assert image.shape[1] == run.grid.width_px  # a pixel is one of the floor view's
        debris = shot.kind_map > 0
        drop_beyond_margin(debris.view(np.uint8), run.patch, run.grid)
        assert debris.any()
        assert (image[: run.grid.height_px][debris] == shot.floor_view[debris]).all()


def test_a_ring_goes_round_the_whole_of_a_long_grain(explained: Measurement) -> None:
    """A grain of 8 by 2 mm, whose circle of equal area would have a radius of 2 mm."""
    shot = explained.shots[1]
    kind_map, grains = np.zeros_like(shot.kind_map), shot.grains.take(np.array([2]))
    column, row = np.rint(explained.grid.to_px(np.array([70.0, 60.0]))).astype(int)
    kind_map[row - 10 : row + 10, column - 40 : column + 40] = 1
    why = replace(_why(explained), untouched=np.ones(1), way_mm=np.full((1, 2), np.nan), lanes=None, missed=())
    run = _with(explained, why, replace(shot, kind_map=kind_map, grains=grains))
    (ring, _), _ = marking_colors(run, 2)
    image = draw_leftovers(run.shots[1], run)
    rows, columns = np.nonzero((image[:1000] == ring).all(axis=-1))
    assert 38 < np.hypot(rows - row, columns - column).min() < 50


def test_the_caption_tells_the_shares(explained: Measurement, captions: list[Caption]) -> None:
    draw_leftovers(explained.shots[1], explained)
    assert captions[0].title == 'What stayed \N{EN DASH} after (pass 1) \N{EN DASH} Küche "links", hinten'
    assert captions[0].figures == (
        "Left in the patch: 25.1 mm², 4 grains; untouched 75.1 % (70.0 to 80.0 %), shifted 24.9 %"
    )
    assert "never reached: width of a strip, elsewhere share of the leftovers" in [e.text for e in captions[0].legend]


def test_unknown_shares_are_not_told(explained: Measurement, captions: list[Caption]) -> None:
    zones = {"patch": replace(_why(explained).leftovers.zones["corner"])}
    why = replace(_why(explained), leftovers=replace(_why(explained).leftovers, zones=zones), lanes=None, missed=())
    draw_leftovers(explained.shots[1], _with(explained, why))
    assert captions[0].figures == "Left in the patch: 25.1 mm², 4 grains"
    assert not any("never reached" in entry.text for entry in captions[0].legend)


def test_large_views_are_reduced_and_small_ones_enlarged(explained: Measurement) -> None:
    for width, height in ((3000, 2500), (300, 250)):
        grid = replace(explained.grid, width_px=width, height_px=height, mm_per_px=120 / width)
        shot = replace(
            explained.shots[1],
            floor_view=np.full((height, width, 3), 150, np.uint8),
            kind_map=np.zeros((height, width), np.uint8),
        )
        image = draw_leftovers(shot, replace(explained, grid=grid))
        assert image.shape[1] == (1600 if width > 1600 else 1200)
        assert (image[-3:] == PAPER).all()


def test_nothing_left_is_drawn_all_the_same(explained: Measurement) -> None:
    none = np.zeros(0)
    grains = GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8))
    shot = replace(explained.shots[1], grains=grains)
    run = _with(explained, replace(_why(explained), untouched=none, way_mm=np.zeros((0, 2))), shot)
    assert draw_leftovers(shot, run).shape[1] == 1200
    assert draw_leftovers(shot, replace(run, kinds=())).shape[1] == 1200


def test_drawing_leaves_the_measurement_as_it_was(explained: Measurement) -> None:
    view = explained.shots[1].floor_view.copy()
    draw_leftovers(explained.shots[1], explained)
    assert (explained.shots[1].floor_view == view).all()


def test_a_shot_without_a_pass_or_reason_is_refused(explained: Measurement, run: Measurement) -> None:
    with pytest.raises(ValueError, match="'before' has no leftovers to draw"):
        draw_leftovers(explained.shots[0], explained)
    with pytest.raises(ValueError, match="'after' has no leftovers to draw"):
        draw_leftovers(run.shots[1], run)
