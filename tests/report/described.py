"""Whether a record is what its schema says."""

import json
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel


def described(model: type[BaseModel], record: Any) -> bool:
    """Fails, and names the place, where a record does not fit its model or has a key that the model lacks."""
    found = model.model_validate_json(json.dumps(record), strict=True)
    assert list(_extra(found, "")) == []
    return True


def _extra(value: Any, place: str) -> Iterator[str]:
    if isinstance(value, BaseModel):
        yield from (f"{place}.{key}" for key in value.model_extra or {})
        for key in type(value).model_fields:
            yield from _extra(getattr(value, key), f"{place}.{key}")
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _extra(item, f"{place}.{key}")
    elif isinstance(value, list):
        for item in value:
            yield from _extra(item, f"{place}[]")
