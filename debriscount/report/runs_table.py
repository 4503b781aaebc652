"""Every figure of every run in one file, for spreadsheets and programs."""

import json
from collections.abc import Sequence
from pathlib import Path

from .. import __version__
from ..columns import csv_text
from ..compare.labels import SETTING, CampaignRun
from ..compare.tidy import WORDS, columns, table_rows
from ..errors import OutputError
from ..inputs.save import save_files

FORMAT = "debriscount/runs/1"
ENDINGS = (".csv", ".json")


def runs_csv(runs: Sequence[CampaignRun], *, decimal_comma: bool = False) -> str:
    """Return the table as CSV, with full digits; what is not known is an empty cell."""
    names = columns(runs)
    rows = ([row.get(name) for name in names] for row in table_rows(runs))
    return csv_text([names, *rows], decimal_comma=decimal_comma)


def runs_table_json(runs: Sequence[CampaignRun]) -> str:
    """Return the table as a JSON record with what its columns hold; what is not known is null."""
    names = columns(runs)
    rows = [{name: row.get(name) for name in names} for row in table_rows(runs)]
    words = {name: WORDS["setting" if name.startswith(SETTING) else name] for name in names}
    record = {"format": FORMAT, "version": __version__, "columns": words, "rows": rows}
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_table(
    runs: Sequence[CampaignRun], out: Path, *, decimal_comma: bool = False, overwrite: bool = False
) -> None:
    """Write the table; its ending says how.

    Raises
    ------
    OutputError
        The ending is neither .csv nor .json, the file is there already or cannot be written.
    """
    if out.suffix.lower() not in ENDINGS:
        raise OutputError(f"{out}: a table must end in {' or '.join(ENDINGS)}.")
    as_json = out.suffix.lower() == ".json"
    content = runs_table_json(runs) if as_json else runs_csv(runs, decimal_comma=decimal_comma)
    save_files({out: content.encode()}, overwrite=overwrite)
