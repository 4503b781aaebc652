"""What the records that commands write or print hold, as models for their JSON Schemas.

Records of a measurement and of a weighing are in `debriscount.campaign.result_file`, which reads them. What cannot be
known is None; further keys may come.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

_Interval = tuple[float, float]
_Camera = dict[str, float | int | str | bool | None]
_Cell = str | float | int | bool | None


class _Block(BaseModel):
    model_config = ConfigDict(extra="allow", frozen=True)


class _Amount(_Block):
    area_mm2: float | None
    grains: int | None
    grains_interval95: tuple[int, int] | None
    mass_g: float | None


class _Blank(_Block):
    file: str
    sha256: str
    taken: str | None
    camera: _Camera


class _Grid(_Block):
    x0_mm: float
    y0_mm: float
    mm_per_px: float
    width_px: int
    height_px: int


class _CountedKind(_Block):
    color: str
    zones: dict[str, _Amount]


class _CountedPhoto(_Block):
    file: str
    sha256: str
    taken: str | None
    camera: _Camera
    blank: _Blank | None
    patch: dict[str, object] | None
    mm_per_px: float | None
    region: tuple[int, int, int, int] | None
    grid: _Grid
    zones: dict[str, _Amount]
    kinds: dict[str, _CountedKind]
    warnings: list[str]


class CountRecord(_Block):
    """count.json, and what ``count --json`` prints."""

    format: Literal["debriscount/count/1"]
    version: str
    photos: list[_CountedPhoto]


class _Known(_Block):
    """A value with its standard uncertainty and 95 % interval."""

    value: float | None
    u: float | None
    interval95: tuple[float | None, float | None] | None


class _Learned(_Known):
    dof: float | None


class _Limits(_Block):
    bias: _Known
    sd: float
    lower: _Known
    upper: _Known


class _Line(_Block):
    slope: _Known | None
    intercept_percent: float
    u_intercept: float
    chi2: float
    dof: int


class _Drift(_Block):
    per: Literal["day", "run"]
    slope: _Known
    chance: float
    same_sign: int
    same_sign_chance: float


class _Scatter(_Block):
    ratio: float
    chance: float


class _Alone(_Block):
    u_percent: float
    dof: float | None


class _WeighedRun(_Block):
    run: str
    photo_percent: float
    photo_u: float
    scale_percent: float
    scale_u: float
    en: float
    zeta: float
    verdict: str
    cause: str | None


class AgreementRecord(_Block):
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


class _Crowding(_Block):
    used: float
    fitted: _Known | None
    p: float | None
    adopted: bool


class _GrainMass(_Block):
    counted: _Learned | None
    thousand_grains: _Learned | None
    zeta: float | None
    agree: bool | None


class _LackOfFit(_Block):
    f: float | None
    dof: tuple[float, float | None]
    p: float


class _PortionPhoto(_Block):
    file: str
    sha256: str


class _Portion(_Block):
    photos: list[_PortionPhoto]
    grams: float
    u_grams: float
    area_mm2: float
    cover_percent: float
    grains: float | None
    off_percent: float
    leverage: float


class _Advice(_Block):
    portion: str
    now: float | None
    then: float
    text: str


class PortionRecord(_Block):
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


class _Finding(_Block):
    code: str
    name: str
    value: float | None
    unit: str
    limit: float | None
    limit_is: Literal["least", "most"] | None
    fit: bool
    reason: str
    advice: str


class _Shot(_Block):
    file: str
    against: str | None
    want_percent: float
    fit: bool
    findings: list[_Finding]


class ShotRecord(_Block):
    """What ``shot --json`` prints."""

    format: Literal["debriscount/shot/1"]
    shots: list[_Shot]


class _StandsApart(_Block):
    name: str
    chance: float | None
    outlier: bool


class _Group(_Block):
    group: dict[str, _Cell]
    n: int
    mean: float | None
    more_than: bool
    sd: float | None
    interval95: _Interval | None
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


class _Chosen(_Block):
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


class _Difference(_Block):
    within: dict[str, _Cell]
    first: str
    second: str
    n: tuple[int, int]
    difference: float | None
    bound: str | None
    interval95: _Interval | None
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


class RunsRecord(_Block):
    """The table of every figure that ``summary --csv FILE.json`` writes, with what its columns hold."""

    format: Literal["debriscount/runs/1"]
    version: str
    columns: dict[str, str]
    rows: list[dict[str, _Cell]]


class _PlannedPortion(_Block):
    kind: str
    grams: float
    load_g_per_m2: float
    cover_percent: float | None
    limit_percent: float
    most_g: float | None
    grains: int | None
    crowded: bool


class _PlannedTest(_Block):
    run: int
    block: int
    level: str


class PlanRecord(_Block):
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


class _Left(_Block):
    """Debris left in a zone, percent of what lay there at first."""

    left_percent: float | None
    interval95: _Interval | None
    bounds_percent: _Interval | None
    area_mm2: float | None


class _Sample(_Block):
    t_s: float
    hidden_percent: float
    zones: dict[str, _Left]
    kinds: dict[str, dict[str, _Left]] | None = None


class _Lying(_Block):
    area_mm2: float | None


class _FilmedPickup(_Block):
    pickup_percent: float | None
    interval95: _Interval | None
    before: _Lying
    after: _Lying


class _FilmedPass(_Block):
    number: int = Field(alias="pass")
    start_s: float
    end_s: float
    on_patch_s: float
    zones: dict[str, _FilmedPickup]
    kinds: dict[str, dict[str, _FilmedPickup]] | None = None


class _FilmFile(_Block):
    size_px: tuple[int, int]
    codec: str
    rate: float | None
    claimed_s: float | None
    read_s: float


class _FilmedFile(_Block):
    file: str
    sha256: str


class _FilmedKind(_Block):
    name: str
    color: str


class _FilmedMachine(_Block):
    width_mm: float | None
    height_mm: float


class _Lane(_Block):
    start_s: float
    end_s: float
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    heading_deg: float
    cleaned_mm: float | None
    cleaned_off_mm: float | None


class _Turn(_Block):
    start_s: float
    x_mm: float
    y_mm: float
    turned_deg: float
    seconds: float


class _CameraMove(_Block):
    t_s: float
    by_mm: float


class _Flag(_Block):
    code: str
    severity: str
    sentence: str


class FilmRecord(_Block):
    """film.json, and what ``film --json`` prints."""

    format: Literal["debriscount/film/1"]
    version: str
    patch: dict[str, object]
    photos: dict[str, _FilmedFile]
    film: _FilmFile
    grid: _Grid
    kinds: list[_FilmedKind]
    every_s: float
    passes: list[_FilmedPass]
    curve: list[_Sample]
    machine: _FilmedMachine
    lanes: list[_Lane]
    turns: list[_Turn]
    camera_moves: list[_CameraMove]
    warnings: list[str]
    flags: list[_Flag]
