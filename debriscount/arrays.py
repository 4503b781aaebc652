"""Arrays that most of the code works on, by what they hold."""

import numpy as np
from numpy.typing import NDArray

#: Numbers of any unit and shape.
Floats = NDArray[np.float64]
#: Light of one channel or of three, from 0 up, as photos and floor views hold it.
Image = NDArray[np.float32]
#: Yes or no, for pixels or things.
Mask = NDArray[np.bool_]
