"""The shots of a run as its result folder holds them: floor views, what was found in them, grains and their fates."""

import io
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ..arrays import Floats
from ..errors import InputFileError
from ..inputs.patch import Patch
from ..page.sources import PageRun, damaged, picture
from ..registration.grid import FloorGrid
from ..report.canvas import Canvas, canvas_at
from ..report.outlines import resized_map
from ..report.palette import Color, as_color, floor_colors, outline_colors
from ..report.record import patch_of
from .frame import Box


@dataclass(frozen=True)
class RunViews:
    """A run's record with its pictures; ``grid`` is the raster of all its views, as fine as they are."""

    run: PageRun
    patch: Patch
    grid: FloorGrid

    @property
    def passes(self) -> list[Mapping[str, Any]]:
        """The record's passes."""
        return list(self.run.record["passes"])

    def floor(self, shot: str) -> NDArray[np.uint8]:
        """The bare floor view, sRGB of shape (H, W, 3).

        Raises
        ------
        InputFileError
            The folder does not hold it, or it is damaged.
        """
        return self._image(f"floor-{shot}.jpg", "RGB", (*self.grid.shape, 3))

    def found(self, shot: str) -> NDArray[np.uint8]:
        """Where debris was found: 0 on floor, 1 + kind index on debris, shape (H, W); errors as `floor`."""
        measured = self.run.record["grid"]
        found = self._image(f"found-{shot}.png", "L", (int(measured["height_px"]), int(measured["width_px"])))
        return resized_map(found, self.grid.shape)

    def _image(self, name: str, mode: str, shape: tuple[int, ...]) -> NDArray[np.uint8]:
        content = picture(self.run.folder, name)
        if content is None:
            raise InputFileError(f"{self.run.folder}: holds no {name}. Measure the photos again, which writes it.")
        try:
            image = np.asarray(Image.open(io.BytesIO(content)).convert(mode), np.uint8)
        except (OSError, ValueError, Image.DecompressionBombError) as error:
            raise InputFileError(f"{self.run.folder / name}: is damaged ({error}). Measure the photos again.") from None
        if image.shape != shape:
            raise InputFileError(f"{self.run.folder / name}: is of another run. Measure the photos again.")
        return image

    def rows(self, shot: str) -> list[dict[str, str]]:
        """Rows of grains.csv of a shot."""
        return [row for row in self.run.grains if row.get("shot") == shot]

    @cached_property
    def ground(self) -> Floats:
        """The floor's colours, shape (3, 3), as `floor_colors` gives them."""
        return floor_colors(self.floor("before"), self.found("before"))

    def colors(self, number: int) -> list[Color]:
        """So many colours that stand out from floor and debris."""
        debris = np.array([rgb(kind["color"]) for kind in self.run.record["kinds"]], float).reshape(-1, 3)
        return outline_colors(np.concatenate([self.ground, debris]), [as_color(self.ground[1])] * number)


def views_of(run: PageRun) -> RunViews:
    """The pictures of a run.

    Raises
    ------
    InputFileError
        It was weighed only, or its record is damaged.
    """
    record = run.record
    if not record:
        raise InputFileError(f"{run.folder}: was weighed only, so there are no pictures of it.")
    try:
        grid = FloorGrid(
            float(record["grid"]["x0_mm"]),
            float(record["grid"]["y0_mm"]),
            float(record["grid"]["mm_per_px"]),
            int(record["grid"]["height_px"]),
            int(record["grid"]["width_px"]),
        )
        return RunViews(run, patch_of(record["patch"]), _as_fine(run, grid))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(run.folder / "measurement.json", error) from None


def _as_fine(run: PageRun, grid: FloorGrid) -> FloorGrid:
    """The raster of the run's floor views, which are as fine as the photos even where a coarser one was measured."""
    content = picture(run.folder, "floor-before.jpg")
    if content is None:
        return grid
    try:
        with Image.open(io.BytesIO(content)) as image:
            return grid.in_columns(image.width) if image.width > grid.width_px else grid
    except (OSError, Image.DecompressionBombError):  # told where the view is shown
        return grid


def fitted(view: NDArray[np.uint8], views: RunViews, box: Box) -> tuple[Canvas, tuple[int, int]]:
    """A floor view, cut to patch and margin, as large as a box has room for.

    Parameters
    ----------
    view : ndarray of uint8, shape (H, W, 3)
        On the run's raster.
    views : RunViews
        The run.
    box : Box
        Of the frame.

    Returns
    -------
    canvas : Canvas
        To draw on.
    (int, int)
        Column and row of the frame at which it is put, in the middle of the box.
    """
    grid = views.grid
    left, top, right, bottom = views.patch.outer_box_mm()
    ends = np.rint(grid.to_px(np.array([[left, top], [right, bottom]])) + 0.5).astype(int)
    (x0, y0), (x1, y1) = np.clip(ends, 0, (grid.width_px, grid.height_px)).tolist()
    cut = FloorGrid(
        grid.x0_mm + x0 * grid.mm_per_px, grid.y0_mm + y0 * grid.mm_per_px, grid.mm_per_px, y1 - y0, x1 - x0
    )
    scale = min(box.width / cut.width_px, box.height / cut.height_px)
    canvas = canvas_at(scale, np.ascontiguousarray(view[y0:y1, x0:x1]), cut)
    height, width = canvas.image.shape[:2]
    return canvas, (box.left + (box.width - width) // 2, box.top + (box.height - height) // 2)


def found_on(canvas: Canvas, found: NDArray[np.uint8], grid: FloorGrid) -> NDArray[np.uint8]:
    """A map of what was found, of shape (H, W) on ``grid``, on the raster of a canvas; nearest pixels."""
    step = canvas.grid.mm_per_px / grid.mm_per_px
    x, y = ((first - own) / grid.mm_per_px for first, own in zip(
        (canvas.grid.x0_mm, canvas.grid.y0_mm), (grid.x0_mm, grid.y0_mm), strict=True
    ))  # fmt: skip
    way = np.array([[step, 0, x], [0, step, y]])
    size = (canvas.grid.width_px, canvas.grid.height_px)
    return np.asarray(cv2.warpAffine(found, way, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP), np.uint8)


def rgb(text: str) -> Color:
    """A colour written as "#e6d9c1"."""
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)
