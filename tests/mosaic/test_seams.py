import numpy as np

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.mosaic.seams import choose_photos, cost_of

SHAPE = (60, 100)


def ramps() -> list[np.ndarray[tuple[int, ...], np.dtype[np.float32]]]:
    """Costs of two photos, the first best on the left, the second on the right."""
    x = np.broadcast_to(np.linspace(0, 1, SHAPE[1], dtype=np.float32), SHAPE)
    return [x, 1 - x]


def test_each_place_is_taken_from_the_photo_that_sees_it_best() -> None:
    views, seen = [np.full((*SHAPE, 3), 0.3, np.float32)] * 2, [np.ones(SHAPE, bool)] * 2
    chosen = choose_photos(ramps(), views, seen)
    assert (chosen[:, :40] == 1).all()
    assert (chosen[:, 60:] == 2).all()


def test_a_seam_goes_around_what_two_photos_show_differently() -> None:
    first = np.full((*SHAPE, 3), 0.3, np.float32)
    second = first.copy()
    second[25:31, 47:54] = 0.05
    chosen = choose_photos(ramps(), [first, second], [np.ones(SHAPE, bool)] * 2)
    assert len(np.unique(chosen[25:31, 47:54])) == 1


def test_what_one_photo_alone_shows_is_taken_from_it_and_what_none_shows_from_none() -> None:
    views, seen = [np.full((*SHAPE, 3), 0.3, np.float32)] * 2, [np.ones(SHAPE, bool), np.ones(SHAPE, bool)]
    seen[0][:, :30] = False
    seen[0][:, 95:] = seen[1][:, 95:] = False
    chosen = choose_photos(ramps(), views, seen)
    assert (chosen[:, :30] == 2).all()
    assert (chosen[:, 95:] == 0).all()


def test_the_rim_and_a_slanted_look_cost_more_than_the_middle() -> None:
    view = FloorToPhoto(np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]]), Lens((399.5, 299.5), (600.0, 600.0)))
    cost = cost_of(view, (800, 600), np.array([1.0, 200.0, 399.5, 900.0]), np.array([299.5]))[0]
    assert cost[0] > cost[1] > cost[2]
    assert np.isinf(cost[3])
