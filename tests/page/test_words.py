import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.page.sources import Sources
from debriscount.page.words import run_words, split_parts


@given(never=st.floats(0, 100), share=st.floats(0, 1))
def test_parts_of_what_stayed_are_whole_and_sum_to_100(never: float, share: float) -> None:
    lying = (100 - never) * share
    parts = split_parts(
        {"never_reached_percent": never, "left_lying_percent": lying, "moved_percent": 100 - never - lying}
    )
    assert sum(part.percent for part in parts) == 100
    assert [part.x for part in parts] == [0, parts[0].percent, parts[0].percent + parts[1].percent]
    for part, exact in zip(parts, (never, lying, 100 - never - lying), strict=True):
        assert part.percent == pytest.approx(exact, abs=1)


def test_a_run_is_told_zone_by_zone_and_why_the_rest_stayed(sources: Sources) -> None:
    words = run_words(sources.runs[0])
    assert words.verdict.startswith("Picked up 50.0 % (48.0 to 52.5)")
    first = words.passes[0]
    assert [(row.zone, row.pickup) for row in first.rows][:3] == [
        ("Whole patch", "50.0 %"),
        ("Open floor", "50.0 %"),
        ("Along the wall", "-100.0 %"),
    ]
    assert [(part.words, part.percent) for part in first.split] == [
        ("never reached", 50),
        ("reached and left lying", 25),
        ("moved and left", 25),
    ]
    # What the split says already is no remark on it.
    assert not any("moved but not picked up" in remark for remark in first.remarks)
    assert [wall.wall for wall in first.walls] == ["top"]


def test_doubtful_figures_say_so_with_their_reason(sources: Sources) -> None:
    words = run_words(sources.runs[1])
    assert words.trust == "doubtful"
    row = words.passes[0].rows[0]
    assert (row.trust, row.why) == ("doubtful", "the light differs by 12 %")
