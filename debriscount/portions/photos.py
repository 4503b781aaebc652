"""Photos of weighed portions, counted."""

from collections.abc import Sequence
from os import PathLike
from pathlib import PurePath

import numpy as np

from ..cover.kinds import OUTLINED_PX
from ..errors import NoDebrisError, PortionError
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.patch import OUTSIDE, Patch
from ..pickup.clumps import K95
from ..run.count import count
from ..run.records import Counted
from ..run.sources import Progress
from .arguments import PortionArgument
from .crowding import cell_covers
from .records import PortionShot, WeighedPortion

#: A share of the portion beyond the patch from which its border, as placed, says something about the area.
BEYOND = 0.02


def count_portions(
    portions: Sequence[PortionArgument],
    patch: Patch,
    kind: DebrisKind,
    *,
    blank: str | PathLike[str] | None = None,
    lens: CameraLens | str | PathLike[str] | None = None,
    progress: Progress | None = None,
) -> tuple[tuple[WeighedPortion, ...], list[str]]:
    """Count the photos of weighed portions.

    Parameters
    ----------
    portions : sequence of PortionArgument
        What was weighed, and its photos.
    patch : Patch
        On which they lay.
    kind : DebrisKind
        What they are of.
    blank : path, optional
        Photo of the clean floor.
    lens : CameraLens or path, optional
        The camera's lens; told from the markers unless given.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    portions : tuple of WeighedPortion
    warnings : list of str
        Of the photos, each with the file's name.

    Raises
    ------
    PortionError
        A photo is given twice.
    NoDebrisError
        A photo shows no debris.
    DebriscountError
        As `debriscount.run.count.count`.
    """
    total = sum(len(p.photos) for p in portions)
    tell: Progress = progress if progress is not None else lambda _done, _what: None
    names: dict[str, str] = {}
    warnings: list[str] = []
    done = 0
    weighed = []
    for portion in portions:
        shots = []
        for photo in portion.photos:
            counted = count(
                photo,
                patch=patch,
                blank=blank,
                lens=lens,
                debris=[kind],
                progress=_part_of(tell, done, total),
            )
            if counted.sha256 in names:
                raise PortionError(
                    f"{photo}: is the same photo as {names[counted.sha256]}. Give each photo once; further photos of a "
                    "portion follow the first after commas."
                )
            names[counted.sha256] = str(photo)
            shots.append(portion_shot(counted, kind))
            warnings += [f"{photo.name}: {warning}" for warning in counted.warnings]
            warnings += _strewn(counted, photo.name)
            done += 1
        weighed.append(WeighedPortion(portion.mass_g, tuple(shots)))
    return tuple(weighed), warnings


def _part_of(tell: Progress, done: int, total: int) -> Progress:
    return lambda part, what: tell((done + part) / total, what)


def portion_shot(counted: Counted, kind: DebrisKind) -> PortionShot:
    """What a counted photo shows of a portion, in the patch and its margin.

    Raises
    ------
    NoDebrisError
        That is nothing.
    """
    grains = counted.grains.take(counted.grains.zone != OUTSIDE)
    zones = [counted.zones[name] for name in ("patch", "margin") if name in counted.zones]
    net = sum(zone.area_mm2 for zone in zones)
    if len(grains) == 0 or net <= 0:
        raise NoDebrisError(
            f"{counted.file}: shows no {kind.name}. Give a photo of the portion, and check the debris file's colour."
        )
    cover, cell_mm2 = cell_covers(grains.x_mm, grains.y_mm, grains.area_mm2)
    bare = float(grains.area_mm2.sum()) - net
    number = sum(zone.grains for zone in zones)
    intervals = [zone.grains95 for zone in zones]
    counts = kind.size_mm[0] / counted.grid.mm_per_px >= OUTLINED_PX and None not in intervals
    # Half the width of a 95 % interval is K95 standard deviations; zones' clumps are apart, so squares add up.
    u_grains = float(np.sqrt(sum(((i[1] - i[0]) / 2 / K95) ** 2 for i in intervals if i is not None)))
    # Bare floor's grains are chance events of about a grain's area each, here and in the blank.
    u_bare = float(np.sqrt(2 * max(bare, 0.0) * np.median(grains.area_mm2)))
    return PortionShot(
        file=PurePath(counted.file).name,
        sha256=counted.sha256,
        cell_cover=cover,
        cell_mm2=cell_mm2,
        bare_mm2=bare,
        u_bare_mm2=u_bare,
        grains=number if counts else None,
        u_grains=u_grains,
    )


def _strewn(counted: Counted, name: str) -> list[str]:
    """Warn of a portion that lies beyond the patch."""
    margin = counted.zones.get("margin")
    if margin is None:
        return []
    share = margin.area_mm2 / max(margin.area_mm2 + counted.zones["patch"].area_mm2, 1e-12)
    if share <= BEYOND:
        return []
    return [
        f"{name}: {100 * share:.2g} % of the portion lie beyond the patch, and more may lie beyond the margin, unseen. "
        "Lay portions within the patch"
    ]
