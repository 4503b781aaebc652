import csv
import math
from pathlib import Path

import numpy as np
import pytest

from debriscount.scale.odd_runs import odd_one

#: *Published*: critical values of Grubbs' test at 5 %, two-sided: Grubbs and Beck (1972), in ISO 5725-2, table 5.
GRUBBS_5 = {4: 1.481, 5: 1.715, 6: 1.887, 8: 2.126, 10: 2.290}


def with_largest(g: float, n: int) -> np.ndarray:
    """Values of which the last lies g sample standard deviations from their mean."""
    low, high = 0.0, 1e6
    rest = np.linspace(-1, 1, n - 1)
    for _ in range(200):
        x = (low + high) / 2
        values = np.append(rest, x)
        low, high = (x, high) if (x - values.mean()) / values.std(ddof=1) < g else (low, x)
    return np.append(rest, low)


@pytest.mark.parametrize(("n", "g"), GRUBBS_5.items())
def test_where_scatter_is_all_there_is_it_is_grubbs_test(n: int, g: float) -> None:
    found = odd_one(with_largest(g, n), np.full(n, 1e-4))
    assert found is not None
    assert found.index == n - 1
    assert found.chance == pytest.approx(0.05, rel=0.03)


def test_published_values_are_those_of_the_table() -> None:
    file = Path(__file__).parents[1] / "data" / "grubbs_one_outlier.csv"
    rows = csv.DictReader(line for line in file.read_text().splitlines() if not line.startswith("#"))
    table = {int(row["n"]): float(row["printed_2s5"]) for row in rows}
    assert {n: table[n] for n in GRUBBS_5} == GRUBBS_5


def test_stated_uncertainties_count_where_the_others_scatter_less() -> None:
    calm = odd_one([0.0, 0.01, -0.01, 0.5], np.full(4, 1.0))
    assert calm is not None
    assert calm.chance == 1.0
    assert calm.index == 3
    loud = odd_one([0.0, 0.01, -0.01, 5.0], np.full(4, 1.0))
    assert loud is not None
    # Independent: 2 Φ(-5/√(1 + 1/3)), four times.
    assert loud.chance == pytest.approx(4 * math.erfc(5 / math.sqrt(4 / 3) / math.sqrt(2)), rel=1e-9)
    assert loud.others.value == pytest.approx(0.0, abs=1e-12)


def test_a_vague_value_may_lie_far_away() -> None:
    found = odd_one([0.1, -0.2, 0.1, 9.0, -0.3], [0.3, 0.3, 0.3, 9.0, 0.3])
    assert found is not None
    assert found.chance > 0.5


def test_two_values_have_no_odd_one() -> None:
    assert odd_one([0.0, 9.0], [1.0, 1.0]) is None
