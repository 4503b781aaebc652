import math

import pytest

from debriscount.stats.quantity import Quantity, chance_of, coverage_factor95, decimals_beside, fixed_text, plus_minus


def test_the_interval_of_a_known_uncertainty() -> None:
    assert Quantity(10.0, 0.5).interval95() == pytest.approx((10 - 0.98, 10 + 0.98), abs=1e-4)
    assert Quantity(10.0, 0.0, 3.0).interval95() == (10.0, 10.0)


def test_few_degrees_of_freedom_widen_it() -> None:
    # Independent: Student's t of 2 degrees of freedom has this closed form.
    assert Quantity(0.0, 1.0, 2.0).expanded95 == pytest.approx(0.95 * math.sqrt(2 / (1 - 0.95**2)), rel=1e-12)
    assert coverage_factor95(1e9) == pytest.approx(coverage_factor95(math.inf), rel=1e-8)


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Quantity(83.8428, 0.2788), "83.84 ± 0.55"),
        (Quantity(77.3, 15.2), "77 ± 30"),
        (Quantity(-0.0001, 0.05), "0.000 ± 0.098"),
        (Quantity(12.5, 0.0), "12.500 ± 0.000"),
        (Quantity(1.0, 1e-9), "1.000000 ± 0.000000"),
    ],
)
def test_text_has_two_digits_of_the_half_width(quantity: Quantity, text: str) -> None:
    assert quantity.text() == text


@pytest.mark.parametrize("wrong", [(math.nan, 1.0), (1.0, -1.0), (1.0, math.inf), (1.0, 1.0, 0.0)])
def test_no_quantity_without_a_meaning(wrong: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="no quantity has value"):
        Quantity(*wrong)


@pytest.mark.parametrize(
    ("excess", "expected"),
    [
        # Published: JCGM 100, tables G.1 and G.2: 95 % lie within 1.960 u, and within 2.57 u for 5 degrees of freedom.
        (Quantity(1.960, 1.0), 0.05),
        (Quantity(-2.57, 1.0, 5.0), 0.05),
        (Quantity(0.0, 1.0), 1.0),
        (Quantity(0.0, 0.0), 1.0),
        (Quantity(0.1, 0.0), 0.0),
    ],
)
def test_chance(excess: Quantity, expected: float) -> None:
    assert chance_of(excess) == pytest.approx(expected, abs=1e-4)


def test_chance_of_known_quantiles() -> None:
    """*Published*: tables of the normal distribution and Student's t: 1.96; 2.262 with 9 degrees of freedom."""
    assert chance_of(Quantity(1.96, 1.0)) == pytest.approx(0.05, abs=1e-4)
    assert chance_of(Quantity(3.262, 1.0, 9), 1.0) == pytest.approx(0.05, abs=1e-4)
    assert chance_of(Quantity(1.0, 0.0), 1.0) == 1
    assert chance_of(Quantity(1.0, 0.0)) == 0


def test_a_value_has_as_many_decimals_as_show_two_digits_of_its_uncertainty() -> None:
    assert plus_minus(83.412, 0.857) == "83.41 ± 0.86"
    assert plus_minus(3010.2, 12.3) == "3010 ± 12"
    assert [decimals_beside(half) for half in (0.0, 17.0, 1.0, 0.98, 1e-9)] == [3, 0, 1, 2, 6]
    assert fixed_text(-0.001, 2) == "0.00"
