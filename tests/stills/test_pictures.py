import numpy as np
import pytest

from debriscount.report.palette import DARK
from debriscount.stills.bars import BAR, Bar, draw_bars
from debriscount.stills.beside import draw_beside
from debriscount.stills.frame import Frame
from debriscount.stills.pictures import run_stills, shot_words
from debriscount.stills.views import RunViews, fitted

FRAME = Frame(960, 540)


def test_every_pass_has_its_stills(views: RunViews) -> None:
    names = list(run_stills(views, FRAME))
    assert names[0] == "before"
    for shot in ("after", "after2"):
        for what in ("", "leftovers-", "marks-", "zones-", "bars-"):
            assert f"{what}{shot}" in names


@pytest.mark.parametrize(("width", "height"), [(960, 540), (540, 960), (600, 600)])
@pytest.mark.parametrize("text", [True, False])
def test_stills_are_as_large_as_asked_for(views: RunViews, width: int, height: int, text: bool) -> None:
    for name, draw in run_stills(views, Frame(width, height), text=text).items():
        image = draw()
        assert image.shape[:2] == (height, width), name
        assert image.dtype == np.uint8
        assert image.shape[2] == (3 if text and not name.startswith("marks-") else 4)


def test_nothing_lies_on_what_a_screen_may_cover(views: RunViews, doubtful: RunViews) -> None:
    safe = FRAME.safe
    for run in (views, doubtful):
        for name, draw in run_stills(run, FRAME).items():
            image = draw()[..., :3].copy() if not name.startswith("marks-") else draw()[..., 3:].copy()
            ground = 0 if name.startswith("marks-") else DARK
            image[safe.top : safe.bottom, safe.left : safe.right] = ground
            assert (image == ground).all(), name


def test_before_shows_the_floor_view_and_no_mark(views: RunViews) -> None:
    image = run_stills(views, FRAME)["before"]()
    canvas, (left, top) = fitted(views.floor("before"), views, FRAME.parted()[0])
    height, width = canvas.image.shape[:2]
    np.testing.assert_array_equal(image[top : top + height, left : left + width], canvas.image)


def test_marks_alone_lie_where_they_lie_on_the_picture(views: RunViews) -> None:
    stills = run_stills(views, FRAME, text=False)
    marks, plain, marked = (stills[f"{what}after"]().astype(float) for what in ("marks-", "", "leftovers-"))
    opacity = marks[..., 3:] / 255
    assert 0 < (opacity > 0).mean() < 0.2
    over = opacity * marks[..., :3] + (1 - opacity) * plain[..., :3]
    shown = plain[..., 3] > 0
    assert np.abs(over - marked[..., :3])[shown].max() <= 4


def test_words_say_what_the_record_says(views: RunViews, doubtful: RunViews) -> None:
    said = " ".join(line.text for line in shot_words(views, "after2"))
    figure = views.run.figures.passes[1].zones["patch"]
    assert "After pass 2" in said
    assert figure.pickup_percent is not None and f"{figure.pickup_percent:.1f} %" in said
    told = " ".join(line.text for line in shot_words(doubtful, "after"))
    assert "doubtful: the light differs by 12 %" in told and "After pass" not in told


def test_a_bar_ends_at_the_pickup(views: RunViews) -> None:
    def bar(percent: float, doubtful: bool = False) -> Bar:
        return Bar(value=percent, interval95=None, words=f"{percent} %", doubtful=doubtful)

    def share(percent: float, doubtful: bool = False) -> float:
        image = draw_bars(FRAME, "", "", {"zone": bar(percent, doubtful), "whole": bar(100.0)})
        long = (image == BAR).all(axis=2).sum(axis=1)
        return float(long[long > 0][0] / long.max())

    assert share(50.0) == pytest.approx(0.5, abs=0.01)
    assert share(25.0) == pytest.approx(0.25, abs=0.01)
    assert share(50.0, True) < 0.35
    assert not (draw_bars(FRAME, "", "", {"zone": bar(-20.0)}) == BAR).all(axis=2).any()


def test_machines_stand_beside_each_other_at_any_shape(views: RunViews, doubtful: RunViews) -> None:
    for size in ((960, 540), (540, 960)):
        for text in (True, False):
            image = draw_beside(Frame(*size), [views, doubtful, views], text=text)
            assert image.shape == (size[1], size[0], 3 if text else 4)
    wide, high = (
        draw_beside(Frame(*size), [views, doubtful], text=False)[..., 3] > 0 for size in ((960, 540), (540, 960))
    )
    assert wide[:, :480].any() and wide[:, 480:].any()
    assert high[:480].any() and high[480:].any()
