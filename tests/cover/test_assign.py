import numpy as np

from debriscount.cover.assign import likeliest_kind
from debriscount.cover.colours import LearnedColour

RED, BLUE = np.array([0.6, 0.1, 0.1]), np.array([0.1, 0.1, 0.6])
COLOURS = [LearnedColour(mean, 1e-4 * np.eye(3), (0.0, 0.0), 100) for mean in (RED, BLUE)]


def test_each_grain_is_of_the_kind_that_explains_it_and_bare_floor_of_none() -> None:
    floor = np.full((60, 90, 3), 0.4, np.float32)
    view, share = floor.copy(), np.zeros((60, 90), np.float32)
    for left, colour in ((15, RED), (55, BLUE)):
        grain = np.s_[20:40, left : left + 20]
        view[grain], share[grain] = colour, 1
        rim = np.s_[19, left : left + 20]  # a twentieth of it debris: less than what is looked at by itself
        view[rim], share[rim] = 0.95 * floor[rim] + 0.05 * colour, 0.05
    sigma = np.full_like(floor, 0.01)
    kind = likeliest_kind(view, floor, [share, share], COLOURS, sigma, 20.0)
    assert (kind[18:42, 53:77][2:-2, 2:-2] == 1).all()
    assert (kind[19, 57:73] == 1).all()
    assert (kind[:, :45] == 0).all()
    assert (kind[50:] == 0).all()
