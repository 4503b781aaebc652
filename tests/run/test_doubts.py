"""What the photos of a run leave open of its debris, on numbers made up by hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from debriscount.cover.kinds import KindHint
from debriscount.grains.table import GrainTable
from debriscount.registration.grid import FloorGrid
from debriscount.registration.register import RegisteredShots
from debriscount.run.measure import _doubts, _without


def test_floor_that_cannot_be_judged_and_floor_left_out_both_hide_debris() -> None:
    """Of the one kind a fifth is not judged, of the other nothing; a tenth of the patch is left out for both."""
    maps: Any = SimpleNamespace(
        shots={"before": SimpleNamespace(widest_sigma=0.0)}, doubt_px=30.0, blind_share=(0.2, 0.0)
    )
    hints = [KindHint(np.full(3, 0.2), (8.0, 12.0)), KindHint(np.full(3, 0.4), (8.0, 12.0))]
    places = np.zeros(4)
    # Three quarters of the area are the first kind's.
    before = GrainTable(np.array([0, 0, 0, 1], np.int16), places, places, np.full(4, 5.0), np.zeros(4, np.int8))
    found = _doubts(maps, before, hints, 0.5, left_out=0.1)
    assert [found[kind].blind_share for kind in (0, 1, None)] == pytest.approx([0.28, 0.1, 0.75 * 0.28 + 0.25 * 0.1])
    assert [found[kind].faint_share for kind in (0, 1, None)] == [0, 0, 0]
    assert {doubts.still_mm2 for doubts in found.values()} == {7.5}


def test_no_shot_is_judged_where_a_foreign_thing_hides_the_floor() -> None:
    """By hand: 2 of the 8 places that are seen and strewn; where nothing is seen, nothing more is lost."""
    everywhere, seen, strewn, thing = (
        np.ones((4, 4), bool),
        np.ones((4, 4), bool),
        np.zeros((4, 4), bool),
        np.zeros((4, 4), bool),
    )
    seen[0] = False
    strewn[:, :3] = True
    seen[3, 0] = False
    thing[0:3, 1] = True
    registered = RegisteredShots(
        grid=FloorGrid(0, 0, 1, 4, 4), views={}, shown=everywhere, usable=seen, markers_seen={}, residual_mm={},
        likeness={}, warnings=(),
    )  # fmt: skip
    foreign: Any = SimpleNamespace(mask=thing)
    found, share = _without(registered, [foreign], strewn)
    assert share == pytest.approx(2 / 8)
    np.testing.assert_array_equal(found.usable, seen & ~thing)
    np.testing.assert_array_equal(found.shown, ~thing)
