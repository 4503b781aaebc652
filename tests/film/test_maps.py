"""A frame's light brought to the floor's, before texture is laid on texture."""

import numpy as np
import pytest

from debriscount.film.maps import _in_light_of


def test_debris_is_not_taken_for_floor_that_is_lit_otherwise() -> None:
    """Floor that darkens towards a wall seemed to be moved by it: up to 14 px in simulated films."""
    darkens = np.tile(np.linspace(0, -0.5, 300, dtype=np.float32) ** 3, (200, 1))
    lit = darkens + np.float32(0.2)
    free = np.ones(darkens.shape, bool)
    free[:, 290:] = False  # the wall
    free[::5, 240:280] = False  # grains
    shown = np.where(free, lit, np.float32(-3))
    found = _in_light_of(darkens, shown, free)
    assert found[free] == pytest.approx(darkens[free], abs=1e-5)
    assert found[~free] == pytest.approx(darkens[~free])
