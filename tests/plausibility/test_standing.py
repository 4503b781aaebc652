from dataclasses import replace

import numpy as np
import pytest

from debriscount.inputs.patch import NotFloor, Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.plausibility.foreign import CellViews
from debriscount.plausibility.standing import standing_flags
from debriscount.registration.grid import FloorGrid

ROOM = lay_patch(2000, 1500)
GRID = FloorGrid(-50.0, -50.0, 5.0, 320, 420)
#: The same raster in cells of two by two pixels.
THING = (slice(50, 90), slice(100, 160))


def views(*things: bool) -> CellViews:
    """Floor of two shots in an even slope of light; ``things`` says which of them show a dark thing."""
    rng = np.random.default_rng(0)
    slope = np.linspace(0.2, 0.35, 210)[None, :, None]
    made = {}
    for name, thing in zip(("before", "after"), things, strict=True):
        floor = (slope * np.exp(0.05 * rng.standard_normal((160, 210, 3)))).astype(np.float32)
        if thing:
            floor[THING] = 0.05
        made[name] = floor
    return CellViews(made, 2)


def test_a_thing_in_all_shots_is_proposed_with_its_polygon() -> None:
    (flag,) = standing_flags(views(True, True), GRID, ROOM)
    assert flag.severity == "note"
    assert "[[not_floor]]" in flag.sentence
    # Cells are 10 mm wide and begin at -52.5 mm.
    words = flag.sentence.split("x = ")[1].split(" mm")[0].replace(",", "").split()
    assert float(words[0]) == pytest.approx(1247.5, abs=40)
    assert float(words[3]) == pytest.approx(647.5, abs=40)


@pytest.mark.parametrize("things", [(False, False), (True, False), (False, True)])
def test_what_one_shot_alone_shows_is_not_proposed(things: tuple[bool, bool]) -> None:
    assert standing_flags(views(*things), GRID, ROOM) == []


def test_what_the_patch_file_says_already_and_what_is_no_room_is_not_told() -> None:
    known = NotFloor("cupboard", ((900.0, 400.0), (1600.0, 400.0), (1600.0, 900.0), (900.0, 900.0)))
    assert standing_flags(views(True, True), GRID, replace(ROOM, not_floor=(known,))) == []
    small: Patch = lay_patch(1000, 700)
    assert standing_flags(views(True, True), GRID, small) == []
