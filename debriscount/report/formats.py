"""What the records that commands write or print hold, as models for their JSON Schemas.

Records of a measurement and of a weighing are in `debriscount.campaign.result_file`, which reads them. What cannot be
known is None; further keys may come.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Interval = tuple[float, float]
_Camera = dict[str, float | int | str | bool | None]
_Cell = str | float | int | bool | None


class Block(BaseModel):
    """Keys that are described, and further ones that may come."""

    model_config = ConfigDict(extra="allow", frozen=True)


class _Amount(Block):
    area_mm2: float | None
    grains: int | None
    grains_interval95: tuple[int, int] | None
    mass_g: float | None


class _Blank(Block):
    file: str
    sha256: str
    taken: str | None
    camera: _Camera


class Grid(Block):
    """Raster of a floor view."""

    x0_mm: float
    y0_mm: float
    mm_per_px: float
    width_px: int
    height_px: int


class _CountedKind(Block):
    color: str
    zones: dict[str, _Amount]


class _CountedPhoto(Block):
    file: str
    sha256: str
    taken: str | None
    camera: _Camera
    blank: _Blank | None
    patch: dict[str, object] | None
    mm_per_px: float | None
    region: tuple[int, int, int, int] | None
    grid: Grid
    zones: dict[str, _Amount]
    kinds: dict[str, _CountedKind]
    warnings: list[str]


class CountRecord(Block):
    """count.json, and what ``count --json`` prints."""

    format: Literal["debriscount/count/1"]
    version: str
    photos: list[_CountedPhoto]


class _Known(Block):
    """A value with its standard uncertainty and 95 % interval."""

    value: float | None
    u: float | None
    interval95: tuple[float | None, float | None] | None


class _Learned(_Known):
    dof: float | None


class _Limits(Block):
    bias: _Known
    sd: float
    lower: _Known
    upper: _Known


class _Line(Block):
    slope: _Known | None
    intercept_percent: float
    u_intercept: float
    chi2: float
    dof: int


class _Drift(Block):
    per: Literal["day", "run"]
    slope: _Known
    chance: float
    same_sign: int
    same_sign_chance: float


class _Scatter(Block):
    ratio: float
    chance: float


class _Alone(Block):
    u_percent: float
    dof: float | None


class _WeighedRun(Block):
    run: str
    photo_percent: float
    photo_u: float
    scale_percent: float
    scale_u: float
    en: float
    zeta: float
    verdict: str
    cause: str | None


class AgreementRecord(Block):
    """agreement.json, and what ``agreement --json`` prints."""

    format: Literal["debriscount/agreement/1"]
    version: str
    runs: list[_WeighedRun]
    not_weighed: list[str]
    odd: list[str]
    too_uncertain: list[str]
    bland_altman: _Limits | None
    line: _Line | None
    drift: _Drift | None
    scatter: _Scatter | None
    photo_alone: _Alone | None
    verdict: str
    sentences: list[str]


class _Crowding(Block):
    used: float
    fitted: _Known | None
    p: float | None
    adopted: bool


class _GrainMass(Block):
    counted: _Learned | None
    thousand_grains: _Learned | None
    zeta: float | None
    agree: bool | None


class _LackOfFit(Block):
    f: float | None
    dof: tuple[float, float | None]
    p: float


class _PortionPhoto(Block):
    file: str
    sha256: str


class _Portion(Block):
    photos: list[_PortionPhoto]
    grams: float
    u_grams: float
    area_mm2: float
    cover_percent: float
    grains: float | None
    off_percent: float
    leverage: float


class _Advice(Block):
    portion: str
    now: float | None
    then: float
    text: str


class PortionRecord(Block):
    """What ``portion --json`` prints."""

    format: Literal["debriscount/portion/1"]
    kind: str
    area_mass_mg_per_mm2: _Learned | None
    crowding: _Crowding
    grain_mass_mg: _GrainMass
    lack_of_fit: _LackOfFit | None
    intercept_g: _Learned | None
    read_off_g: _Learned | None
    portions: list[_Portion]
    advice: list[_Advice]
    warnings: list[str]


class _Finding(Block):
    code: str
    name: str
    value: float | None
    unit: str
    limit: float | None
    limit_is: Literal["least", "most"] | None
    fit: bool
    reason: str
    advice: str


class _Shot(Block):
    file: str
    against: str | None
    want_percent: float
    fit: bool
    findings: list[_Finding]


class ShotRecord(Block):
    """What ``shot --json`` prints."""

    format: Literal["debriscount/shot/1"]
    shots: list[_Shot]


class _StandsApart(Block):
    name: str
    chance: float | None
    outlier: bool


class _Group(Block):
    group: dict[str, _Cell]
    n: int
    mean: float | None
    more_than: bool
    sd: float | None
    interval95: Interval | None
    repeatability_limit: float | None
    smallest: float | None
    largest: float | None
    u: float | None
    explained: float | None
    at_ceiling: int
    near_ceiling: bool
    stands_apart: _StandsApart | None
    doubtful: list[str]
    runs: list[str]


class _Chosen(Block):
    version: str
    figure: str
    unit: str
    zones: list[str] | None
    kind: str | None
    pass_number: int | None = Field(alias="pass")
    without_doubtful: bool
    without: list[str]
    left_out: dict[str, str]
    runs: list[dict[str, _Cell]]


class SummaryRecord(_Chosen):
    """What ``summary --json`` prints."""

    format: Literal["debriscount/summary/1"]
    by: list[str]
    groups: list[_Group]
    repeatability: float | None
    repeatability_limit: float | None
    dof: float
    scatters_most: _StandsApart | None


class _RankedGroup(_Group):
    rank: int


class _Difference(Block):
    within: dict[str, _Cell]
    first: str
    second: str
    n: tuple[int, int]
    difference: float | None
    bound: str | None
    interval95: Interval | None
    blocks: int | None
    chance: float | None
    adjusted_chance: float | None
    told_apart: bool
    runs_needed: int | None
    sentence: str


class ComparisonRecord(_Chosen):
    """What ``compare --json`` prints."""

    format: Literal["debriscount/comparison/1"]
    factor: str
    within: list[str]
    wanted: float
    power: float
    groups: list[_RankedGroup]
    differences: list[_Difference]
    warnings: list[str]


class RunsRecord(Block):
    """The table of every figure that ``summary --csv FILE.json`` writes, with what its columns hold."""

    format: Literal["debriscount/runs/1"]
    version: str
    columns: dict[str, str]
    rows: list[dict[str, _Cell]]


class _PlannedPortion(Block):
    kind: str
    grams: float
    load_g_per_m2: float
    cover_percent: float | None
    limit_percent: float
    most_g: float | None
    grains: int | None
    crowded: bool


class _PlannedTest(Block):
    run: int
    block: int
    level: str


class PlanRecord(Block):
    """What ``plan --json`` prints."""

    format: Literal["debriscount/plan/1"]
    version: str
    portions: list[_PlannedPortion]
    expected_points: float | None
    factor: str
    levels: list[str]
    wanted: float
    sd: float
    dof: float | None
    runs_needed: dict[str, int | None]
    runs_each: int
    power: float
    detectable: float
    order: str
    tests: list[_PlannedTest]
