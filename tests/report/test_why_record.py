import json
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as nps

from debriscount.leftovers.records import Reach, WhyLeft
from debriscount.registration.grid import FloorGrid
from debriscount.report.record import measurement_json
from debriscount.run.records import Measurement


def _why(run: Measurement) -> WhyLeft:
    why = run.left.why(1)
    assert why is not None
    return why


def _first(run: Measurement, why: WhyLeft) -> dict[str, Any]:
    changed = replace(run, left=replace(run.left, passes=(why,)))
    passes = json.loads(json.dumps(measurement_json(changed), allow_nan=False))["passes"]
    return dict(passes[0])


def test_leftovers_keep_the_keys_of_the_contract_and_add_zones_and_kinds(explained: Measurement) -> None:
    left = measurement_json(explained)["passes"][0]["leftovers"]
    whole = {"untouched_percent": 75.1234, "shifted_percent": 24.8766, "interval95": [70.0, 80.0]}
    assert {key: left[key] for key in whole} == whole
    assert list(left["zones"]) == ["patch", "open", "edge", "corner", "rug"]
    assert left["zones"]["patch"] == {"area_mm2": 25.141, **whole}
    assert left["zones"]["corner"] == {"area_mm2": 0.0, **dict.fromkeys(whole)}
    assert left["kinds"]["rote Linsen, groß"] == {
        "matched": True,
        "least_shift_mm": 0.4,
        "chance_percent": 1.5,
        "zones": {"patch": {"area_mm2": 25.141, **whole}},
    }
    assert left["kinds"]['"fine" sand']["matched"] is False


def test_lanes_keep_the_keys_of_the_contract_and_add_their_strips(explained: Measurement) -> None:
    first, second = (p["lanes"] for p in measurement_json(explained)["passes"])
    assert second is None
    assert first == {
        "heading_deg": 0.0, "heading_u_deg": 0.3, "pitch_mm": None, "pitch_u_mm": None,
        "strip_mm": 10.0, "strip_u_mm": 0.5, "lanes": 2, "straight_mm": 1.25, "share_percent": 30.0,
        "strips": [
            {
                "ends_mm": [[-5.0, 35.0], [105.0, 35.0]], "width_mm": 10.0, "width_u_mm": 0.5,
                "straight_mm": 1.25, "share_percent": 30.0,
            }
        ],
    }  # fmt: skip


def test_what_is_rounded_up_to_a_turn_is_none(explained: Measurement) -> None:
    why = _why(explained)
    assert why.lanes is not None
    for lanes, direction, expected in ((179.996, 359.996, 0.0), (179.99, 359.99, None)):
        turned = replace(
            why,
            lanes=replace(why.lanes, heading_deg=lanes),
            scatter=replace(why.scatter, direction_deg=direction),
        )
        told = _first(explained, turned)
        assert told["lanes"]["heading_deg"] == (lanes if expected is None else expected)
        assert told["scatter"]["direction_deg"] == (direction if expected is None else expected)


def test_reach_is_told_by_zone_and_as_a_map_of_whole_percent(explained: Measurement) -> None:
    reach = measurement_json(explained)["passes"][0]["reach"]
    assert reach["told_percent"] == 97.5
    assert reach["zones"]["patch"] == {
        "reached_percent": 87.5,
        "interval95": [85.0, 90.0],
        "pickup_percent": 55.5555,
        "pickup_interval95": [54.0, 57.0],
    }
    assert set(reach["zones"]["edge"].values()) == {None}
    kept = {key: reach["map"][key] for key in ("x0_mm", "y0_mm", "mm_per_px")}
    assert kept == {"x0_mm": 5.0, "y0_mm": 5.0, "mm_per_px": 10.0}
    rows = reach["map"]["reached_percent"]
    assert rows[3] == [12] * 10
    assert rows[6] == [100] * 7 + [None] * 2 + [100]


def test_a_fine_map_is_averaged_over_blocks_of_which_half_is_told(explained: Measurement) -> None:
    fine = np.zeros((4, 100), np.float32)  # 2 x 2 pixels a block, so that no side has more than 64
    fine[:, 50:] = 1
    fine[0, 0] = 1
    fine[2:, :2] = np.nan
    fine[3, 0] = 0.5
    reach = Reach({}, FloorGrid(1.0, 2.0, 3.0, 4, 100), fine, 1.0)
    stored = _first(explained, replace(_why(explained), reach=reach))["reach"]
    assert isinstance(stored, dict)
    rows = stored["map"]["reached_percent"]
    assert (len(rows), len(rows[0])) == (2, 50)
    assert rows[0][:2] == [25, 0]  # one of four pixels reached
    assert rows[1][:2] == [None, 0]
    assert rows[0][25:] == [100] * 25
    # Worked out by hand: the middle of four pixels is half a pixel from the first one's.
    assert [stored["map"][key] for key in ("x0_mm", "y0_mm", "mm_per_px")] == [2.5, 3.5, 6.0]


def test_places_walls_scatter_and_sentences_are_told_whole(explained: Measurement) -> None:
    first = measurement_json(explained)["passes"][0]
    assert first["missed"][0] == {
        "what": "place",
        "polygon_mm": [[60.0, 55.0], [80.0, 55.0], [75.0, 70.0]],
        "area_mm2": 150.0,
        "left_mm2": 12.5,
        "share_percent": 49.9,
        "at_turns": None,
    }
    assert first["wall"]["walls"]["top"]["before_mm2"] == [12.6, 0.0, 37.7]
    assert first["wall"]["walls"]["top"]["gap_interval95"] == [7.0, 10.0]
    assert first["wall"]["corners"] == [
        {"walls": ["top", "left"], "radius_mm": None, "radius_interval95": None, "share_percent": 0.0}
    ]
    assert first["scatter"]["margin_sides"] == {"right": 80.0, "bottom": 20.0}
    assert first["scatter"]["side"] == "right"
    assert first["findings"][0] == {
        "what": "not reached",
        "share_percent": 60.0,
        "sentence": "12 % of the debris lay where the machine never went.",
    }
    assert first["findings"][-1]["share_percent"] is None


def test_what_each_pass_brought_and_one_more_may_bring(explained: Measurement, run: Measurement) -> None:
    record = measurement_json(explained)
    second = record["passes"][1]
    assert (second["of_found_percent"], second["of_found_interval95"]) == (0.1234, [-3.0, 3.0])
    assert (second["together_percent"], second["missed_again_percent"]) == (49.9877, 80.0)
    assert record["further_pass"] == {
        "together_percent": 60.0,
        "interval95": [55.0, 65.0],
        "sentence": "One more pass may bring pickup to 60 % (55 to 65 %).",
    }
    assert measurement_json(run)["further_pass"] is None


def test_what_was_not_found_out_is_null(explained: Measurement) -> None:
    first = _first(explained, replace(_why(explained), reach=None, lanes=None, missed=()))
    assert first["reach"] is None
    assert first["lanes"] is None
    assert first["missed"] == []


@given(
    nps.arrays(np.float32, nps.array_shapes(min_dims=2, max_dims=2, max_side=150), elements=st.floats(0, 1, width=32))
)
def test_no_map_has_more_than_64_cells_a_side_and_its_mean_stays(run: Measurement, map_: np.ndarray) -> None:
    from debriscount.report.why_record import _map

    rows = _map(Reach({}, FloorGrid(0.0, 0.0, 1.0, *map_.shape), map_, 1.0))["reached_percent"]
    assert max(len(rows), len(rows[0])) <= 64
    told = [cell for row in rows for cell in row if cell is not None]
    assert all(isinstance(cell, int) and 0 <= cell <= 100 for cell in told)
    if told:
        assert 100 * map_.min() - 0.51 <= min(told)
        assert max(told) <= 100 * map_.max() + 0.51
