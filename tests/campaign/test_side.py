"""Units and means of side measurements.

Published: ISO 80000-8 defines a level as 10 lg of a ratio of powers, so two equal sources are 3.01 dB more than one; the
hand-worked mean of 60 and 70 dB follows. Independent: pint's own conversion of units, which the values below are worked
out by hand beside.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.campaign.side import QUANTITIES, shown_side, side_figure, side_measurement
from debriscount.errors import CampaignError
from debriscount.stats.decibel import energy_mean_db


@pytest.mark.parametrize(
    ("quantity", "reading", "unit", "value", "shown"),
    [
        ("air-flow", "36", "m³/h", 10, "l/s"),  # 36 m³ = 36,000 l in 3600 s
        ("air-flow", "1", "ft^3/min", 0.471947443, "l/s"),  # 0.3048 m exactly, cubed, in 60 s
        ("suction", "2,5", "kPa", 2500, "Pa"),
        ("suction", "100", "mbar", 10_000, "Pa"),
        ("run-time", "1.5", "h", 90, "min"),
        ("height", "2", "cm", 20, "mm"),
        ("mass", "3.2", "kg", 3200, "g"),
        ("mass", "1", "oz", 28.349523125, "g"),  # NIST Handbook 44, appendix C
        ("bin-volume", "0.45", "l", 450, "ml"),
    ],
)
def test_readings_are_converted_when_shown_and_kept_as_read(
    quantity: str, reading: str, unit: str, value: float, shown: str
) -> None:
    side = side_measurement(quantity, [reading], unit)
    assert (side.values, side.unit) == ((float(reading.replace(",", ".")),), unit)
    figure = side_figure(side)
    assert figure.value == pytest.approx(value, rel=1e-8)
    assert figure.unit == shown


def test_levels_are_averaged_by_energy() -> None:
    assert energy_mean_db([60, 70]) == pytest.approx(10 * math.log10((1e6 + 1e7) / 2))
    assert energy_mean_db([60, 70]) == pytest.approx(67.404, abs=5e-4)  # worked by hand
    assert shown_side(side_measurement("sound-level", ["60", "70"], "dB(A)")).startswith(
        "67.4 ± 5 dB(A) (read energy mean of 60, 70 dB(A))"
    )


def test_the_mean_of_levels_agrees_with_pint() -> None:
    pint = pytest.importorskip("pint")
    units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    powers = [units.Quantity(level, "decibel").to("dimensionless").magnitude for level in (55.0, 61.0, 58.5)]
    assert energy_mean_db([55.0, 61.0, 58.5]) == pytest.approx(10 * math.log10(sum(powers) / 3))


@given(st.lists(st.floats(-20, 200), min_size=1, max_size=20), st.floats(-50, 50))
def test_a_mean_level_lies_between_and_moves_along(levels: list[float], more: float) -> None:
    mean = energy_mean_db(levels)
    assert min(levels) - 1e-9 <= mean <= max(levels) + 1e-9
    assert mean >= sum(levels) / len(levels) - 1e-9  # power is convex in the level
    assert energy_mean_db([level + more for level in levels]) == pytest.approx(mean + more, abs=1e-6)


def test_the_instrument_is_in_every_reading_and_scatter_averages_out() -> None:
    side = side_measurement("suction", ["10", "12"], "kPa", uncertainty="0.5")
    assert side_figure(side).u == pytest.approx(1000 * math.hypot(math.sqrt(2) / math.sqrt(2), 0.5))
    assert side_figure(side_measurement("suction", ["10"], "kPa")).u is None


def test_climbed_is_yes_or_no() -> None:
    assert shown_side(side_measurement("climbed", ["yes"], "")) == "yes"
    assert shown_side(side_measurement("climbed", ["yes", "no", "Yes"], "")) == "2 of 3 times"


@pytest.mark.parametrize(
    ("quantity", "readings", "unit", "message"),
    [
        ("sound", ["60"], "dB", r'"sound" is no side measurement\. Did you mean "sound-level"\?'),
        ("sound-level", ["60"], "Pa", r'"Pa" is no level in decibels'),
        ("suction", ["60"], "mm", r"cannot be turned into Pa"),
        ("suction", ["60"], "__import__('os')", "is no unit"),
        ("suction", ["60"], "9**9**9", "is no unit"),
        ("suction", ["-1"], "Pa", "a reading must be 0 or more, got -1"),
        ("suction", ["much"], "Pa", 'a reading must be a number, such as 61.5, got "much"'),
        ("suction", ["nan"], "Pa", "a reading must be a number"),
        ("suction", [], "Pa", "give from 1 to 1000 readings, got 0"),
        ("climbed", ["maybe"], "", "answer yes or no"),
        ("climbed", ["yes"], "mm", "neither unit nor uncertainty"),
    ],
)
def test_what_cannot_be_is_said(quantity: str, readings: list[str], unit: str, message: str) -> None:
    with pytest.raises(CampaignError, match=message):
        side_measurement(quantity, readings, unit)


@pytest.mark.parametrize("quantity", [name for name, kind in QUANTITIES.items() if not kind.yes_or_no])
def test_the_usual_unit_is_one_of_its_quantity(quantity: str) -> None:
    side = side_measurement(quantity, ["7"], "")
    assert side_figure(side).value == pytest.approx(7)
