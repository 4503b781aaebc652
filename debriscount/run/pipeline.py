"""What measuring a run and counting a photo have in common: from photos that lie on a patch to the grains in them."""

from collections.abc import Mapping, Sequence

from ..arrays import Mask
from ..at_once import for_each
from ..cover.guess import guess_kinds, guess_kinds_alone
from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps, cover_maps
from ..grains.find import FoundGrains, find_grains
from ..grains.table import GrainTable, grain_table
from ..inputs.debris import DebrisKind
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..photo.read import Photo
from ..photo.shots import side_by_side
from ..registration.register import RegisteredShots, register_shots
from .sources import Progress, kind_hints, rim_mm, smallest_mm, without_colour


def comparable(
    photos: Mapping[str, Photo], kinds: tuple[DebrisKind, ...], shot: str
) -> tuple[dict[str, Photo], tuple[str, ...], tuple[DebrisKind, ...]]:
    """Photos made comparable and what `side_by_side` tells of them; kinds without colour where ``shot`` has none."""
    alike, told = side_by_side(photos)
    return alike, told, without_colour(kinds) if alike[shot].grey else kinds


def on_patch(
    photos: Mapping[str, Photo],
    patch: Patch,
    kinds: Sequence[DebrisKind],
    lens: CameraLens | None,
    tell: Progress,
) -> RegisteredShots:
    """Floor views of a patch, with room around it for the largest grain and as fine as the smallest asks for."""
    return register_shots(
        photos,
        patch,
        rim_mm=rim_mm(kinds),
        grain_mm=smallest_mm(kinds),
        lens=lens,
        progress=lambda done: tell(0.1 + 0.3 * done, "aligning"),
    )


def strewn_floor(patch: Patch, registered: RegisteredShots) -> Mask:
    """Pixels of the floor view that lie in the patch, shape (H, W)."""
    return patch.inside(registered.grid.x_mm()[None, :], registered.grid.y_mm()[:, None])


def hints_of(
    registered: RegisteredShots, kinds: Sequence[DebrisKind], shot: str, bare: str | None
) -> tuple[KindHint, ...]:
    """What to look for: what files tell or, without any, what sets ``shot`` off from ``bare`` or its own floor.

    Empty if no file tells and nothing stands out.
    """
    if kinds:
        return kind_hints(kinds, registered.grid.mm_per_px, registered.paper)
    views = registered.views
    if bare is None:
        return guess_kinds_alone(views[shot], registered.usable)
    return guess_kinds(views[shot], views[bare], registered.usable)


def told_debris(
    registered: RegisteredShots, hints: Sequence[KindHint], strewn: Mask | None = None, *, spend: bool = False
) -> tuple[CoverMaps, dict[str, FoundGrains]]:
    """Debris told from floor, and the grains of every shot; ``spend`` as `cover_maps` takes it."""
    maps = cover_maps(registered.views, registered.usable, registered.shown, hints, strewn, spend=spend)
    grains = for_each(lambda shot: find_grains(shot, hints), maps.shots.values())
    return maps, dict(zip(maps.shots, grains, strict=True))


def grain_tables(found: Mapping[str, FoundGrains], registered: RegisteredShots, patch: Patch) -> dict[str, GrainTable]:
    """Grains of every shot with their places on the patch."""
    return {name: grain_table(f, registered.grid, patch, registered.cameras.get(name)) for name, f in found.items()}
