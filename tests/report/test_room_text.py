"""What the terminal says of a room."""

from dataclasses import replace

from debriscount.layout.lay_patch import lay_patch
from debriscount.report.room_text import room_block
from debriscount.run.records import Measurement


def test_a_doubtful_reach_says_why_and_places_at_the_turns_are_named(explained: Measurement) -> None:
    why, room = explained.left.why(1), lay_patch(3000, 2000)
    assert why is not None and why.reach is not None
    missed = tuple(replace(place, at_turns=place.what == "place") for place in why.missed)
    doubtful = replace(why.reach, trust="doubtful", why="no pea was found")
    (text,) = room_block(replace(why, reach=doubtful, missed=missed), None, room)
    assert "Doubtful: no pea was found." in text
    assert "place at the turns" in text
    (text,) = room_block(why, None, room)
    assert "Doubtful" not in text
    assert "turns" not in text
