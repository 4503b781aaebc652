"""A printed square's outline: four edges fitted to what a photo shows of them, and what they say of the print."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from .edges import Edge, LightCrop, crossing, edge_spread_px, fit_edge

#: Sides of a 4x4 marker's black square in modules: four of code and a black border on either side.
MODULES = 6
#: Least share of a side on which its edge must be seen.
LEAST_SEEN = 0.3
#: What a camera's sharpening and noise reduction displace an edge by besides noise, px (root mean square over
#: simulated photos, tests/benchmarks/geometry.py).
PROCESSED_PX = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Square:
    """A black square in a photo.

    ``corners_px`` of shape (4, 2) goes clockwise as seen, ``edges`` from each corner to the next. ``sigma_px`` is the
    standard uncertainty of a corner.
    """

    corners_px: Floats
    edges: tuple[Edge, ...]
    sigma_px: float

    @property
    def paper(self) -> float:
        """Linear luminance of the paper beside the edges."""
        return float(np.median([np.median(edge.light) for edge in self.edges]))

    @property
    def ink(self) -> float:
        """Linear luminance of the black inside the edges."""
        return float(np.median([np.median(edge.dark) for edge in self.edges]))


def side_px(corners_px: Floats) -> float:
    """Mean length of a quadrilateral's sides, px."""
    return float(np.linalg.norm(corners_px - np.roll(corners_px, -1, axis=0), axis=1).mean())


def fit_square(crop: LightCrop, corners_px: Floats, off_px: float) -> Square | None:
    """Fit lines to the four sides of a dark square and intersect neighbouring ones.

    Parameters
    ----------
    crop : LightCrop
        The photo around it.
    corners_px : ndarray of shape (4, 2)
        About where the corners are, clockwise.
    off_px : float
        By how much they may be off.

    Returns
    -------
    Square or None
        None if a side is seen on less than ``LEAST_SEEN`` of its length, or runs elsewhere than expected.
    """
    corners = corners_px
    edges: list[Edge] = []
    for step in range(3):
        module = side_px(corners) / MODULES
        # Within the black border, one module wide; farther out as long as the corners are known coarsely.
        reach = max(0.7 * module, 3.0) if step else float(np.clip(1.5 * off_px, max(0.7 * module, 3.0), 1.2 * module))
        found = [fit_edge(crop, corners[k], corners[(k + 1) % 4], reach) for k in range(4)]
        edges = [edge for edge in found if edge is not None and edge.seen >= LEAST_SEEN]
        met = [crossing(edges[k - 1], edges[k]) for k in range(4)] if len(edges) == 4 else []
        refined = [point for point in met if point is not None]
        # Farther off than that, its sides were another thing's.
        if len(refined) < 4 or np.abs(np.array(refined) - corners).max() > 1.5 * module + off_px:
            return None
        moved = float(np.abs(np.array(refined) - corners).max())
        corners = np.array(refined)
        if step and moved < 0.5:
            break
    noise = float(np.mean([edge.sigma_px**2 for edge in edges]))
    return Square(corners, tuple(edges), float(np.sqrt(noise + PROCESSED_PX**2)))


def spread_px(crop: LightCrop, square: Square, black: Sequence[Sequence[bool]]) -> float | None:
    """Median over the sides of their edges' 10 to 90 % width, px.

    Parameters
    ----------
    crop : LightCrop
        The photo around it.
    square : Square
        Where it is.
    black : sequence of sequence of bool
        For each side, which of its six modules have black behind the border, in the side's direction.

    Returns
    -------
    float or None
        None where no side tells it.
    """
    widths = []
    for edge, behind in zip(square.edges, black, strict=True):
        module = edge.length / MODULES
        # The first and the last module end at a corner, whose own blur is kept out.
        ends = [(0.5 * module, module), (5 * module, 5.5 * module)]
        spans = [ends[0], *((k * module, (k + 1) * module) for k in range(1, MODULES - 1)), ends[1]]
        width = edge_spread_px(crop, edge, [s for s, dark in zip(spans, behind, strict=True) if dark], module)
        if width is not None:
            widths.append(width)
    return float(np.median(widths)) if widths else None
