import cv2
import numpy as np
import pytest

from debriscount.report.subpixel import SHIFT, fixed


def test_a_line_between_two_rows_darkens_both_alike() -> None:
    """*Independent*: OpenCV draws there."""
    image = np.full((9, 40), 255, np.uint8)
    ends = fixed(np.array([[2.0, 4.5], [37.0, 4.5]])).tolist()
    cv2.line(image, ends[0], ends[1], (0,), 1, cv2.LINE_AA, SHIFT)
    dark = 255.0 - image[:, 20]
    assert dark @ np.arange(9) / dark.sum() == pytest.approx(4.5, abs=0.13)
