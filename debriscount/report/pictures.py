"""Pictures of what was found: floor views with debris outlined and zones marked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..grains.table import GrainTable
from ..inputs.patch import Patch
from ..registration.grid import FloorGrid
from ..run.records import KindColor, MeasuredShot, Measurement
from .borders import draw_borders, hatch_polygon
from .canvas import canvas_at, enlargement
from .caption import (
    Caption,
    LegendEntry,
    draw_caption,
    label_sample,
    outline_sample,
    plain_sample,
    stroke_sample,
)
from .labels import draw_labels
from .lookup import amount_in_patch, base_name, figures_of, pass_of
from .outlines import draw_outlines, ring_widths
from .palette import Color, as_color, contrasting, floor_colors, outline_colors
from .rounding import PUSHED_IN, amount_text, area_text, interval_text, pickup_text
from .verdict import trust_word

_WIDE = 1600  # px; the finest lines are one pixel thick up to twice this, then two, …
_DIM_GREY, _DIM_SHARE = 128, 0.6
_SEEN_SHARE = 0.003  # of the picture: a rim of two pixels is not seen


def draw_overlay(shot: MeasuredShot, measurement: Measurement) -> NDArray[np.uint8]:
    """Draw what was found in a shot.

    Parameters
    ----------
    shot : MeasuredShot
        A shot of the measurement.
    measurement : Measurement
        The run that it belongs to.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB: the floor view, enlarged by a whole factor if it is narrower than 1200 px, and below
        it the caption. Nothing lies over debris.

    Raises
    ------
    ValueError
        The shot's arrays do not have the shape of the measurement's grid.
    """
    first = measurement.shots[0]  # so that all pictures of a run get the same outlines
    return draw_picture(
        FloorPicture(
            name=shot.name,
            floor_view=shot.floor_view,
            kind_map=shot.kind_map,
            grains=shot.grains,
            grid=measurement.grid,
            kinds=measurement.kinds,
            patch=measurement.patch,
            floor=floor_colors(first.floor_view, first.kind_map),
            zone_texts=_zone_texts(shot, measurement),
            title=shot_title(shot, measurement),
            figures=_figures(shot, measurement),
            note=shot_note(shot, measurement),
        )
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FloorPicture:
    """What a picture shows: a floor view, what was found in it, and the words below it.

    ``name`` is what errors call it; ``floor`` holds the floor's colours as `floor_colors` gives them; ``zone_texts``,
    by zone, the label and narrower ones after it. Without a ``patch`` there are neither borders nor labels.
    """

    name: str
    floor_view: NDArray[np.uint8]
    kind_map: NDArray[np.uint8]
    grains: GrainTable
    grid: FloorGrid
    kinds: Sequence[KindColor]
    patch: Patch | None
    floor: Floats
    zone_texts: Mapping[str, Sequence[str]]
    title: str
    figures: str
    note: str


def draw_picture(picture: FloorPicture) -> NDArray[np.uint8]:
    """Draw a floor view with debris outlined and, of a patch, its zones; sRGB as `draw_overlay` returns it.

    Raises
    ------
    ValueError
        The arrays do not have the shape of the grid.
    """
    _check(picture)
    patch, floor = picture.patch, picture.floor
    # By a whole factor, so that grains of a pixel stay square and outlines lie outside of them.
    canvas = canvas_at(enlargement(picture.grid.width_px), picture.floor_view, picture.grid)
    image, grid, size, unit = canvas.image, canvas.grid, canvas.size, canvas.unit
    kind_map = np.array(cv2.resize(picture.kind_map, image.shape[1::-1], interpolation=cv2.INTER_NEAREST), np.uint8)

    colors = outline_colors(floor, [kind.color_srgb for kind in picture.kinds])
    dimmed = False
    if patch is not None:
        dimmed = grey_beyond_margin(image, patch, grid)
        drop_beyond_margin(kind_map, patch, grid)
    bare = image.copy()
    thin = max(1, grid.width_px // _WIDE)
    medians_px = [_median_diameter_px(picture.grains, kind, grid) for kind in range(len(picture.kinds))]
    rings = ring_widths(kind_map, medians_px, thin)
    ground = as_color(floor[1])
    legend = [
        LegendEntry(kind.name, outline_sample(color, kind.color_srgb, ground))
        for kind, color in zip(picture.kinds, colors, strict=True)
    ]
    if patch is not None:
        draw_borders(image, patch, grid, unit, contrasting(floor[1]))
        reach = max(rings, default=0) + thin
        around = np.asarray(cv2.dilate(kind_map, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)), np.uint8)
        draw_labels(image, around, patch, grid, texts=picture.zone_texts, size=round(0.85 * size))
        legend += border_entries(unit, ground, patch)
    # Borders and labels leave debris free, and its outlines lie over them.
    draw_outlines(image, kind_map, colors, rings, thin)
    cv2.copyTo(bare, kind_map, image)
    if any(len(choices) > 1 for choices in picture.zone_texts.values()):
        legend.append(LegendEntry("pickup of the zone", label_sample("%")))
    if dimmed:
        legend.append(beyond_entry(ground))
    caption = Caption(picture.title, picture.figures, tuple(legend), picture.note)
    return np.vstack([image, draw_caption(caption, grid.width_px, grid.mm_per_px, size)])


def encode_jpeg(image: NDArray[np.uint8], quality: int = 90, *, fine_colour: bool = True) -> bytes:
    """Return an RGB picture as JPEG bytes, without EXIF and with colour at full resolution unless told otherwise."""
    # Halved colour would wash out outlines one pixel thin.
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444 if fine_colour else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
    options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    _, encoded = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), options)
    return encoded.tobytes()


def _check(picture: FloorPicture) -> None:
    for name, array, shape in (
        ("floor_view", picture.floor_view, (*picture.grid.shape, 3)),
        ("kind_map", picture.kind_map, picture.grid.shape),
    ):
        if array.shape != shape:
            raise ValueError(f"{name} of {picture.name!r} must have shape {shape}, got {array.shape}")


def drop_beyond_margin(kind_map: NDArray[np.uint8], patch: Patch, grid: FloorGrid) -> None:
    """Drop the debris that is neither in the patch nor in its margin, which no figure counts; in place."""
    for rows, cols in _beyond_margin(patch, grid):
        kind_map[rows, cols] = 0


def border_entries(thickness: int, floor: Color, patch: Patch) -> list[LegendEntry]:
    """Legend entries of what `draw_borders` draws."""

    def no_floor(image: NDArray[np.uint8], left: int, top: int, width: int, height: int) -> None:
        right, bottom = left + width - 1, top + height - 1
        hatch_polygon(image, np.array([[left, top], [right, top], [right, bottom], [left, bottom]]), thickness)

    return [
        *([LegendEntry("no floor", no_floor)] if patch.not_floor else []),
        LegendEntry("border of the patch", stroke_sample(thickness, floor, dashed=False)),
        LegendEntry("border of a zone", stroke_sample(thickness, floor, dashed=True)),
    ]


def beyond_entry(floor: Color) -> LegendEntry:
    """Legend entry of what `grey_beyond_margin` greys."""
    return LegendEntry("not measured", plain_sample(as_color(_dim(np.array(floor, float)))))


def grey_beyond_margin(image: NDArray[np.uint8], patch: Patch, grid: FloorGrid) -> bool:
    """Grey what is neither patch nor margin, in place; whether so much of it that the legend has to say what it is."""
    pixels = 0
    for rows, cols in _beyond_margin(patch, grid):
        image[rows, cols] = _dim(image[rows, cols])
        pixels += image[rows, cols, 0].size
    return pixels > _SEEN_SHARE * image[..., 0].size


def _beyond_margin(patch: Patch, grid: FloorGrid) -> list[tuple[slice, slice]]:
    """Rows and columns of what is neither patch nor margin: above, below, left and right of them."""
    left, top, right, bottom = patch.outer_box_mm()
    corners = grid.to_px(np.array([[left, top], [right, bottom]])) + 0.5
    (x0, y0), (x1, y1) = np.clip(np.rint(corners).astype(int), 0, (grid.width_px, grid.height_px)).tolist()
    return [
        (slice(0, y0), slice(None)),
        (slice(y1, None), slice(None)),
        (slice(y0, y1), slice(0, x0)),
        (slice(y0, y1), slice(x1, None)),
    ]


def _dim(rgb: NDArray[np.uint8] | Floats) -> Floats:
    """Return sRGB greyed, as what is not measured is shown."""
    return np.asarray(np.rint(rgb * (1 - _DIM_SHARE) + _DIM_GREY * _DIM_SHARE), float)


def _median_diameter_px(grains: GrainTable, kind: int, grid: FloorGrid) -> float:
    diameters_mm = grains.diameter_mm[grains.kind == kind]
    return float(np.median(diameters_mm)) / grid.mm_per_px if diameters_mm.size else float("nan")


def _zone_texts(shot: MeasuredShot, measurement: Measurement) -> dict[str, list[str]]:
    patch = measurement.patch
    names = [*patch.zone_names(), *(zone.name for zone in patch.custom_zones)]
    texts = {name: [name] for name in names}
    for name, figures in figures_of(shot, measurement).items():
        if name in texts and figures.pickup_percent is not None:
            percent = pickup_text(figures) + (" doubtful" if figures.trust == "doubtful" else "")
            texts[name] = [f"{name} {percent}", f"{name}\n{percent}", name]
    return texts


def shot_title(shot: MeasuredShot, measurement: Measurement) -> str:
    """Shot, pass and patch, as pictures name them."""
    figures = pass_of(shot, measurement)
    count = len(measurement.passes)
    after = f" (pass {figures.number})" if figures is not None and count > 1 else ""
    return f"{shot.name}{after} \N{EN DASH} {measurement.patch.title}"


def _figures(shot: MeasuredShot, measurement: Measurement) -> str:
    amount = amount_in_patch(shot, measurement)
    text = f"Debris in the patch: {area_text(amount.area_mm2)} mm², {amount_text(amount.grains)} grains"
    figures = pass_of(shot, measurement)
    if figures is None:
        return text
    whole, trust = figures.zones["patch"], trust_word(measurement, figures)
    if whole.pickup_percent is None:
        return f"{text}. Pickup {trust}"
    text += f". Pickup {pickup_text(whole)}, {trust}"
    if whole.pickup_percent < 0:
        return f"{text}: {PUSHED_IN}"
    if whole.interval95 is not None:
        text += f" (95 % interval {interval_text(whole.interval95, down=whole.more_than_percent is not None)})"
    return text


def shot_note(shot: MeasuredShot, measurement: Measurement) -> str:
    """Where a picture comes from, for its last line."""
    parts = [
        f"{'Rendering' if measurement.patch.rendered else 'Photo'} {base_name(shot.file)}" if shot.file else "",
        f"patch {measurement.patch.width_mm:g} x {measurement.patch.height_mm:g} mm",
        f"{measurement.grid.mm_per_px:.3g} mm per pixel of the floor view",
        "measured by debriscount",
    ]
    return ", ".join(part for part in parts if part)
