"""The raster of the floor view: which place on the floor each of its pixels shows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats


@dataclass(frozen=True, slots=True)
class FloorGrid:
    """A raster of square floor pixels; ``x0_mm, y0_mm`` is the centre of the pixel in row 0, column 0."""

    x0_mm: float
    y0_mm: float
    mm_per_px: float
    height_px: int
    width_px: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.height_px, self.width_px

    def in_columns(self, width_px: int) -> "FloorGrid":
        """The same floor in so many columns; its height is right to half a pixel."""
        step = self.width_px * self.mm_per_px / width_px
        offset = (step - self.mm_per_px) / 2
        height_px = round(self.height_px * self.mm_per_px / step)
        return FloorGrid(self.x0_mm + offset, self.y0_mm + offset, step, height_px, width_px)

    def x_mm(self) -> Floats:
        """Place of each column's centre, mm, shape (width_px,)."""
        return self.x0_mm + self.mm_per_px * np.arange(self.width_px, dtype=np.float64)

    def y_mm(self) -> Floats:
        """Place of each row's centre, mm, shape (height_px,)."""
        return self.y0_mm + self.mm_per_px * np.arange(self.height_px, dtype=np.float64)

    def to_px(self, xy_mm: NDArray[np.floating]) -> Floats:
        """Column and row (fractional) of floor places, shape (N, 2), mm."""
        return (np.asarray(xy_mm, float) - (self.x0_mm, self.y0_mm)) / self.mm_per_px
