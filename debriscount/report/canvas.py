"""A shot's floor view at a size for drawing on: small ones enlarged, large ones reduced."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..registration.grid import FloorGrid
from ..run.records import MeasuredShot, Measurement
from .palette import Color, as_color, floor_colors, outline_colors

#: Places are drawn to an eighth of a pixel: binary digits behind the point.
SHIFT = 3


def fixed(values: Floats) -> NDArray[np.int32]:
    """Return places or lengths in px as whole eighths."""
    return np.asarray(np.rint(values * 2**SHIFT), np.int32)


#: Wider views are reduced: a line of two pixels is seen on any screen, and a picture costs a fifth of a second.
WIDEST = 1600
#: Narrower ones are enlarged, but not so much that pixels are all that is seen.
NARROWEST, MOST_ENLARGED = 1200, 4


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """A picture that may be drawn into: sRGB of shape (H, W, 3) on ``grid``; ``size`` is its font's, px."""

    image: NDArray[np.uint8]
    grid: FloorGrid
    size: int

    @property
    def unit(self) -> int:
        """Half the width of a border's core, px."""
        return max(1, self.grid.width_px // 1000)

    def to_px(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Column and row (fractional) of floor places, shape (N, 2), mm."""
        return self.grid.to_px(xy_mm)


def floor_canvas(shot: MeasuredShot, measurement: Measurement) -> Canvas:
    """Return the shot's floor view as a canvas from 1200 to 1600 px wide; narrower if it has less than 300."""
    width = measurement.grid.width_px
    scale = min(float(np.clip(NARROWEST / width, 1, MOST_ENLARGED)), WIDEST / width)
    return canvas_at(scale, shot.floor_view, measurement.grid)


def canvas_at(scale: float, view: NDArray[np.uint8], grid: FloorGrid) -> Canvas:
    """Return a floor view, shape (H, W, 3), enlarged or reduced by a factor as a canvas."""
    width, height = round(grid.width_px * scale), max(1, round(grid.height_px * scale))
    how = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    image = np.array(cv2.resize(view, (width, height), interpolation=how), np.uint8, order="C")
    step = grid.mm_per_px * grid.width_px / width
    shift = (step - grid.mm_per_px) / 2  # from the middle of the first pixel of one to that of the other
    resized = FloorGrid(grid.x0_mm + shift, grid.y0_mm + shift, step, height, width)
    return Canvas(image, resized, max(16, round(width / 70)))


def enlargement(width_px: int) -> int:
    """Whole factor by which a floor view is enlarged so that lines and text can be read."""
    return min(MOST_ENLARGED, -(-NARROWEST // width_px))


def marking_colors(measurement: Measurement, number: int) -> tuple[list[Color], Color]:
    """Colours that stand out from the floor, from all kinds of debris and from one another; and the floor's own.

    The same for all pictures of a run, the bluest first, so that they mean the same from run to run where they can.
    """
    first = measurement.shots[0]
    floor = floor_colors(first.floor_view, first.kind_map)
    debris = np.array([kind.color_srgb for kind in measurement.kinds], float).reshape(-1, 3)
    ground = as_color(floor[1])
    colors = outline_colors(np.concatenate([floor, debris]), [ground] * number)
    return sorted(colors, key=lambda color: color[0] - color[2]), ground
