"""The record of a measured film."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..flags import Flag
from ..inputs.patch import Patch
from ..registration.grid import FloorGrid
from ..run.records import KindColor
from .frames import FilmFile
from .left import LeftOver
from .track import Lane, Outing, Track, Turn


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraMove:
    """The camera was moved: when this was seen, and how far the floor slid in the picture at the patch's middle, mm."""

    t_s: float
    by_mm: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredFilm:
    """A measured film.

    ``times_s`` of shape (T,) are the times of the samples; ``left`` is keyed by "patch" and zone, ``left_by_kind`` by
    kind and then the same, empty for a single kind; ``hidden_percent`` of shape (T,) is how much of the patch was
    hidden. ``floor_view`` of shape (H, W, 3) is sRGB of the first clear frame on ``grid``. ``read_s`` is how far the
    film could be read.
    """

    film: FilmFile
    patch: Patch
    every_s: float
    machine_height_mm: float
    blank_file: str
    blank_sha256: str
    kinds: tuple[KindColor, ...]
    grid: FloorGrid
    floor_view: NDArray[np.uint8]
    times_s: Floats
    left: Mapping[str, LeftOver]
    left_by_kind: Mapping[str, Mapping[str, LeftOver]]
    hidden_percent: Floats
    track: Track
    lanes: tuple[Lane, ...]
    turns: tuple[Turn, ...]
    outings: tuple[Outing, ...]
    moves: tuple[CameraMove, ...]
    read_s: float
    flags: tuple[Flag, ...]
