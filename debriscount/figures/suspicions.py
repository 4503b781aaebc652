"""What looks like a mix-up, a foreign thing or a shot taken otherwise than the rest: every such check in one place."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..flags import Flag
from ..geometry.register import RegisteredShots
from ..grains.find import FoundGrains
from ..inputs.debris import DebrisKind
from ..photo.read import Photo
from .alike import alike_flags
from .foreign import foreign_flags
from .mixups import blank_flags, other_run_flags, size_flags
from .on_blank import gone_flags
from .records import PassFigures
from .same_photo import time_flags
from .seen_first import SeenFirst
from .unnamed import unnamed_flags


def mixup_flags(
    photos: Mapping[str, Photo],
    first: SeenFirst,
    registered: RegisteredShots,
    maps: CoverMaps,
    found: Mapping[str, FoundGrains],
    strewn: NDArray[np.bool_],
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
    passes: Sequence[PassFigures],
) -> tuple[Flag, ...]:
    """A flag for everything about a measured run that makes one doubt that these are the right photos and files."""
    covers, scale = {name: shot.cover for name, shot in maps.shots.items()}, registered.grid.mm_per_px
    on_blank = blank_flags(found["before"], covers["blank"]) if "blank" in covers else []
    return (
        *time_flags(photos),
        *(on_blank or gone_flags(maps.matched, registered.usable & strewn, found, hints, maps.colours)),
        *size_flags(kinds, hints, covers["before"], strewn, scale),
        *other_run_flags(passes, hints),
        *foreign_flags(first.cells, registered.usable, strewn, found, hints, scale),
        *unnamed_flags(maps.matched, registered.usable & strewn, found, hints, maps.colours),
        *alike_flags(first.tones, maps.matched, found, registered.usable),
    )
