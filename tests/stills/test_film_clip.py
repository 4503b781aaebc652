"""A clip with the curve running beside the picture."""

import numpy as np

from debriscount.film.records import MeasuredFilm
from debriscount.stills.film_clip import clip_frames
from debriscount.stills.frame import Frame

from ..film.conftest import measured, shot  # noqa: F401

FRAME = Frame(320, 180)


def test_the_curve_grows_while_the_film_runs(measured: MeasuredFilm) -> None:  # noqa: F811
    frames = list(clip_frames(measured, FRAME))
    assert all(frame.shape == (180, 320, 3) for frame in frames)
    words = FRAME.parted()[1]
    blue = [
        int(((frame[:, words.left :] - np.array([86, 180, 233])).__abs__().max(axis=2) < 12).sum()) for frame in frames
    ]
    assert blue[0] < blue[len(blue) // 2] < blue[-1]
    picture = FRAME.parted()[0]
    changed = np.abs(frames[0].astype(int) - frames[len(frames) // 3])[:, : picture.right].max(axis=2) > 40
    assert changed.any()  # the machine is there
