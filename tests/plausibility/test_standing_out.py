import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.membership import STRAY
from debriscount.plausibility import standing_out
from debriscount.plausibility.standing_out import LogViews, largest_difference, log_light

SHAPE = (120, 160)


def view(seed: int, *places: tuple[int, int]) -> NDArray[np.float32]:
    light = np.tile(np.array([0.25, 0.18, 0.1]), (*SHAPE, 1))
    for place in places:
        cv2.circle(light, place, 6, (0.05, 0.05, 0.4), -1)
    return (light * np.random.default_rng(seed).normal(1, 0.02, (*SHAPE, 1))).astype(np.float32)


def test_a_thing_stands_out_where_it_lies_and_not_where_it_is_gone() -> None:
    views = LogViews({"blank": view(1), "before": view(2, (40, 50), (100, 70))}, 12.0)
    there, gone = views.stands_out("before", "blank")
    things = np.zeros(SHAPE, np.uint8)
    for place in ((40, 50), (100, 70)):
        cv2.circle(things, place, 4, (1,), -1)
    assert (there & gone)[things > 0].all()
    beyond = cv2.dilate(things, np.ones((13, 13), np.uint8)) == 0
    assert not (there & gone)[beyond].any()
    assert not np.logical_and(*views.stands_out("blank", "before")).any()


def test_a_shots_logarithm_is_made_once_however_often_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    made = []

    def counted(light: NDArray[np.float32]) -> NDArray[np.float32]:
        made.append(light.shape)
        return log_light(light)

    monkeypatch.setattr(standing_out, "log_light", counted)
    views = LogViews({name: view(seed) for seed, name in enumerate(("blank", "before", "after"))}, 12.0)
    for _ in range(3):
        views.stands_out("blank", "before")
        views.stands_out("before", "blank")
        views.stands_out("blank", "after")
        views.log("after")
    assert len(made) == 2 * 3  # of each view and of what lies around


def test_logarithms_hold_stray_light_and_the_faintest_level() -> None:
    # By hand: black is 1 / (255 * 12.92), and stray light is added to everything.
    light = np.array([[[0.0, 0.5, 1.0]]], np.float32)
    expected = np.log(np.array([[[1 / 255 / 12.92, 0.5, 1.0]]]) + STRAY)
    np.testing.assert_allclose(log_light(light), expected, rtol=1e-5)


def test_the_channel_that_differs_most_counts() -> None:
    one = np.zeros((70, 3, 3), np.float32)
    other = one.copy()
    other[69, 2] = (0.1, -0.7, 0.3)
    expected = np.zeros((70, 3))
    expected[69, 2] = 0.7
    np.testing.assert_allclose(largest_difference(one, other), expected, rtol=1e-6)
