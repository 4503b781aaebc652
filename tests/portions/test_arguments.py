import math
from pathlib import Path

import pytest

from debriscount.errors import PortionError
from debriscount.portions.arguments import parse_grams, parse_portion


def test_a_photo_and_its_grams() -> None:
    found = parse_portion("some=place/a.jpg=20.1")
    assert found.photos == (Path("some=place/a.jpg"),)
    assert found.mass_g.value == 20.1
    # A difference of two readings of a scale whose step is 0.1 g (JCGM 100, 4.3.7): sqrt(2) × 0.1 / sqrt(12).
    assert found.mass_g.u == pytest.approx(0.1 / math.sqrt(6))


@pytest.mark.parametrize(
    ("text", "value", "u"),
    [
        ("20", 20.0, 1 / math.sqrt(6)),
        ("20.00", 20.0, 0.01 / math.sqrt(6)),
        ("20.1±0.2", 20.1, 0.1),
        ("20,1 g +- 0,2 g", 20.1, 0.1),
        (" 20.1 +/-0.2", 20.1, 0.1),
        (".5±0", 0.5, 0.0),
    ],
)
def test_grams_as_people_write_them(text: str, value: float, u: float) -> None:
    found = parse_grams(text, "x")
    assert (found.value, found.u) == pytest.approx((value, u))


def test_further_photos_of_a_portion_follow_after_commas() -> None:
    assert parse_portion("a.jpg, b.jpg=3.0").photos == (Path("a.jpg"), Path("b.jpg"))


@pytest.mark.parametrize("text", ["a.jpg", "=20", ",=20", ""])
def test_a_portion_lacks_its_photo_or_mass(text: str) -> None:
    with pytest.raises(PortionError, match=r'^portion ".*": must be written PHOTO=GRAMS or PHOTO=GRAMS±U, such as'):
        parse_portion(text)


@pytest.mark.parametrize("grams", ["", "0", "-3", "nan", "1e3", "20.1±", "20±-1", "twenty", "9999999"])
def test_a_mass_that_cannot_be(grams: str) -> None:
    with pytest.raises(PortionError, match=r'^portion "a.jpg=.*": ".*" is no mass in grams\. Write it as "20\.1"'):
        parse_portion(f"a.jpg={grams}")
