"""A pinch of grains with numbered outlines, to say which of them are single grains."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..portions.pinch import Pinch

#: Width of the picture, px: numbers beside some hundred grains can be read in it.
WIDTH_PX = 1800
#: Outlines of what is likely a single grain, and of what is not: apart in lightness too, for who sees no colour.
LIKELY, UNLIKELY = (0, 110, 200), (230, 120, 0)
#: Height of the numbers: a share of a usual grain's width, within what can be read and what hides little, px; and what
#: OpenCV's font is high at size 1.
_NUMBER, _NUMBERS_PX, _HIGH_PX = 0.25, (11.0, 45.0), 22.0


def draw_pinch(pinch: Pinch) -> NDArray[np.uint8]:
    """Return the view with a numbered outline round each thing: blue for likely single grains, orange for others."""
    scale = WIDTH_PX / pinch.view.shape[1]
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    image = np.array(cv2.resize(pinch.view, None, fx=scale, fy=scale, interpolation=how), np.uint8)
    across_px = float(np.median([grain.diameter_mm for grain in pinch.grains])) / pinch.mm_per_px * scale
    size = float(np.clip(_NUMBER * across_px, *_NUMBERS_PX)) / _HIGH_PX
    for number, grain in enumerate(pinch.grains, start=1):
        colour = LIKELY if grain.likely else UNLIKELY
        outline = np.rint((grain.outline_px + 0.5) * scale - 0.5).astype(np.int32)
        cv2.polylines(image, [outline], True, colour, 2, cv2.LINE_AA)
        x, y = outline[:, 0].max() + 3, outline[:, 1].min() + 6
        for shade, width in (((255, 255, 255), round(4 + 4 * size)), (colour, round(1 + 2 * size))):
            cv2.putText(image, f"{number}", (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, size, shade, width, cv2.LINE_AA)
    return image
