from itertools import chain, combinations
from pathlib import Path

import numpy as np
import pytest

from debriscount.errors import PatchLayoutError
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.check_layout import MOST_SWAY, layout_faults, sway
from debriscount.layout.lay_room import lay_room
from debriscount.layout.paper import largest_side_mm

SIDES = ("top", "right", "bottom", "left")
WALLS = list(chain.from_iterable(combinations(SIDES, n) for n in range(5)))


@pytest.mark.parametrize("walls", WALLS)
@pytest.mark.parametrize("size", [(1500, 1200), (4000, 3000), (6000, 5000)])
def test_squares_suit_every_room(tmp_path: Path, walls: tuple[str, ...], size: tuple[int, int]) -> None:
    patch = lay_room(*size, walls)
    assert layout_faults(patch, megapixels=None) == ()
    assert sway(patch) <= MOST_SWAY
    file = tmp_path / "room.toml"
    file.write_text(patch_toml(patch), encoding="utf-8")
    assert read_patch(file) == patch
    # Only where walls leave no floor outside does any paper hide floor, and then the file says so.
    assert bool(patch.not_floor) == (len(walls) >= 3)


def test_squares_are_as_large_as_the_paper_takes() -> None:
    sides = {paper: lay_room(4000, 3000, paper=paper).markers[0].side_mm for paper in ("a4", "a3")}
    assert sides == {"a4": 130.0, "a3": 190.0}
    assert all(side <= largest_side_mm(paper) for paper, side in sides.items())


def test_a_side_without_a_wall_has_a_square_every_metre_and_a_half() -> None:
    centers = np.array([marker.center_mm for marker in lay_room(6000, 5000).markers])
    top = np.sort(centers[centers[:, 1] < 0, 0])
    assert np.diff(top).max() < 1700


@pytest.mark.parametrize(
    ("size", "walls", "words"),
    [((900, 3000), (), "from 1 to 6 m"), ((6100, 3000), (), "from 1 to 6 m"), ((3000, 2000), ("north",), "unknown")],
)
def test_a_room_that_cannot_be_is_refused(size: tuple[int, int], walls: tuple[str, ...], words: str) -> None:
    with pytest.raises(PatchLayoutError, match=words):
        lay_room(*size, walls)
