import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.page.charts import Figure, Group, axis, dot_chart, wall_chart
from debriscount.report.rounding import UNKNOWN

PERCENTS = st.lists(st.floats(-200, 100), min_size=1, max_size=20)


@given(values=PERCENTS)
def test_an_axis_holds_its_values_and_ends_at_100(values: list[float]) -> None:
    scale = axis(values)
    assert scale.low <= min(values) and max(values) <= scale.high <= 100
    assert 2 <= len(scale.ticks) <= 8
    assert [at for at, _ in scale.ticks] == sorted({at for at, _ in scale.ticks})
    for at, label in scale.ticks:
        assert scale.at(float(label)) == pytest.approx(at, abs=0.02)


def test_an_axis_has_round_ticks() -> None:
    assert [label for _, label in axis([72.3, 88.0]).ticks] == ["70", "75", "80", "85", "90"]
    assert [label for _, label in axis([99.7]).ticks][-1] == "100"


def test_dots_lie_in_lines_below_the_mean_of_their_group() -> None:
    figures = tuple(Figure(words=str(n), value=80.0 + n, interval95=(79.0 + n, 81.0 + n)) for n in range(3))
    chart = dot_chart(
        "pickup",
        [Group(label="A", figures=figures, mean=Figure(words="mean", value=81.0)), Group(label="B", figures=())],
    )
    assert chart is not None
    (row,) = chart.rows
    assert row.mean is not None
    assert row.mean.y < row.dots[0].y < row.dots[1].y < row.dots[2].y < row.height
    assert row.dots[0].low is not None and row.dots[0].high is not None
    assert row.dots[0].low < row.dots[0].x < row.dots[0].high
    assert row.dots[0].x < row.mean.x == row.dots[1].x
    assert dot_chart("pickup", [Group(label="B", figures=())]) is None


def test_steps_along_a_wall_show_what_was_picked_up() -> None:
    pickups = [(50.0, (40.0, 65.0)), (None, None), (90.0, None)]
    chart = wall_chart("top", [0.0, 10.0, 20.0, 40.0], pickups, 80.0)
    assert chart is not None
    assert [(bin_.x, bin_.width) for bin_ in chart.bins] == [(0.0, 25.0), (25.0, 25.0), (50.0, 50.0)]
    assert [(bin_.y, bin_.top, bin_.height, bin_.words) for bin_ in chart.bins] == [
        (50.0, 35.0, 25.0, "50 % (40 to 65 %)"),
        (None, None, None, UNKNOWN),
        (10.0, None, None, "90 %"),
    ]
    assert (chart.open_y, chart.open_words) == (20.0, "80 %")
    assert wall_chart("top", [0.0, 10.0], [(None, None)], None) is None


def test_what_was_pushed_in_lies_below_nothing_and_within_the_chart() -> None:
    chart = wall_chart("left", [0.0, 10.0, 20.0], [(-20.0, (-400.0, 10.0)), (90.0, None)], None)
    assert chart is not None
    pushed, other = chart.bins
    assert pushed.words.startswith("-20 %")
    assert pushed.y is not None and other.y is not None and pushed.top is not None and pushed.height is not None
    assert other.y < pushed.y < 100
    assert pushed.top + pushed.height == pytest.approx(100)
