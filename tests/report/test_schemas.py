import json

import pytest
from typer.testing import CliRunner

from debriscount.errors import CampaignError
from debriscount.report.schemas import SCHEMAS, schema
from debriscount.report.tables import GRAINS_HEADER, ZONES_HEADER
from debriscount.report.words import GRAINS, ZONES, words_text
from debriscount_cli.app import app


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_format_has_a_schema(name: str) -> None:
    said = CliRunner().invoke(app, ["schema", name])
    found = json.loads(said.stdout)
    assert found["type"] == "object"
    assert found["properties"]
    assert found["title"].startswith(name)


def test_a_schema_refuses_unknown_keys_of_files_that_people_write() -> None:
    assert schema("campaign")["additionalProperties"] is False
    assert "side_mm" in json.dumps(schema("patch"))


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(CampaignError, match=r'"campain" is no file format\. Did you mean "campaign"\?'):
        schema("campain")


def test_every_column_is_explained_in_its_order() -> None:
    assert set(ZONES) == set(ZONES_HEADER)
    assert tuple(GRAINS) == GRAINS_HEADER
    assert all(len(line) <= 60 for line in words_text(60).splitlines())
