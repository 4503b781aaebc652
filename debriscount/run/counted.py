"""What one photo shows: a frozen record whose fields carry their units."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..flags import Flag
from ..grains.table import GrainTable
from ..inputs.patch import Patch
from ..photo.settings import UNKNOWN_SETTINGS, CameraSettings
from ..pickup.records import Amount
from ..registration.grid import FloorGrid
from .records import KindColor

#: Left, top, width and height of a part of the upright photo, px.
Region = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """The record of one photo whose debris was counted.

    With a ``patch``, millimetres are the patch's and ``zones`` holds an amount for "patch" and each of its zones;
    ``region`` and ``mm_per_px`` are None. Without one, millimetres begin at the top-left corner of ``region``,
    ``mm_per_px`` is the photo's scale as given, and "patch", the whole region, is the only zone.

    ``by_kind`` is keyed by kind name and then by zone. ``floor_view`` is sRGB of shape (H, W, 3); ``kind_map`` of
    shape (H, W) holds 0 on floor and 1 + kind index on debris. File names and ``sha256`` are empty for photos given as
    arrays, and for a blank that was not given. ``mixups`` is what, held against the blank, makes one doubt that this is
    the photo or its debris the files' debris.
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
