"""The stills of a run: before and after as they are, what stayed, zones with their figures, strips, bars."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..campaign.records import FiledFigure, FiledPass
from ..inputs.patch import Patch
from ..page.words import SOUND, known_pickup, zone_title
from ..report.borders import draw_borders
from ..report.canvas import Canvas
from ..report.caption import LegendEntry, outline_sample
from ..report.labels import draw_labels
from ..report.marks import cross_sample, draw_marks, ring_radii, ring_sample, too_many
from ..report.outlines import draw_outlines
from ..report.palette import Color, as_color, contrasting
from ..report.rounding import amount_text, area_text, interval_text, more_than_text, percent_text
from ..report.unreached import draw_unreached
from .bars import bar_of, draw_bars
from .frame import FIGURE, QUIET, REMARK, TEXT, TITLE, Box, Frame, Line, Words, over_ground, write_words
from .views import RunViews, fitted, found_on, rgb

Still = Callable[[], NDArray[np.uint8]]


def run_stills(views: RunViews, frame: Frame, *, text: bool = True) -> dict[str, Still]:
    """The stills of a run by name, each drawn when it is called.

    Parameters
    ----------
    views : RunViews
        The run.
    frame : Frame
        Their size.
    text : bool
        Whether words stand beside the pictures. Without, what is around a picture is transparent.

    Returns
    -------
    dict of str to callable
        Pictures of shape (H, W, 3), or (H, W, 4) where parts are transparent: before, each after, what stayed in it
        and the marks of that alone, the zones with their figures, strips if there are any, and a bar a zone.
    """
    stills: dict[str, Still] = {"before": partial(_shot, views, frame, "before", text)}
    for done, found in zip(views.run.figures.passes, views.passes, strict=True):
        shot = "after" if done.number == 1 else f"after{done.number}"
        stills[shot] = partial(_shot, views, frame, shot, text)
        stills[f"leftovers-{shot}"] = partial(_leftovers, views, frame, shot, text)
        stills[f"marks-{shot}"] = partial(_marks_alone, views, frame, shot, text)
        stills[f"zones-{shot}"] = partial(_zones, views, frame, shot, text)
        if strip_outlines(found, views.patch):
            stills[f"strips-{shot}"] = partial(_strips, views, frame, shot, text)
        if text:
            stills[f"bars-{shot}"] = partial(_bars, views, frame, done)
    return stills


def run_title(views: RunViews) -> str:
    """Machine and settings of a run, or else the patch that it was on; of renderings, that they are such."""
    about = views.run.about
    if about is None:
        return views.patch.title
    parts = [about.machine, *(f"{key} {value}" for key, value in about.settings.items())]
    return ", ".join([*parts, *(["rendered pictures"] if views.patch.rendered else [])])


def pickup_lines(figure: FiledFigure) -> list[Line]:
    """A pickup as a large figure, with its interval and, where it has one, its doubt below."""
    if figure.more_than_percent is not None:
        lines = [Line(more_than_text(figure.more_than_percent), FIGURE, bold=True), Line("picked up")]
    elif figure.pickup_percent is None:
        return [Line("not measurable", TITLE, bold=True), *([Line(figure.why, REMARK, QUIET)] if figure.why else [])]
    else:
        lines = [Line(percent_text(figure.pickup_percent), FIGURE, bold=True), Line("picked up")]
        if figure.interval95 is not None:
            lines.append(Line(f"95 % interval {interval_text(figure.interval95)}", REMARK, QUIET))
    if figure.trust != SOUND:
        lines.append(Line(f"{figure.trust}{f': {figure.why}' if figure.why else ''}", REMARK, QUIET))
    return lines


def shot_words(views: RunViews, shot: str) -> list[Line]:
    """What stands beside a shot: run, shot, and how much lay there or was picked up."""
    number = int(shot[5:] or 1) if shot.startswith("after") else 0
    passes = views.run.figures.passes
    name = "Before" if not number else "After" if len(passes) == 1 else f"After pass {number}"
    words = [Line(run_title(views), REMARK, QUIET), Line(name, TITLE, bold=True)]
    found = views.passes[max(number - 1, 0)]["zones"]["patch"]["after" if number else "before"]
    amount = f"{area_text(found['area_mm2'])} mm² of debris"
    if found.get("grains") is not None:
        amount = f"{amount_text(found['grains'])} grains, {amount}"
    if number:
        words += pickup_lines(passes[number - 1].zones["patch"])
        amount = f"left: {amount}"
    return [*words, Line(amount, REMARK)]


def composed(frame: Frame, canvas: Canvas, place: tuple[int, int], words: Words, text: bool) -> NDArray[np.uint8]:
    """Put a picture and its words into the frame; without words all around it is transparent."""
    image = frame.empty()
    _put(image, canvas.image, place)
    if text:
        write_words(image, frame.parted()[1], words, frame.unit)
        return image
    opaque = np.zeros((frame.height, frame.width), np.uint8)
    _put(opaque, np.full(canvas.image.shape[:2], 255, np.uint8), place)
    return np.dstack([image, opaque])


def picture_box(frame: Frame, text: bool) -> Box:
    """Where pictures go: beside the words, or in all of what every screen shows."""
    return frame.parted()[0] if text else frame.safe


def _put(image: NDArray[np.uint8], part: NDArray[np.uint8], place: tuple[int, int]) -> None:
    left, top = place
    image[top : top + part.shape[0], left : left + part.shape[1]] = part


def _shot(views: RunViews, frame: Frame, shot: str, text: bool) -> NDArray[np.uint8]:
    canvas, place = fitted(views.floor(shot), views, picture_box(frame, text))
    return composed(frame, canvas, place, shot_words(views, shot), text)


def _leftovers(views: RunViews, frame: Frame, shot: str, text: bool) -> NDArray[np.uint8]:
    canvas, place = fitted(views.floor(shot), views, picture_box(frame, text))
    legend = draw_fates(canvas, views, shot, frame.unit)
    return composed(frame, canvas, place, [*shot_words(views, shot), *legend], text)


def _marks_alone(views: RunViews, frame: Frame, shot: str, text: bool) -> NDArray[np.uint8]:
    """The marks of what stayed on nothing, where they lie on the still of the shot."""
    over = []
    for shade in (0, 255):
        canvas, (left, top) = fitted(np.full((*views.grid.shape, 3), shade, np.uint8), views, picture_box(frame, text))
        draw_fates(canvas, views, shot, frame.unit)
        image = np.full((frame.height, frame.width, 3), shade, np.uint8)
        _put(image, canvas.image, (left, top))
        over.append(image)
    return over_ground(over)


def draw_fates(canvas: Canvas, views: RunViews, shot: str, unit: float) -> list[LegendEntry]:
    """Mark what stayed, in place: a ring round each grain that was not moved, a cross round each that was.

    Debris too fine or too dense for marks, and such as was not followed grain by grain, gets an outline instead.
    Nothing is drawn over debris, so that it can still be seen.

    Parameters
    ----------
    canvas : Canvas
        With the floor view, which is changed.
    views : RunViews
        The run.
    shot : str
        After a pass.
    unit : float
        Of the frame.

    Returns
    -------
    list of LegendEntry
        What the marks mean.
    """
    ring, cross, edge = views.colors(3)
    ground = as_color(views.ground[1])
    rows = views.rows(shot)
    marked, singly = _marked(canvas, views, rows)
    bare, found = canvas.image.copy(), found_on(canvas, views.found(shot), views.grid)
    legend: list[LegendEntry] = []
    kinds = views.run.record["kinds"]
    others = np.array([0, *(0 if code in singly else code + 1 for code in range(len(kinds)))], np.uint8)
    outlined = others[np.minimum(found, len(kinds))]
    if outlined.any():
        width = max(1, round(unit))
        colors: list[Color] = [edge] * len(kinds)
        draw_outlines(canvas.image, outlined, colors, [width] * len(kinds), width)
        sample = outline_sample(edge, rgb(kinds[0]["color"]), ground)
        legend.append(LegendEntry("debris left, too fine or dense to follow", sample))
    if marked:
        places = canvas.to_px(np.array([(float(row["x_mm"]), float(row["y_mm"])) for row in marked]))
        radii = ring_radii(np.array([float(row["diameter_mm"]) for row in marked]) / canvas.grid.mm_per_px)
        still = np.array([row["fate"] == "untouched" for row in marked])
        draw_marks(canvas.image, places, radii, still, (ring, cross))
        debris = rgb(kinds[0]["color"])
        legend.append(LegendEntry("never moved", ring_sample(ring, debris, ground)))
        legend.append(LegendEntry("moved, not picked up", cross_sample(cross, debris, ground)))
    cv2.copyTo(bare, found, canvas.image)
    return legend


def _marked(
    canvas: Canvas, views: RunViews, rows: Sequence[Mapping[str, str]]
) -> tuple[list[Mapping[str, str]], set[int]]:
    """Rows of grains that are marked one by one, and the codes of their kinds."""
    patch_px = views.patch.width_mm * views.patch.height_mm / canvas.grid.mm_per_px**2
    marked: list[Mapping[str, str]] = []
    singly = set()
    for code, kind in enumerate(views.run.record["kinds"]):
        own = [row for row in rows if row["kind"] == kind["name"] and row["fate"]]
        radii = ring_radii(np.array([float(row["diameter_mm"]) for row in own]) / canvas.grid.mm_per_px)
        if own and not too_many(radii, patch_px):
            marked += own
            singly.add(code)
    return marked, singly


def _zones(views: RunViews, frame: Frame, shot: str, text: bool) -> NDArray[np.uint8]:
    number = int(shot[5:] or 1)
    zones = views.run.figures.passes[number - 1].zones
    canvas, place = fitted(views.floor(shot), views, picture_box(frame, text))
    draw_borders(canvas.image, views.patch, canvas.grid, max(1, round(1.5 * frame.unit)), contrasting(views.ground[1]))
    covered = found_on(canvas, views.found(shot), views.grid)
    if text:
        draw_labels(
            canvas.image, covered, views.patch, canvas.grid,
            texts=_zone_texts(views.patch, zones), size=round(REMARK * frame.unit),
        )  # fmt: skip
    words = [*shot_words(views, shot)]
    return composed(frame, canvas, place, words, text)


def _zone_texts(patch: Patch, zones: Mapping[str, FiledFigure]) -> dict[str, list[str]]:
    texts = {}
    for name in (*patch.zone_names(), *(zone.name for zone in patch.custom_zones)):
        if name in zones and name != "margin":
            figure = zones[name]
            known = known_pickup(figure)
            more = figure.more_than_percent is not None
            said = "?" if known is None else f"{'> ' if more else ''}{percent_text(known)}"
            said += "" if figure.trust == SOUND or known is None else " doubtful"
            texts[name] = [f"{zone_title(name)} {said}", f"{zone_title(name)}\n{said}", said.replace(" doubtful", "?")]
    return texts


def strip_outlines(found: Mapping[str, Any], patch: Patch) -> list[tuple[NDArray[np.float64], str]]:
    """Outlines of what a pass never reached, mm, each with its label: a strip's width, a place's share."""
    from ..leftovers.reach.missed import strip_outline
    from ..leftovers.records import Strip

    strips = (found.get("lanes") or {}).get("strips", ())
    outlines = []
    for strip in strips:
        (x0, y0), (x1, y1) = strip["ends_mm"]
        corners = strip_outline(
            Strip(
                ends_mm=((float(x0), float(y0)), (float(x1), float(y1))),
                width_mm=float(strip["width_mm"]),
                width_u_mm=float(strip["width_u_mm"] or 0),
                straight_mm=float(strip["straight_mm"] or 0),
                share_percent=float(strip["share_percent"] or 0),
            ),
            patch,
        )
        if len(corners) > 2:  # a strip that only touches the patch has no inside
            outlines.append((np.asarray(corners, float), f"{float(strip['width_mm']):.0f} mm"))
    for place in found.get("missed") or ():
        if place["what"] != "strip" or not strips:
            outlines.append((np.array(place["polygon_mm"], float), f"{float(place['share_percent']):.0f} %"))
    return outlines


def _strips(views: RunViews, frame: Frame, shot: str, text: bool) -> NDArray[np.uint8]:
    number = int(shot[5:] or 1)
    found = views.passes[number - 1]
    canvas, place = fitted(views.floor(shot), views, picture_box(frame, text))
    outlines = strip_outlines(found, views.patch)
    if not text:
        outlines = [(corners, "") for corners, _ in outlines]
    bare, debris = canvas.image.copy(), found_on(canvas, views.found(shot), views.grid)
    large = replace(canvas, size=round(TEXT * frame.unit))  # labels as large as other words
    draw_unreached(large, outlines, debris > 0, contrasting(views.ground[1]))
    cv2.copyTo(bare, debris, canvas.image)
    lanes = found.get("lanes") or {}
    words = [*shot_words(views, shot)[:2], Line("Never reached", TITLE, bold=True)]
    if lanes.get("strips"):
        count, width = len(lanes["strips"]), float(lanes["strip_mm"])
        words.append(Line(f"{count} strip{'s' if count > 1 else ''} between lanes, {width:.0f} mm wide"))
        if lanes.get("share_percent") is not None:
            words.append(Line(f"{float(lanes['share_percent']):.0f} % of what stayed lies there"))
    if len(outlines) > len(lanes.get("strips", ())):
        words.append(Line("percent: share of what stayed", REMARK, QUIET))
    return composed(frame, canvas, place, words, text)


def _bars(views: RunViews, frame: Frame, done: FiledPass) -> NDArray[np.uint8]:
    title = "Picked up, by zone" + ("" if done.number == 1 else f", after {done.number} passes")
    shown = {zone_title(name): bar_of(figure) for name, figure in done.zones.items() if name != "margin"}
    return draw_bars(frame, title, run_title(views), shown)
