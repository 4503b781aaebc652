from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from debriscount.errors import OutputError
from debriscount.stills.clip import clip_frames, clip_length, encoded
from debriscount.stills.frame import Frame
from debriscount.stills.views import RunViews

FRAME, RATE = Frame(320, 240), Fraction(10)


def test_a_wipe_goes_from_before_to_after(views: RunViews) -> None:
    frames = list(clip_frames(views, FRAME, RATE))
    assert len(frames) == clip_length(RATE)
    assert all(frame.shape == (240, 320, 3) for frame in frames)
    picture = FRAME.parted()[0]
    first, last = frames[0], frames[-1]
    middle = frames[len(frames) // 2 - 10]  # the wipe's, for after stands longer than before
    half = (picture.left + picture.right) // 2
    third = picture.left + picture.width // 6
    np.testing.assert_array_equal(middle[:, picture.left : third], last[:, picture.left : third])
    np.testing.assert_array_equal(middle[:, half + 60 : picture.right], first[:, half + 60 : picture.right])


@pytest.mark.parametrize("name", ["wipe.mp4", "wipe.webm"])
def test_a_clip_is_read_back_as_it_was_made(views: RunViews, tmp_path: Path, name: str) -> None:
    out = tmp_path / name
    out.write_bytes(encoded(clip_frames(views, FRAME, RATE), FRAME, RATE, out))
    clip = cv2.VideoCapture(str(out))
    assert (clip.get(cv2.CAP_PROP_FRAME_WIDTH), clip.get(cv2.CAP_PROP_FRAME_HEIGHT)) == (320, 240)
    assert clip.get(cv2.CAP_PROP_FPS) == pytest.approx(10)
    read = []
    while (found := clip.read())[0]:
        read.append(np.asarray(found[1], float))
    assert len(read) == clip_length(RATE)
    shown = list(clip_frames(views, FRAME, RATE))[-1]
    assert np.abs(read[-1][..., ::-1] - shown).mean() < 6


def test_what_is_no_clip_is_refused(views: RunViews) -> None:
    with pytest.raises(OutputError, match=r"ends in none of \.mp4, \.webm"):
        encoded(iter(()), FRAME, RATE, Path("wipe.gif"))
