"""Repeatability, outliers, differences and numbers of runs; the data in tests/data say where they come from.

*Published*: NIST/ITL Statistical Reference Datasets, one-way ANOVA (certified to 15 digits; all but SiRstv read from
scipy's own test data where they are installed); ISO 5725-2:1994, B.1 (from memory) and tables 4 and 5; ASTM E691, glucose
in serum (materials A, D and E; results from memory); Student's sleep data as R prints them; two examples of Welch's
test as Wikipedia prints them; Holm's adjustment as R's ``p.adjust`` prints it; Cohen (1988), table 2.4.1 (from
memory); R's ``power.t.test``. *Independent*: statsmodels 0.15 and scipy 1.17.
"""

import csv
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from debriscount.stats.differences import holm, paired, welch
from debriscount.stats.outliers import cochran_critical, grubbs_critical
from debriscount.stats.power import detectable, power, runs_needed
from debriscount.stats.quantity import Quantity, chance_of
from debriscount.stats.repeats import LIMIT_FACTOR, one_factor

DATA = Path(__file__).parents[1] / "data"


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        assert next(lines).startswith("# Source:")
        return list(csv.DictReader(lines))


def grouped(rows: list[dict[str, str]], by: str, value: str) -> list[list[float]]:
    groups: dict[str, list[float]] = {}
    for row in rows:
        groups.setdefault(row[by], []).append(float(row[value]))
    return list(groups.values())


def test_sirstv() -> None:
    """Certified; the variance between instruments follows from it: (MSb - MSw) / 5 = 3.909475e-4."""
    found = one_factor(grouped(table("nist_sirstv.csv"), "instrument", "resistance"))
    assert found.test.f == pytest.approx(1.18046237440255, rel=1e-11)
    assert (found.test.dof_above, found.dof) == (4, 20)
    assert found.repeatability == pytest.approx(1.04076068334656e-01, rel=1e-12)
    assert found.between**2 == pytest.approx(3.909475e-04, rel=1e-6)


#: Certified sets, and to what share of itself F comes out: what 64-bit numbers hold of their data leaves so much.
CERTIFIED = {"AtmWtAg": 1e-9} | {
    f"SmLs0{i}": share for i, share in zip(range(1, 10), [1e-12] * 3 + [1e-8] * 3 + [1e-2] * 3, strict=True)
}


@pytest.mark.parametrize(("name", "share"), CERTIFIED.items())
def test_other_certified_analyses_of_variance(name: str, share: float) -> None:
    file = files("scipy.stats.tests").joinpath("data", "nist_anova", f"{name}.dat")
    if not file.is_file():
        pytest.skip("scipy is installed without its test data, which hold the certified sets")
    lines = file.read_text(encoding="ascii").splitlines()
    between = next(line for line in lines if line.startswith("Between"))
    rows = [line.split() for line in lines[60:] if line.strip()]
    groups: dict[str, list[float]] = {}
    for group, value in rows:
        groups.setdefault(group, []).append(float(value))
    assert one_factor(list(groups.values())).test.f == pytest.approx(float(between.split()[-1]), rel=share)


def test_sulfur_in_coal() -> None:
    """ISO 5725-2, B.1 (data and results from memory): m, s_r and s_R as printed, to three decimals."""
    printed = [(0.690, 0.015, 0.026), (1.252, 0.029, 0.061), (1.667, 0.017, 0.035), (3.250, 0.026, 0.058)]
    rows = table("iso5725_2_sulfur_coal.csv")
    for level, (mean, s_r, s_R) in enumerate(printed, start=1):  # noqa: N806 - the standard's sign
        found = one_factor(grouped([row for row in rows if row["level"] == str(level)], "lab", "value"))
        # The standard's mean is that of the laboratories' means, which differs by less than it prints.
        assert found.mean == pytest.approx(mean, abs=1.5e-3)
        assert found.repeatability == pytest.approx(s_r, abs=5e-4)
        assert found.reproducibility == pytest.approx(s_R, abs=1e-3)


@pytest.mark.parametrize(
    ("material", "mean", "s_r", "s_R"),
    [("A", 41.5183, 1.0632, 1.0632), ("D", 194.7170, 2.6251, 3.3657), ("E", 294.4920, 3.9350, 4.1923)],
)
def test_glucose_in_serum(material: str, mean: float, s_r: float, s_R: float) -> None:  # noqa: N803
    """ASTM E691: where laboratories differ less than repeats, s_R is s_r (material A)."""
    rows = [row for row in table("astm_e691_glucose.csv") if row["material"] == material]
    found = one_factor(grouped(rows, "lab", "value"))
    assert (found.mean, found.repeatability, found.reproducibility) == pytest.approx((mean, s_r, s_R), abs=1e-3)
    assert found.limit == pytest.approx(2.8 * s_r, rel=1e-4)


def test_repeatability_limit() -> None:
    """ISO 5725-6: 1.96 √2 = 2.77, printed as 2.8."""
    assert LIMIT_FACTOR == 2.8


def test_grubbs_table() -> None:
    """Printed and calculated differ by at most 0.0008."""
    for row in table("grubbs_one_outlier.csv"):
        for column, chance in (("printed_2s10", 0.10), ("printed_2s5", 0.05), ("printed_2s1", 0.01)):
            assert grubbs_critical(int(row["n"]), chance) == pytest.approx(float(row[column]), abs=1e-3)


def test_cochran_table() -> None:
    for row in table("cochran_c.csv"):
        for column, chance in (("c_5pct", 0.05), ("c_1pct", 0.01)):
            assert cochran_critical(int(row["p"]), int(row["n"]), chance) == pytest.approx(float(row[column]), abs=6e-5)


def test_sleep() -> None:
    """R: t -1.8608, df 17.776, p 0.07939, interval -3.3654832 to 0.2054832; paired t -4.0621, p 0.002833 (from memory)."""
    rows = table("sleep_welch.csv")
    first, second = ([float(row[column]) for row in rows] for column in ("group1", "group2"))
    found = welch(first, second)
    assert found is not None
    assert (found.value / found.u, found.dof) == pytest.approx((-1.8608, 17.776), abs=5e-4)
    assert chance_of(found) == pytest.approx(0.07939, abs=5e-6)
    assert found.interval95() == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)
    together = paired(first, second)
    assert together is not None
    assert (together.value / together.u, together.dof) == pytest.approx((-4.0621, 9), abs=5e-5)
    assert chance_of(together) == pytest.approx(0.002833, abs=5e-7)


@pytest.mark.parametrize(("example", "t", "dof", "chance"), [("1", -2.46, 25.0, 0.021), ("2", -1.57, 9.9, 0.149)])
def test_welch_examples(example: str, t: float, dof: float, chance: float) -> None:
    first, second = grouped(
        [row for row in table("welch_encyclopedia.csv") if row["example"] == example], "group", "value"
    )
    found = welch(first, second)
    assert found is not None
    assert found.value / found.u == pytest.approx(t, abs=5e-3)
    assert found.dof == pytest.approx(dof, abs=0.05)
    assert chance_of(found) == pytest.approx(chance, abs=5e-4)


def test_welch_is_that_of_general_libraries() -> None:
    """Independent: scipy here; statsmodels 0.15, ``CompareMeans(...).tconfint_diff(usevar="unequal")``, as printed."""
    from scipy.stats import ttest_ind

    first, second = [81.2, 79.4, 83.1, 80.0], [75.0, 77.9, 76.2]
    found = welch(first, second)
    assert found is not None
    beside = ttest_ind(first, second, equal_var=False)
    assert found.dof == pytest.approx(float(beside.df), rel=1e-12)
    assert chance_of(found) == pytest.approx(float(beside.pvalue), rel=1e-10)
    interval = beside.confidence_interval(0.95)
    assert found.interval95() == pytest.approx((float(interval.low), float(interval.high)), rel=1e-10)
    assert found.interval95() == pytest.approx((1.4948795910696777, 7.6217870755969965), rel=1e-10)


def test_holm() -> None:
    """R's p.adjust; then independent: statsmodels 0.15, ``multipletests(method="holm")``."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.012, 0.2, 0.004, 0.049, 0.03]) == pytest.approx([0.048, 0.2, 0.02, 0.098, 0.09])


def test_cohen_sample_sizes() -> None:
    """Cohen prints 393, 64 and 26 for d of 0.2, 0.5 and 0.8; 393.4 runs are 394 in whole ones (statsmodels)."""
    assert [runs_needed(d, 1) for d in (0.2, 0.5, 0.8)] == [394, 64, 26]
    for row in table("cohen_two_sample_n.csv"):
        assert runs_needed(float(row["d"]), 1, float(row["power"])) == int(row["n_ceiling"])


def test_power_as_others_give_it() -> None:
    """R's documentation of power.t.test (n 20, d 1: 0.8689528, one tail); statsmodels 0.15 for the rest, both tails."""
    assert power(1, 1, 20) == pytest.approx(0.8689528, abs=1e-6)
    for (d, n), expected in {
        (1, 20): 0.8689530277239897, (2, 3): 0.46264081189130635,
        (3, 3): 0.7825543870581168, (0.5, 10): 0.18509565629116606,
    }.items():  # fmt: skip
        assert power(d, 1, n) == pytest.approx(expected, rel=1e-6)
    for (d, n), expected in {
        (1, 5): 0.4013899173717948,
        (2, 4): 0.7549839171140109,
        (0.5, 20): 0.5645044184390203,
    }.items():
        assert power(d, 1, n, design="pairs") == pytest.approx(expected, rel=1e-6)
    assert runs_needed(1, 1, 0.8, design="pairs") == 10
    assert runs_needed(0.5, 1, 0.9, design="pairs") == 44


def test_difference_that_so_many_runs_tell() -> None:
    """Independent: statsmodels, detectable d at 80 % for 3, 4, 5, 6, 8, 10 and 20 a group."""
    for n, d in {3: 3.071, 4: 2.381, 5: 2.024, 6: 1.796, 8: 1.507, 10: 1.325, 20: 0.909}.items():
        assert detectable(1, n) == pytest.approx(d, abs=6e-4)
        assert detectable(2.5, n) == pytest.approx(2.5 * detectable(1, n))


def test_a_fact_of_the_trade_about_rounding() -> None:
    """Common practice, no source: settings with means of 47.95 % and 42.40 % are published as 45.17 % together.

    Their mean is 45.175. Our rule: a mean is taken of full digits and rounded once, by its uncertainty; what lies just
    between goes to the even digit. With runs that scatter by 2 points that is 45.2 %, in two decimals 45.18 %: 45.17
    was cut off, or made of means with more digits than they were printed with.
    """
    both = Quantity((47.95 + 42.40) / 2, 1.0)
    assert both.text() == "45.2 ± 2.0"
    assert Quantity(both.value, 0.01).text() == "45.175 ± 0.020"
    assert np.round(both.value, 2) == 45.18
