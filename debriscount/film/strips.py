"""Lanes as cleaned beside lanes as driven: the strip in which debris went while the machine drove along."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .curve import State
from .track import Lane

#: Debris that must have gone along a lane to tell its strip, mm², and the shares of it between which the strip lies:
#: what was thrown about lies beyond them.
_LEAST_MM2 = 100.0
_INNER = 0.05, 0.95


def with_strips(lanes: Sequence[Lane], state: State, places_mm: Floats, slack_s: float) -> tuple[Lane, ...]:
    """The lanes with the strips in which debris went.

    Parameters
    ----------
    lanes : sequence of Lane
    state : State
        When every place lost its debris.
    places_mm : ndarray of shape (N, 2)
        The places.
    slack_s : float
        How exactly it is known when a place lost its debris.

    Notes
    -----
    Debris spread evenly over a strip of width w has its 5th and 95th percentile 0.9 w apart.
    """
    return tuple(_with_strip(lane, state, places_mm, slack_s) for lane in lanes)


def _with_strip(lane: Lane, state: State, places_mm: Floats, slack_s: float) -> Lane:
    start, end = np.array(lane.start_mm), np.array(lane.end_mm)
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    off = places_mm - start
    far = off @ along
    aside = off @ np.array([-along[1], along[0]])
    meanwhile = (state.fell_s >= lane.start_s - slack_s) & (state.fell_s <= lane.end_s + slack_s)
    chosen = meanwhile & (far >= 0) & (far <= np.hypot(*(end - start)))
    weight = state.fell_mm2[chosen]
    if weight.sum() < _LEAST_MM2:
        return lane
    order = np.argsort(aside[chosen])
    share = np.cumsum(weight[order]) / weight.sum()
    low, high = np.interp(_INNER, share, aside[chosen][order])
    width = float(high - low) / (_INNER[1] - _INNER[0])
    return replace(lane, cleaned_mm=width, cleaned_off_mm=float(low + high) / 2)
