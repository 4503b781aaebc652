import math

import pytest

from debriscount.scale.quantity import Quantity, coverage_factor95


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
