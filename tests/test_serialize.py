"""Records become plain JSON values, numbers rounded by the unit of their name."""

import json
import math
from dataclasses import dataclass

import numpy as np
import pytest

from debriscount.serialize import picked, plain, rounded
from debriscount.stats.quantity import Quantity


@dataclass(frozen=True)
class Part:
    name: str
    area_mm2: float
    places_mm: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Whole:
    part: Part | None
    grains: int
    mass_g: float
    share_percent: float
    gap_interval95: tuple[float, float] | None
    by_zone: dict[str, float]

    @property
    def doubled(self) -> int:
        return 2 * self.grains


WHOLE = Whole(Part("a", 1.23456, ((1.00004, 2.0),)), 3, 0.12345678, 99.123456, (1.0, math.nan), {"edge": 1.23456})


def test_a_record_becomes_what_json_can_hold() -> None:
    assert json.loads(json.dumps(plain(WHOLE), allow_nan=False)) == {
        "part": {"name": "a", "area_mm2": 1.235, "places_mm": [[1.0, 2.0]]},
        "grains": 3,
        "mass_g": 0.12346,
        "share_percent": 99.1235,
        "gap_interval95": None,
        "by_zone": {"edge": 1.2346},
    }


def test_fields_are_picked_in_the_order_asked_for_and_under_other_names() -> None:
    assert list(picked(WHOLE, "mass_g number=doubled").items()) == [("mass_g", 0.12346), ("number", 6)]
    with pytest.raises(AttributeError):
        picked(WHOLE, "masss_g")


@pytest.mark.parametrize(
    ("value", "name", "expected"),
    [
        (math.inf, "x_percent", None),
        (-0.00001, "x_percent", 0.0),
        (np.int64(7), "grains", 7),
        (7, "x_mm", 7.0),
        (True, "closed", True),
        (None, "x_mm", None),
    ],
)
def test_single_values(value: object, name: str, expected: object) -> None:
    found = plain(value, name)
    assert found == expected
    assert type(found) is type(expected)
    assert math.copysign(1, found) == 1 if isinstance(found, float) else True


def test_a_quantity_comes_with_its_interval_and_degrees_of_freedom_unless_they_are_many() -> None:
    known = plain(Quantity(10.0, 1.0), "bin_g")
    assert known == {"value": 10.0, "u": 1.0, "dof": None, "interval95": [8.04004, 11.95996]}
    assert plain(Quantity(10.0, 1.0, 4.0), "bin_g")["dof"] == 4.0


def test_what_is_not_finite_is_unknown() -> None:
    assert rounded(math.nan, 2) is None
    assert rounded(None, 2) is None
