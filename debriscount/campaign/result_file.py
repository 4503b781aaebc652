"""What later stages need of the record of a measurement or a weighing: its fixed part, checked, as figures.

Records hold more, and newer ones may hold more still: that is passed over.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from ..flags import Flag, Severity
from .records import Figures, FiledAgreement, FiledFigure, FiledPass, WeighedFigure

_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
_Interval = tuple[_Number, _Number]


class _Block(BaseModel):
    model_config = ConfigDict(frozen=True)


class _Amount(_Block):
    area_mm2: _Number
    grains: _Number | None = None
    mass_g: _Number | None = None


class _Zone(_Block):
    pickup_percent: _Number | None
    more_than_percent: _Number | None = None
    interval95: _Interval | None = None
    gone_percent: _Number | None = None
    trust: str = "doubtful"
    why: str = ""
    before: _Amount
    after: _Amount


class _Kind(_Block):
    zones: dict[str, _Zone]


class _Leftovers(_Block):
    untouched_percent: _Number | None = None


class _Pass(_Block):
    number: int = Field(alias="pass")
    zones: dict[str, _Zone]
    kinds: dict[str, _Kind] = {}
    leftovers: _Leftovers | None = None


class _Uncertain(_Block):
    value: _Number
    u: _Number | None
    interval95: _Interval | None = None


class _Hair(_Block):
    bin_percent: _Uncertain | None = None
    brush_percent: _Uncertain | None = None
    left_percent: _Uncertain | None = None
    wrap_percent: _Uncertain | None = None


class _Weighing(_Block):
    pickup_percent: _Uncertain | None = None
    by_collection_percent: _Uncertain | None = None
    by_residue_percent: _Uncertain | None = None
    elsewhere_percent: _Uncertain | None = None
    unaccounted_percent: _Uncertain | None = None
    hair: _Hair | None = None


class _Cause(_Block):
    name: str


class _Agreement(_Block):
    photo_percent: _Number
    photo_u: _Number
    scale_percent: _Number
    scale_u: _Number
    verdict: str = ""
    causes: tuple[_Cause, ...] = ()


class _Flag(_Block):
    code: str
    severity: Severity = "note"
    sentence: str = ""
    shot: str | None = None
    zone: str | None = None


class _BalanceFlag(_Block):
    kind: str
    message: str


class MeasurementRecord(_Block):
    """measurement.json."""

    format: Literal["debriscount/measurement/1"]
    passes: tuple[_Pass, ...] = Field(min_length=1)
    agreement: _Agreement | None = None
    weighing: _Weighing | None = None
    flags: tuple[_Flag, ...] = ()


class WeighingRecord(_Weighing):
    """weighing.json of a weighing that stands alone."""

    format: Literal["debriscount/weighing/1"]
    flags: tuple[_BalanceFlag, ...] = ()


def result_figures(record: MeasurementRecord | WeighingRecord) -> Figures:
    """Return the figures of a record."""
    if isinstance(record, WeighingRecord):
        odd = tuple(
            Flag(code=f"balance-{one.kind.replace(' ', '-')}", severity="note", sentence=one.message)
            for one in record.flags
        )
        return Figures(weighed=_weighed(record), flags=odd)
    flags = tuple(
        Flag(code=one.code, severity=one.severity, sentence=one.sentence, shot=one.shot, zone=one.zone)
        for one in record.flags
    )
    return Figures(
        passes=tuple(_pass(one) for one in record.passes),
        weighed={} if record.weighing is None else _weighed(record.weighing),
        agreement=None if record.agreement is None else _agreement(record.agreement),
        flags=flags,
    )


def _pass(one: _Pass) -> FiledPass:
    return FiledPass(
        number=one.number,
        zones=_zones(one.zones),
        kinds={name: _zones(kind.zones) for name, kind in one.kinds.items()},
        untouched_percent=None if one.leftovers is None else one.leftovers.untouched_percent,
    )


def _zones(zones: dict[str, _Zone]) -> dict[str, FiledFigure]:
    return {
        name: FiledFigure(
            pickup_percent=zone.pickup_percent,
            more_than_percent=zone.more_than_percent,
            interval95=zone.interval95,
            gone_percent=zone.gone_percent,
            trust=zone.trust,
            why=zone.why,
            before_mm2=zone.before.area_mm2,
            after_mm2=zone.after.area_mm2,
            before_g=zone.before.mass_g,
            after_g=zone.after.mass_g,
        )
        for name, zone in zones.items()
    }


def _weighed(found: _Weighing) -> dict[str, WeighedFigure]:
    hair = found.hair or _Hair()
    blocks = {
        "pickup": found.pickup_percent,
        "by_collection": found.by_collection_percent,
        "by_residue": found.by_residue_percent,
        "elsewhere": found.elsewhere_percent,
        "unaccounted": found.unaccounted_percent,
        "hair_bin": hair.bin_percent,
        "hair_brush": hair.brush_percent,
        "hair_left": hair.left_percent,
        "hair_wrap": hair.wrap_percent,
    }
    return {
        name: WeighedFigure(block.value, block.u, block.interval95)
        for name, block in blocks.items()
        if block is not None and block.u is not None and block.interval95 is not None
    }


def _agreement(found: _Agreement) -> FiledAgreement:
    return FiledAgreement(
        photo_percent=found.photo_percent,
        photo_u=found.photo_u,
        scale_percent=found.scale_percent,
        scale_u=found.scale_u,
        verdict=found.verdict,
        cause=found.causes[0].name if found.causes else "",
    )
