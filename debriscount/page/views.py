"""Before and after of every run as a page shows them: pictures, what lies over them, and how to switch it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from ..at_once import for_each
from ..errors import InputFileError
from ..report.lookup import shot_name_of_pass
from ..report.palette import Color
from ..report.record import patch_of
from .layers import Layers, layers_of
from .pictures import ShotPicture, found_map, kind_colors, shot_picture
from .sources import RECORD, PageRun, damaged, picture

#: A page may take 25 MB; pictures may take so much of that, before base64 makes four bytes of three.
_PICTURE_BYTES = 15_500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownShot:
    """A picture in the viewer.

    Where several passes have it in common, ``shared`` is its name in the page, and only the first holds ``view`` and
    ``outlines``, which are empty in the others.
    """

    view: Markup
    outlines: Markup
    outlined: bool
    shared: str
    width: int
    height: int
    title: str
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """A layer that can be switched on and off, with samples of its colours."""

    name: str
    title: str
    on: bool = False
    samples: tuple[Mapping[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Before and after a pass, with what lies over them."""

    title: str
    before: ShownShot
    after: ShownShot
    layers: Layers
    switches: tuple[Switch, ...]
    fineness: str
    notes: tuple[str, ...]
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float


def run_views(runs: Sequence[PageRun]) -> list[tuple[View, ...]]:
    """Return what is seen of every run, a view a pass; none of a run without floor views.

    All pictures share what the page may take.

    Raises
    ------
    InputFileError
        A record or a picture is damaged.
    """
    number = sum(1 + len(run.record["passes"]) for run in runs if run.record) or 1
    each = _PICTURE_BYTES // number
    return list(for_each(partial(_run_views, most_bytes=each), list(enumerate(runs, start=1))))


def _run_views(numbered: tuple[int, PageRun], most_bytes: int) -> tuple[View, ...]:
    number, run = numbered
    try:
        return tuple(_made_views(run, f"before-{number}", most_bytes))
    except InputFileError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise damaged(run.folder / RECORD, error) from None


def _made_views(run: PageRun, before_name: str, most_bytes: int) -> Iterable[View]:
    record = run.record
    if not record:
        return
    patch, grid = patch_of(record["patch"]), record["grid"]
    kinds = record["kinds"]
    jpeg = picture(run.folder, "floor-before.jpg")
    if jpeg is None:
        return
    found = _found(run.folder, "before")
    colors = kind_colors([_rgb(kind["color"]) for kind in kinds], jpeg, found)
    # Outlines take about a quarter of what the view does.
    made = partial(shot_picture, colors=colors, most_bytes=round(0.8 * most_bytes))
    before = made(jpeg, found, name=str(run.folder / "floor-before.jpg"))
    grains = run.grains
    rendered = ", rendered" if patch.rendered else ""
    step = float(grid["mm_per_px"])
    several = len(record["passes"]) > 1
    held = True
    for done in record["passes"]:
        shot = shot_name_of_pass(int(done["pass"]))
        jpeg = picture(run.folder, f"floor-{shot}.jpg")
        if jpeg is None:
            continue
        after = made(jpeg, _found(run.folder, shot), name=str(run.folder / f"floor-{shot}.jpg"))
        layers = layers_of(patch, grid, done, [row for row in grains if row.get("shot") == shot])
        what = "after the pass" if not several else f"after pass {done['pass']}"
        names = ", ".join(str(kind["name"]) for kind in kinds)
        yield View(
            title=f"Before and {what}",
            before=_shot(
                before,
                f"Before{rendered}",
                f"The patch from straight above before the run, with {names} strewn on it",
                shared=before_name if several else "",
                held=held,
            ),
            after=_shot(
                after, f"{what.capitalize()}{rendered}", f"The same view {what}, with the debris that was left"
            ),
            layers=layers,
            switches=_switches(layers, kinds, colors, before, done),
            fineness=_fineness(before, step * int(grid["width_px"])),
            notes=_view_notes(layers, done),
            left_mm=round(float(grid["x0_mm"]) - step / 2, 2),
            top_mm=round(float(grid["y0_mm"]) - step / 2, 2),
            width_mm=round(step * int(grid["width_px"]), 2),
            height_mm=round(step * int(grid["height_px"]), 2),
        )
        held = False


def _found(folder: Path, shot: str) -> NDArray[np.uint8] | None:
    content = picture(folder, f"found-{shot}.png")
    return None if content is None else found_map(content, str(folder / f"found-{shot}.png"))


def _shot(made: ShotPicture, title: str, alt: str, *, shared: str = "", held: bool = True) -> ShownShot:
    return ShownShot(
        view=Markup(made.view if held else ""),
        outlines=Markup(made.outlines if held else ""),
        outlined=bool(made.outlines),
        shared=shared,
        width=made.width,
        height=made.height,
        title=title,
        alt=alt,
    )


def _switches(
    layers: Layers, kinds: Sequence[Mapping[str, Any]], colors: Sequence[Color], before: ShotPicture, done: Any
) -> tuple[Switch, ...]:
    found = []
    if before.outlines:
        samples = [
            {"name": str(kind["name"]), "color": "#{:02x}{:02x}{:02x}".format(*color)}
            for kind, color in zip(kinds, colors, strict=True)
        ]
        found.append(Switch(name="outlines", title="Outlines of", samples=tuple(samples)))
    found.append(Switch(name="zones", title="Zones", on=True))
    if layers.untouched or layers.shifted:
        samples = [
            {"name": "ring: untouched", "color": "#56b4e9"},
            {"name": "cross: shifted", "color": "#f0a830"},
        ]
        found.append(Switch(name="fates", title="Leftovers", samples=tuple(samples)))
    if layers.strips or layers.missed:
        sample = {"name": "dashed: never reached", "color": "#f0e442"}
        found.append(Switch(name="strips", title="Strips and places", samples=(sample,)))
    if layers.flung or layers.arrow:
        name = "flung out" if layers.flung else ""
        if layers.arrow:
            name += f"{', ' if name else ''}arrow: where moved debris went"
        found.append(Switch(name="scatter", title="Scatter", samples=({"name": name, "color": "#ff9ad5"},)))
    return tuple(found)


def _fineness(made: ShotPicture, width_mm: float) -> str:
    pixel = f"{width_mm / made.width:.2g} mm of floor"
    if made.share == 1:
        return f"A pixel is {pixel}, about what one of the photo is. Each is shown four times as large."
    return (
        f"A pixel here is {pixel}: the page has many pictures, so they are {100 * made.share:.0f} % as wide as the "
        "photo would allow."
    )


def _view_notes(layers: Layers, done: Mapping[str, Any]) -> tuple[str, ...]:
    notes = []
    shown, told = layers.fates_marked
    if shown < told:
        notes.append(f"Marked are the {shown} largest of {told} grains left.")
    matched = (done.get("leftovers") or {}).get("kinds", {})
    fine = [kind for kind, block in matched.items() if not block.get("matched")]
    if fine:
        notes.append(f"{', '.join(fine)}: too fine to mark grain by grain; the shares below hold for it too.")
    return tuple(notes)


def _rgb(text: str) -> Color:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)
