"""The records of a run and of a counted photo: frozen dataclasses whose fields carry their units."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..flags import Flag, sentences
from ..grains.table import GrainTable
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..inputs.weighing import Weighing
from ..leftovers.records import Explained
from ..mosaic.records import Joined
from ..photo.settings import UNKNOWN_SETTINGS, CameraSettings
from ..pickup.records import Amount, BudgetLine, PassFigures
from ..registration.grid import FloorGrid
from ..scale.agreement import Agreement
from ..scale.pickup import WeighedPickup


@dataclass(frozen=True, slots=True)
class KindColor:
    """A kind of debris as the photos of the run show it."""

    name: str
    color_srgb: tuple[int, int, int]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredShot:
    """One shot in the floor view, with what was found in it.

    ``name`` is "blank", "before", "after", "after2", …; ``floor_view`` is sRGB of shape (H, W, 3), ``photo_view`` the
    same floor as fine as the photo, where that is finer;
    ``kind_map`` of shape (H, W) holds 0 on floor and 1 + kind index on debris. ``file`` and
    ``sha256`` are empty for a shot given as an array. ``joined`` says of a shot made of several photos how they fit.
    """

    name: str
    file: str
    sha256: str
    markers_seen: tuple[int, ...]
    residual_mm: float
    floor_view: NDArray[np.uint8]
    kind_map: NDArray[np.uint8]
    grains: GrainTable
    settings: CameraSettings = UNKNOWN_SETTINGS
    joined: Joined | None = None
    photo_view: NDArray[np.uint8] | None = None


@dataclass(frozen=True, slots=True)
class BestPickup:
    """Pickup by photo and scale together, percent, with its standard uncertainty and 95 % interval.

    Nothing is above 100 %.
    """

    percent: float
    u_percent: float
    interval95: tuple[float, float]


@dataclass(frozen=True, slots=True)
class ScaleFigures:
    """What was weighed of a run, the pickup that follows, and whether it agrees with the photos'.

    ``agreement`` is None where either pickup is unknown. ``best`` is the pickup that photo and scale give together, of
    "patch" and zones, percent; empty unless the two agree and what was weighed fits together.
    """

    weighing: Weighing
    weighed: WeighedPickup
    agreement: Agreement | None
    best: Mapping[str, BestPickup] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Given:
    """What was given beside photos, patch, lens and weighing: with all of these a run can be measured again."""

    debris: tuple[DebrisKind, ...] = ()
    allow_growth: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measurement:
    """The record of one measured run; ``left`` says of every pass why debris stayed."""

    patch: Patch
    grid: FloorGrid
    kinds: tuple[KindColor, ...]
    shots: tuple[MeasuredShot, ...]
    passes: tuple[PassFigures, ...]
    budget: tuple[BudgetLine, ...] = ()
    flags: tuple[Flag, ...] = ()
    scale: ScaleFigures | None = None
    lens: CameraLens | None = None
    left: Explained = field(default_factory=Explained)
    given: Given = Given()

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the flags say, each thing once."""
        return sentences(self.flags)

    @property
    def pickup_percent(self) -> float | None:
        """Pickup of the whole patch after the last pass, percent."""
        return self.passes[-1].zones["patch"].pickup_percent


#: Left, top, width and height of a part of the upright photo, px.
Region = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Counted:
    """The record of one photo whose debris was counted.

    With a ``patch``, millimetres are the patch's and ``zones`` holds an amount for "patch" and each of its zones;
    ``region`` and ``mm_per_px`` are None. Without one, millimetres begin at the top-left corner of ``region``,
    ``mm_per_px`` is the photo's scale as given, and "patch", the whole region, is the only zone.

    ``by_kind`` is keyed by kind name and then by zone. ``floor_view`` is sRGB of shape (H, W, 3); ``kind_map`` of
    shape (H, W) holds 0 on floor and 1 + kind index on debris. File names and ``sha256`` are empty for photos given as
    arrays, and for a blank that was not given; ``joined`` says of a photo made of several how they fit. ``mixups`` is
    what, held against the blank, makes one doubt that this is the photo or its debris the files' debris.
    """

    file: str
    sha256: str
    blank_file: str
    blank_sha256: str
    patch: Patch | None
    region: Region | None
    mm_per_px: float | None
    grid: FloorGrid
    kinds: tuple[KindColor, ...]
    zones: dict[str, Amount]
    by_kind: dict[str, dict[str, Amount]]
    grains: GrainTable
    floor_view: NDArray[np.uint8]
    kind_map: NDArray[np.uint8]
    warnings: tuple[str, ...] = field(default=())
    mixups: tuple[Flag, ...] = ()
    settings: CameraSettings = UNKNOWN_SETTINGS
    blank_settings: CameraSettings = UNKNOWN_SETTINGS
    joined: Joined | None = None
    blank_joined: Joined | None = None
