import csv
import json
from pathlib import Path

import pytest

from debriscount.compare.tidy import table_rows
from debriscount.errors import OutputError
from debriscount.report.formats import RunsRecord
from debriscount.report.runs_table import runs_csv, runs_table_json, write_table
from debriscount.report.words import TABLES

from ..compare.conftest import filed_run, named
from .described import described

RUNS = named([filed_run(1, 80.123456, settings={"brush": "=a"}), filed_run(2, 99.9, at_least=99.5)])


def test_all_rows_with_full_digits_and_no_formulas() -> None:
    rows = list(csv.DictReader(runs_csv(RUNS).splitlines()))
    assert len(rows) == len(list(table_rows(RUNS)))
    first = next(row for row in rows if row["figure"] == "pickup")
    assert (first["value"], first["setting.brush"], first["pass"]) == ("80.1235", "'=a", "1")
    assert next(row for row in rows if row["more_than"])["more_than"] == "99.5"


def test_a_decimal_comma_and_semicolons() -> None:
    points = list(csv.DictReader(runs_csv(RUNS).splitlines()))
    commas = list(csv.DictReader(runs_csv(RUNS, decimal_comma=True).splitlines(), delimiter=";"))
    assert commas[0]["value"] == "80,1235"
    assert [row["value"].replace(",", ".") for row in commas] == [row["value"] for row in points]
    assert commas[0]["date"] == points[0]["date"]


def test_as_json_with_what_columns_mean() -> None:
    record = json.loads(runs_table_json(RUNS))
    assert record["format"] == "debriscount/runs/1"
    assert described(RunsRecord, record)
    assert set(record["columns"]) == set(record["rows"][0])
    assert len(record["rows"]) == len(list(table_rows(RUNS)))
    assert TABLES["summary --csv"]["value"] == record["columns"]["value"]


def test_files(tmp_path: Path) -> None:
    write_table(RUNS, tmp_path / "runs.csv")
    assert (tmp_path / "runs.csv").read_text(encoding="utf-8") == runs_csv(RUNS)
    write_table(RUNS, tmp_path / "runs.json")
    with pytest.raises(OutputError, match="is there already"):
        write_table(RUNS, tmp_path / "runs.csv")
    with pytest.raises(OutputError, match=r"must end in \.csv or \.json"):
        write_table(RUNS, tmp_path / "runs.xls")
