"""JSON Schemas of the files that people and programs write."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from ..errors import CampaignError
from ..inputs.faults import closest

if TYPE_CHECKING:
    from pydantic import BaseModel

Schema = dict[str, Any]


def schema(name: str) -> Schema:
    """Return the JSON Schema of a file format.

    Parameters
    ----------
    name : str
        One of ``SCHEMAS``.

    Raises
    ------
    CampaignError
        There is none of that name.
    """
    made = SCHEMAS.get(name)
    if made is None:
        raise CampaignError(f'"{name}" is no file format. {closest(name, SCHEMAS)}')
    found = made()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found, "title": f"{name} of debriscount"}


def _campaign() -> Schema:
    from ..campaign.campaign_file import Campaign

    return Campaign.model_json_schema()


def _patch() -> Schema:
    from ..inputs.patch_file import PatchFile

    return PatchFile.model_json_schema()


def _debris() -> Schema:
    from ..inputs.debris_file import DebrisFile

    return DebrisFile.model_json_schema()


def _lens() -> Schema:
    from ..inputs.lens_file import LensFile

    return LensFile.model_json_schema()


def _weighing() -> Schema:
    from ..inputs.weighing_file import file_model

    return file_model("g").model_json_schema()


def _run() -> Schema:
    from pydantic import TypeAdapter

    from ..campaign.records import RunRecord

    return TypeAdapter(RunRecord).json_schema()


def _measurement() -> Schema:
    from ..campaign.result_file import MeasurementRecord

    return MeasurementRecord.model_json_schema()


def _weighing_record() -> Schema:
    from ..campaign.result_file import WeighingRecord

    return WeighingRecord.model_json_schema()


def _film() -> Schema:
    from .film_format import FilmRecord

    return FilmRecord.model_json_schema()


def _printed(record: str) -> Callable[[], Schema]:
    def made() -> Schema:
        from . import formats

        model: type[BaseModel] = getattr(formats, record)
        return model.model_json_schema()

    return made


#: Files in TOML and JSON, by name: those that people write before those that commands write or print.
SCHEMAS: Mapping[str, Callable[[], Schema]] = {
    "campaign": _campaign,
    "patch": _patch,
    "debris": _debris,
    "lens": _lens,
    "weighing": _weighing,
    "run": _run,
    "measurement": _measurement,
    "weighing-record": _weighing_record,
    "count": _printed("CountRecord"),
    "film": _film,
    "agreement": _printed("AgreementRecord"),
    "portion": _printed("PortionRecord"),
    "shot": _printed("ShotRecord"),
    "plan": _printed("PlanRecord"),
    "summary": _printed("SummaryRecord"),
    "comparison": _printed("ComparisonRecord"),
    "runs": _printed("RunsRecord"),
}
