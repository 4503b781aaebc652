from collections.abc import Callable

import pytest

from debriscount_cli._timings import StageTimes


def clock_of(*readings: float) -> Callable[[], float]:
    return iter(readings).__next__


def test_each_stage_lasts_until_the_next_is_told() -> None:
    times = StageTimes(clock_of(0.0, 1.0, 3.0, 6.0, 10.0))
    times(0.0, "reading photos")
    times(0.5, "aligning")
    times(1.0, "done")
    assert [line.split() for line in times.lines()][:5] == [
        ["loading", "1.00", "s"],
        ["reading", "photos", "2.00", "s"],
        ["aligning", "3.00", "s"],
        ["writing", "4.00", "s"],
        ["in", "all", "10.00", "s"],
    ]


def test_a_stage_told_several_times_is_one_line() -> None:
    times = StageTimes(clock_of(0.0, 1.0, 2.0, 4.0))
    times(0.1, "aligning")
    times(0.2, "aligning")
    assert [line.split()[:2] for line in times.lines()][:3] == [
        ["loading", "1.00"],
        ["aligning", "3.00"],
        ["in", "all"],
    ]


def test_what_is_told_reaches_the_bar() -> None:
    told: list[tuple[float, str]] = []
    StageTimes().showing(lambda done, what: told.append((done, what)))(0.4, "aligning")
    assert told == [(0.4, "aligning")]


def test_memory_is_told_where_the_system_tells_it() -> None:
    pytest.importorskip("resource")
    label, number, unit = StageTimes().lines()[-1].rsplit(maxsplit=2)
    assert (label, unit) == ("peak memory", "MiB")
    assert float(number) > 1
