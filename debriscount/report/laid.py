"""A photo of squares with the patch drawn among them, to mark its corners by."""

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..layout.patch_among import CORNERS

#: Width of the picture, px.
WIDTH_PX = 1600
_LINE, _HALO = (0, 90, 200), (255, 255, 255)


def draw_corners(pixels: NDArray[np.uint8], corners_px: Floats) -> NDArray[np.uint8]:
    """Return a photo with the patch's border, corners of shape (4, 2) from the top left on, and their names."""
    scale = WIDTH_PX / pixels.shape[1]
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    image = np.array(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=how), np.uint8)
    corners = np.rint((corners_px + 0.5) * scale - 0.5).astype(np.int32)
    for colour, width in ((_HALO, 6), (_LINE, 2)):
        cv2.polylines(image, [corners], True, colour, width, cv2.LINE_AA)
        for (x, y), name in zip(corners.tolist(), CORNERS, strict=True):
            cv2.circle(image, (x, y), 14, colour, width, cv2.LINE_AA)
            cv2.putText(image, name, (x + 18, y - 10), cv2.FONT_HERSHEY_SIMPLEX, 0.8, colour, width, cv2.LINE_AA)
    return image
