from hypothesis import given
from hypothesis import strategies as st

from debriscount.flags import SEVERITIES, Flag, listed, remarks, said_once, sentences, worst_first


def flag(sentence: str, shot: str | None = None, severity: str = "note", code: str = "x") -> Flag:
    return Flag(code=code, severity=severity, sentence=sentence, shot=shot)  # type: ignore[arg-type]


def test_what_holds_for_several_shots_is_said_once() -> None:
    flags = [flag("marker 3 is not seen", shot) for shot in ("blank", "before", "after")]
    assert sentences(flags) == ("blank, before and after: marker 3 is not seen",)


def test_a_sentence_that_begins_with_its_shot_is_left_as_it_is() -> None:
    said = ("before.jpg shows another floor", "the blank shows 12 grains")
    assert sentences([flag(said[0], "before"), flag(said[1], "blank")]) == said
    assert sentences([flag("what lay before is gone", "after")]) == ("after: what lay before is gone",)


def test_what_holds_for_all_needs_no_shot() -> None:
    assert sentences([flag("no millet was found")]) == ("no millet was found",)


def test_the_worst_comes_first_and_one_sentence_has_its_worst_severity() -> None:
    flags = [flag("a"), flag("b", severity="unfit"), flag("a", severity="doubtful"), flag("c")]
    assert said_once(flags) == (("unfit", "b"), ("doubtful", "a"), ("note", "c"))


def test_words_are_listed_as_one_names_them() -> None:
    assert [listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == ["a", "a and b", "a, b and c"]
    assert listed(["a", "b", "c"], "or") == "a, b or c"


@given(
    st.lists(
        st.builds(flag, st.text(max_size=3), st.sampled_from(["before", "after", None]), st.sampled_from(SEVERITIES))
    )
)
def test_nothing_is_lost_and_nothing_said_twice(flags: list[Flag]) -> None:
    said = said_once(flags)
    assert len(said) == len({(f.code, f.sentence) for f in flags})
    assert [severity for severity, _ in said] == sorted((s for s, _ in said), key=SEVERITIES.index)
    assert sorted(worst_first(flags), key=repr) == sorted(flags, key=repr)


def test_a_note_is_told_from_a_warning() -> None:
    flags = [flag("a"), flag("b", severity="unfit"), flag("c", severity="doubtful")]
    assert remarks(flags) == ("Warning: b", "Warning: c", "Note: a")
