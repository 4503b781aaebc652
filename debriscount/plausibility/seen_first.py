"""What photos and floor views tell that need not stay while debris is told from floor, which takes most memory."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cover.kinds import KindHint
from ..flags import Flag
from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch
from ..photo.colour import srgb_pixels
from ..photo.read import Photo
from ..registration.register import RegisteredShots
from .alike import Tones, shot_tones
from .foreign import CellViews, cell_views
from .noticed import shot_flags


@dataclass(frozen=True, slots=True, eq=False)
class SeenFirst:
    """By shot, the markers' tones, floor views averaged over cells and as sRGB; and what flags photos and markers."""

    tones: dict[str, Tones]
    cells: CellViews
    floors: dict[str, NDArray[np.uint8]]
    flags: list[Flag]


def see_first(
    photos: Mapping[str, Photo],
    registered: RegisteredShots,
    patch: Patch,
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
) -> SeenFirst:
    """Take all from photos and views that is needed later than they are."""
    located = registered.located
    assert located is not None  # only shots without markers have none
    return SeenFirst(
        shot_tones(photos, located.seen),
        cell_views(registered.views, hints, registered.grid.mm_per_px),
        {name: srgb_pixels(view) for name, view in registered.views.items()},
        shot_flags(photos, located, patch, kinds),
    )
