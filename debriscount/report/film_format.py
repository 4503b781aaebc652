"""What film.json holds, as models for its JSON Schema; what cannot be known is None, and further keys may come."""

from typing import Literal

from pydantic import Field

from .formats import Block, Grid, Interval


class _Left(Block):
    """Debris left in a zone, percent of what lay there at first."""

    left_percent: float | None
    interval95: Interval | None
    bounds_percent: Interval | None
    area_mm2: float | None


class _Sample(Block):
    t_s: float
    hidden_percent: float
    zones: dict[str, _Left]
    kinds: dict[str, dict[str, _Left]] | None = None


class _Lying(Block):
    area_mm2: float | None


class _FilmedPickup(Block):
    pickup_percent: float | None
    interval95: Interval | None
    before: _Lying
    after: _Lying


class _FilmedPass(Block):
    number: int = Field(alias="pass")
    start_s: float
    end_s: float
    on_patch_s: float
    zones: dict[str, _FilmedPickup]
    kinds: dict[str, dict[str, _FilmedPickup]] | None = None


class _FilmFile(Block):
    size_px: tuple[int, int]
    codec: str
    rate: float | None
    claimed_s: float | None
    read_s: float


class _FilmedFile(Block):
    file: str
    sha256: str


class _FilmedKind(Block):
    name: str
    color: str


class _FilmedMachine(Block):
    width_mm: float | None
    height_mm: float


class _Lane(Block):
    start_s: float
    end_s: float
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    heading_deg: float
    cleaned_mm: float | None
    cleaned_off_mm: float | None


class _Turn(Block):
    start_s: float
    x_mm: float
    y_mm: float
    turned_deg: float
    seconds: float


class _CameraMove(Block):
    t_s: float
    by_mm: float


class _Flag(Block):
    code: str
    severity: str
    sentence: str


class FilmRecord(Block):
    """film.json, and what ``film --json`` prints."""

    format: Literal["debriscount/film/1"]
    version: str
    patch: dict[str, object]
    photos: dict[str, _FilmedFile]
    film: _FilmFile
    grid: Grid
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
