import numpy as np
import pytest

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto


@pytest.fixture(scope="session")
def straight() -> FloorToPhoto:
    """Two pixels a millimetre from straight above; the patch's corner lies at column 20, row 20."""
    return FloorToPhoto(np.array([[2.0, 0, 20], [0, 2, 20], [0, 0, 1]]), Lens((419.5, 319.5), (630.0, 630.0)))
