"""Changes to a filed run that leave photos and figures as they are."""

from pathlib import Path

from ..errors import CampaignError
from ..printable import printable
from .file_run import change_record, now
from .records import FiledRun, Note, RunRecord, SideMeasurement, Withdrawn

#: Remarks longer than that belong into a file of their own.
_MOST_TEXT = 10_000


def add_note(campaign: Path, number: int, text: str) -> FiledRun:
    """Add a remark to a run; CampaignError if it is empty, or there is no such run."""
    said = _said(text, "a note")
    return change_record(campaign, number, notes=lambda record: (*record.notes, Note(now(), said)))


def withdraw(campaign: Path, number: int, why: str) -> FiledRun:
    """Have a run count no more; CampaignError without a reason, or if it is withdrawn already."""
    said = _said(why, "--why")

    def withdrawn(record: RunRecord) -> Withdrawn:
        if record.withdrawn is not None:
            raise CampaignError(f"run {number} is withdrawn already, because {record.withdrawn.why}.")
        return Withdrawn(now(), said)

    return change_record(campaign, number, withdrawn=withdrawn)


def restore(campaign: Path, number: int) -> FiledRun:
    """Have a withdrawn run count again; its note keeps that it was withdrawn, and why."""

    def noted(record: RunRecord) -> tuple[Note, ...]:
        if record.withdrawn is None:
            raise CampaignError(f"run {number} is not withdrawn.")
        return (*record.notes, Note(now(), f"restored; was withdrawn {record.withdrawn.when}: {record.withdrawn.why}"))

    return change_record(campaign, number, notes=noted, withdrawn=None)


def add_side(campaign: Path, number: int, side: SideMeasurement) -> FiledRun:
    """Add a measurement beside the photos; what was measured before stays."""
    return change_record(campaign, number, side=lambda record: (*record.side, side))


def _said(text: str, what: str) -> str:
    said = printable(" ".join(text.split()))
    if not said:
        raise CampaignError(f"{what} must not be empty. Say it in a few words.")
    if len(said) > _MOST_TEXT:
        raise CampaignError(f"{what} must have at most {_MOST_TEXT} characters.")
    return said
