"""Where a photo that was joined of several shows nothing, on the floor view."""

import numpy as np

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.registration.grid import FloorGrid
from debriscount.registration.register import SHOWN_STEP, _shown


def test_what_a_joined_photo_does_not_show_is_not_shown_in_the_floor_view() -> None:
    # A pixel of the photo is half a millimetre; its right half from x = 200 mm on shows nothing.
    shows = np.ones((600, 800), bool)
    shows[:, 400:] = False
    view = FloorToPhoto(np.diag([2.0, 2.0, 1.0]), Lens((399.5, 299.5), (600.0, 600.0)))
    grid = FloorGrid(10.0, 10.0, 1.0, 250, 351)
    shown = _shown(shows, view, grid)
    assert shown.shape == grid.shape
    x = grid.x_mm()
    assert shown[:, x < 200 - 2 * SHOWN_STEP].all()
    assert not shown[:, x > 200].any()


def test_nothing_is_shown_beyond_the_photo() -> None:
    view = FloorToPhoto(np.eye(3), Lens((99.5, 99.5), (150.0, 150.0)))
    shown = _shown(np.ones((200, 200), bool), view, FloorGrid(-50.0, 0.0, 2.0, 80, 100))
    assert not shown[:, :20].any()
    assert shown[10:70, 40:110].all()
