"""Arrays that most of the code works on, by what they hold."""

import numpy as np
from numpy.typing import NDArray

#: Numbers of any unit and shape.
Floats = NDArray[np.float64]
#: Yes or no, for pixels or things.
Mask = NDArray[np.bool_]
