"""The arithmetic of the benchmark of leftovers, on grains whose sums are done by hand."""

from pathlib import Path
from typing import Any

import pytest

LEFT = """id,kind,area_mm2,x_mm,y_mm,zone_before,fate_pass1,x1_mm,y1_mm,zone_pass1,fate_pass2,x2_mm,y2_mm,zone_pass2
1,rice,10,50,5,open,removed,,,,gone,,,
2,rice,20,50,45,open,untouched,50,45,open,untouched,50,45,open
3,rice,30,50,10,open,displaced,80,45,open,untouched,80,45,open
4,rice,40,50,2,open,displaced,-20,2,margin,untouched,-20,2,margin
5,rice,60,50,95,edge,untouched,50,95,edge,removed,,,
"""


def test_truth_of_leftovers_is_against_before_and_reach_against_what_the_pass_found(load: Any, tmp_path: Path) -> None:
    """Lanes along x, 50 mm apart and 40 mm wide: middles at y = 0, 50, 100; strips from 20 to 30, 70 to 80."""
    file = tmp_path / "particles.csv"
    file.write_text(LEFT, encoding="utf-8")
    leftovers, rows = load("leftovers"), load("truth").read_particles(file)
    lanes = {"heading_deg": 0, "pitch_mm": 50, "width_mm": 40, "offset_mm": 0}
    first = leftovers.photo_truth(rows, 1, lanes)
    # 110 mm2 left, 30 of them shifted; 40 in the margin count as left: 1 - 150/160.
    assert first.untouched == pytest.approx(100 * 80 / 110)
    assert first.pickup == pytest.approx(100 * 10 / 160)
    assert first.reached == pytest.approx(100)
    assert (first.heading, first.pitch, first.strip) == (0, 50, 10)
    second = leftovers.photo_truth(rows, 2, {**lanes, "width_mm": 4})
    # What pass 2 found: 20 at y 45, 30 at 45, 60 at 95, none within 2 mm of a lane. Shifted since before stays shifted.
    assert second.untouched == pytest.approx(100 * 20 / 50)
    assert second.reached == 0


def test_errors_of_lanes_wrap_at_half_a_turn(load: Any) -> None:
    leftovers = load("leftovers")
    truth = leftovers.Truth(80.0, 90.0, 45.0, 179.5, 100.0, 20.0)
    score = leftovers.Score("a", 1, truth, 82.0, 91.0, (88.0, 93.0), 51.0, (0.5, 104.0, 18.0, 3), 0.1)
    assert leftovers.lane_errors(score) == pytest.approx((1.0, 4.0, -2.0))
    assert score.untouched_error == pytest.approx(2)
    assert score.there_error == pytest.approx(1)
    unseen = leftovers.Score("a", 1, truth, None, None, None, None, None, 0.1)
    assert (leftovers.lane_errors(unseen), unseen.untouched_error, unseen.there_error) == (None, None, None)


def test_bars_of_leftovers(load: Any, capsys: pytest.CaptureFixture[str]) -> None:
    leftovers = load("leftovers")
    none = leftovers.Truth(80.0, 90.0, 45.0, None, None, None)
    good = leftovers.Score("good", 1, none, 80.5, 90.0, (88.0, 92.0), 50.5, None, 0.1)
    assert leftovers.print_bars([good], [], [good])
    false = leftovers.Score("false", 1, none, 80.5, 90.0, (88.0, 92.0), 50.5, (0.0, 100.0, 20.0, 3), 0.1)
    assert not leftovers.print_bars([good], [], [false])
    assert "lanes reported where there are none: 1 of 2 ['false']" in capsys.readouterr().out
