"""What speaks against a figure: codes that scripts can filter by, and sentences for a reader."""

from dataclasses import dataclass
from typing import Literal

#: How much a flag says against the figures: "unfit" makes those it concerns not fit to publish, "doubtful" asks for
#: care, a "note" changes nothing.
Severity = Literal["unfit", "doubtful", "note"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One thing that was noticed about a run.

    ``code`` is a fixed word for it, as "blurred" or "debris-on-blank"; ``sentence`` says what is wrong and what to do.
    ``shot`` ("blank", "before", "after", …) and ``zone`` are None where it concerns all of them.
    """

    code: str
    severity: Severity
    sentence: str
    shot: str | None = None
    zone: str | None = None
