from dataclasses import replace

import numpy as np
import pytest

from debriscount.leftovers.records import Lanes, MissedPlace, Strip, WhyLeft
from debriscount.report.canvas import Canvas, floor_canvas
from debriscount.report.unreached import draw_unreached, outlines_mm, unreached_entry
from debriscount.run.records import Measurement

#: No debris on the canvas.
NOTHING = np.zeros((1000, 1200), bool)
STROKES = ((16, 16, 16), (255, 255, 255))


@pytest.fixture
def why(explained: Measurement) -> WhyLeft:
    found = explained.left.why(1)
    assert found is not None
    return found


@pytest.fixture
def canvas(run: Measurement) -> Canvas:
    return floor_canvas(replace(run.shots[0], floor_view=np.full((*run.grid.shape, 3), 150, np.uint8)), run)


def _area(corners: np.ndarray) -> float:
    x, y = corners.T
    return float(abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) / 2)


def test_strips_end_at_the_patchs_borders_and_bear_their_widths(run: Measurement, why: WhyLeft) -> None:
    (strip, width), (place, share) = outlines_mm(why, run.patch)
    assert (width, share) == ("10 mm", "50 %")
    assert _area(strip) == pytest.approx(1000.0)  # 100 mm of patch by 10 mm
    assert strip.min() >= 0
    assert strip.max() <= 100
    assert place.tolist() == [[60.0, 55.0], [80.0, 55.0], [75.0, 70.0]]


def test_a_slanting_strip_is_as_wide_as_it_was_found(run: Measurement, why: WhyLeft) -> None:
    slanting = Strip(
        ends_mm=((20.0, 20.0), (60.0, 50.0)), width_mm=8.0, width_u_mm=0.5, straight_mm=None, share_percent=30.0
    )
    lanes = replace(
        why.lanes
        or Lanes(
            heading_deg=0,
            heading_u_deg=0,
            pitch_mm=None,
            pitch_u_mm=None,
            strip_mm=8,
            strip_u_mm=1,
            lanes=2,
            straight_mm=None,
            strips=(),
            share_percent=0,
        ),
        strips=(slanting,),
    )
    (corners, _), *_ = outlines_mm(replace(why, lanes=lanes), run.patch)
    assert _area(corners) == pytest.approx(50.0 * 8.0, rel=1e-5)  # 3-4-5 triangle: 50 mm long


def test_missed_strips_are_told_where_no_lanes_are(run: Measurement, why: WhyLeft) -> None:
    labels = [text for _, text in outlines_mm(replace(why, lanes=None), run.patch)]
    assert labels == ["50 %", "30 %"]
    small = replace(
        why,
        missed=(
            MissedPlace(
                what="place",
                polygon_mm=((1.0, 1.0), (9.0, 1.0), (9.0, 9.0)),
                area_mm2=32.0,
                left_mm2=1.0,
                share_percent=4.44,
            ),
        ),
    )
    assert outlines_mm(small, run.patch)[1][1] == "4.4 %"


def test_places_in_which_next_to_nothing_is_left(run: Measurement, why: WhyLeft) -> None:
    places = tuple(replace(why.missed[0], share_percent=share) for share in (0.0, 0.03, 100.0))
    labels = [text for _, text in outlines_mm(replace(why, lanes=None, missed=places), run.patch)]
    assert labels == ["< 0.1 %", "100 %"]


def test_a_strip_beside_the_patch_or_without_length_is_not_drawn(run: Measurement, why: WhyLeft) -> None:
    strips = (
        Strip(
            ends_mm=((-50.0, -30.0), (50.0, -30.0)), width_mm=10.0, width_u_mm=1.0, straight_mm=None, share_percent=1.0
        ),
        Strip(ends_mm=((50.0, 30.0), (50.0, 30.0)), width_mm=10.0, width_u_mm=1.0, straight_mm=None, share_percent=1.0),
    )
    lanes = replace(
        why.lanes
        or Lanes(
            heading_deg=0,
            heading_u_deg=0,
            pitch_mm=None,
            pitch_u_mm=None,
            strip_mm=8,
            strip_u_mm=1,
            lanes=2,
            straight_mm=None,
            strips=(),
            share_percent=0,
        ),
        strips=strips,
    )
    assert [text for _, text in outlines_mm(replace(why, lanes=lanes, missed=()), run.patch)] == []


def test_the_outline_has_teeth_on_its_inside_alone(canvas: Canvas) -> None:
    box = np.array([[20.0, 20.0], [80.0, 20.0], [80.0, 60.0], [20.0, 60.0]])
    for corners in (box, box[::-1]):  # whichever way round
        canvas.image[:] = 150
        draw_unreached(canvas, [(corners, "9 %")], NOTHING, STROKES)
        row = round(float(canvas.to_px(np.array([[50.0, 60.0]]))[0, 1]))
        left, right = (round(float(v)) for v in canvas.to_px(np.array([[25.0, 0], [75.0, 0]]))[:, 0])
        inside = (canvas.image[row - 6, left:right] != 150).any(axis=1)
        outside = (canvas.image[row + 6, left:right] != 150).any(axis=1)
        # Outside there may be the label, of less than a tenth of this length.
        assert outside.mean() < 0.1 < inside.mean() < 0.6


def test_labels_keep_off_grains_where_there_is_room(canvas: Canvas) -> None:
    strip = np.array([[0.0, 35.0], [100.0, 35.0], [100.0, 45.0], [0.0, 45.0]])
    rng = np.random.default_rng(3)
    above = canvas.to_px(rng.uniform((0, 0), (100, 34), (3000, 2)))
    taken = NOTHING.copy()
    taken[above[:, 1].astype(int), above[:, 0].astype(int)] = True
    draw_unreached(canvas, [(strip, "10 mm")], taken, STROKES)
    top, bottom = (round(float(v)) for v in canvas.to_px(np.array([[0, 35.0], [0, 45.0]]))[:, 1])
    end = round(float(canvas.to_px(np.array([[100.0, 0]]))[0, 0]))
    changed = (canvas.image != 150).any(axis=2)
    assert not changed[: top - 6, :end].any()
    assert changed[bottom + 6 :].any() or changed[:, end + 6 :].any()


def test_outlines_beyond_the_picture_are_drawn_at_its_rim(canvas: Canvas) -> None:
    draw_unreached(
        canvas, [(np.array([[-900.0, -900], [900, -900], [900, 900], [-900, 900]]), "9 %")], NOTHING, STROKES
    )
    assert (canvas.image[2] == STROKES[0]).all(axis=-1).mean() > 0.9


def test_nothing_unreached_leaves_the_picture_as_it_was(canvas: Canvas) -> None:
    draw_unreached(canvas, [], NOTHING, STROKES)
    assert (canvas.image == 150).all()


def test_the_legend_says_what_the_labels_are(run: Measurement, why: WhyLeft) -> None:
    def words(why: WhyLeft) -> str:
        return unreached_entry(outlines_mm(why, run.patch), (150, 150, 148), 24).text

    assert words(why) == "never reached: width of a strip, elsewhere share of the leftovers"
    assert words(replace(why, missed=())) == "never reached: width of a strip"
    assert words(replace(why, lanes=None)) == "never reached: share of the leftovers"


def test_the_sample_lies_in_its_box() -> None:
    image = np.full((60, 100, 3), 250, np.uint8)
    unreached_entry([], (150, 150, 148), 24).paint(image, 20, 15, 60, 24)
    image[15:39, 20:80] = 250
    assert (image == 250).all()


def test_labels_of_small_round_places_side_by_side_do_not_hide_one_another(
    canvas: Canvas, monkeypatch: pytest.MonkeyPatch
) -> None:
    boxes: list[tuple[int, int, int, int]] = []

    def noted(_image: object, _text: str, corner: tuple[int, int], size: tuple[int, int], _font: int) -> None:
        boxes.append((*corner, *size))

    monkeypatch.setattr("debriscount.report.unreached.draw_label", noted)
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    places = [np.column_stack([x + np.cos(turn), 40 + np.sin(turn)]) for x in (40.0, 42.5, 45.0)]
    draw_unreached(canvas, [(place, "0.4 %") for place in places], NOTHING, STROKES)
    for n, (left, top, wide, high) in enumerate(boxes):
        for other_left, other_top, _, _ in boxes[:n]:
            assert abs(left - other_left) >= wide or abs(top - other_top) >= high
