from debriscount.compare.figures import one_figure
from debriscount.compare.tidy import WORDS, columns, run_row, table_rows

from .conftest import filed_figure, filed_run, named

RUNS = named(
    [
        filed_run(1, settings={"brush": "a"}, zones={"patch": filed_figure(80.0), "edge": filed_figure(None)}),
        filed_run(2, 99.9, at_least=99.5, settings={"suction": "high"}, withdrawn="cable"),
    ]
)


def test_every_column_is_explained() -> None:
    names = columns(RUNS)
    assert {"setting.brush", "setting.suction"} <= set(names)
    assert all(name in WORDS or name.startswith("setting.") for name in names)
    for row in table_rows(RUNS):
        assert set(row) <= set(names)


def test_a_row_a_figure() -> None:
    rows = list(table_rows(RUNS))
    (pickup,) = (row for row in rows if (row["run"], row["zone"], row["figure"]) == ("1", "patch", "pickup"))
    assert (pickup["value"], pickup["unit"], pickup["kind"], pickup["pass"]) == (80.0, "%", "all", 1)
    assert pickup["low95"] < 80 < pickup["high95"]
    (more,) = (row for row in rows if (row["run"], row["figure"]) == ("2", "pickup"))
    assert (more["more_than"], more["withdrawn"]) == (99.5, "cable")
    (unknown,) = (row for row in rows if (row["zone"], row["figure"]) == ("edge", "pickup"))
    assert (unknown["value"], unknown["trust"]) == (None, "not measurable")


def test_a_single_row_is_the_one_of_the_table() -> None:
    figure = one_figure(RUNS[0].run, "pickup")
    assert figure is not None
    assert run_row(RUNS[0], figure) in list(table_rows(RUNS))
