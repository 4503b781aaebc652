"""What looks like a mix-up or a shot taken otherwise than the rest: every such check in one place."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Mask
from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..flags import Flag, listed
from ..grains.find import FoundGrains
from ..inputs.debris import DebrisKind
from ..photo.read import Photo
from ..registration.register import RegisteredShots
from .alike import alike_flags
from .foreign import cell_views, foreign_things
from .mixups import FEWEST, blank_flags, size_flags
from .on_blank import gone_flags
from .same_photo import time_flags
from .seen_first import SeenFirst
from .standing_out import LogViews
from .unnamed import unnamed_flags


def photo_mixup_flags(
    registered: RegisteredShots,
    maps: CoverMaps,
    found: Mapping[str, FoundGrains],
    strewn: Mask,
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
) -> tuple[Flag, ...]:
    """The same of one shot that is held against another: files that do not fit its debris, and foreign things.

    In ``found`` and ``maps`` the other shot is called "blank". Where more went than came since, it shows debris itself,
    and nothing is said.
    """
    (name,) = (n for n in found if n != "blank")
    cover, usable, scale = maps.shots[name].cover, registered.usable, registered.grid.mm_per_px
    views = LogViews(maps.matched, max(hint.size_px[1] for hint in hints))
    went, came = (
        np.logical_and.reduce([*views.stands_out(a, b), usable, strewn]).sum()
        for a, b in (("blank", name), (name, "blank"))
    )
    if went > came:
        return ()
    if not any(c.samples for c in maps.colours) and came > FEWEST * min(hint.size_px[0] for hint in hints) ** 2:
        names = listed([kind.name for kind in kinds], "or")
        sentence = f"no {names} is seen, but other things are. Is it the right debris file?"
        return (Flag(code="not-found", severity="doubtful", sentence=sentence),)
    # What stands out from the other shot's floor may be debris that is gone.
    there = np.logical_and(*views.stands_out("blank", name)).astype(np.uint8)
    known = {"blank": replace(found["blank"], kind_map=there), name: found[name]}
    things = foreign_things(cell_views(registered.views, hints, scale), maps, usable, strewn, known, hints, scale)
    clear = usable & ~np.logical_or.reduce([~usable, *(thing.mask for thing in things)])
    return (
        *(thing.flag for thing in things),
        *size_flags(kinds, hints, np.where(clear, cover, np.float32(0)), strewn, scale),
        *unnamed_flags(views, clear & strewn, found, hints, maps.colours),
    )


def mixup_flags(
    photos: Mapping[str, Photo],
    first: SeenFirst,
    registered: RegisteredShots,
    maps: CoverMaps,
    views: LogViews,
    found: Mapping[str, FoundGrains],
    strewn: Mask,
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
) -> tuple[Flag, ...]:
    """A flag for everything seen in a run's shots that makes one doubt that these are the right photos and files."""
    covers, scale = {name: shot.cover for name, shot in maps.shots.items()}, registered.grid.mm_per_px
    on_blank = blank_flags(found["before"], covers["blank"]) if "blank" in covers else []
    return (
        *time_flags(photos),
        *(on_blank or gone_flags(views, registered.usable & strewn, found, hints, maps.colours)),
        *size_flags(kinds, hints, covers["before"], strewn, scale),
        *unnamed_flags(views, registered.usable & strewn, found, hints, maps.colours),
        *alike_flags(first.tones, maps.matched, found, registered.usable),
    )
