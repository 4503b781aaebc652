"""Places between pixels, as the drawing functions take them."""

import numpy as np
from numpy.typing import NDArray

#: Places are drawn to an eighth of a pixel: binary digits behind the point.
SHIFT = 3


def fixed(values: NDArray[np.float64]) -> NDArray[np.int32]:
    """Return places or lengths in px as whole eighths."""
    return np.asarray(np.rint(values * 2**SHIFT), np.int32)
