"""Sums over labelled pixels, on pictures small enough to work out by hand."""

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.grains.labelled import Labelled, sum_grains

#: Grain 1 of four pixels, half of one of them counting; grain 3 below it; number 2 is not in use.
LABELS = np.array([[1, 1, 0, 0, 0], [1, 1, 0, 0, 0], [0, 0, 0, 3, 3]], np.int32)
WEIGHT = np.array([[1, 1, 9, 9, 9], [1, 0.5, 9, 9, 9], [9, 9, 9, 1, 1]], np.float32)


def labelled(
    mask: NDArray[np.bool_] = LABELS > 0,
    labels: NDArray[np.int32] = LABELS,
    weight: NDArray[np.float32] = WEIGHT,
) -> Labelled:
    return Labelled(mask, labels, weight, (0.5 * weight).astype(np.float32))


def test_areas_and_centres_worked_out_by_hand() -> None:
    """Grain 1: 3.5 px, weighted to its upper left: (0 + 1 + 0 + 0.5) / 3.5 either way."""
    sums = sum_grains(labelled())
    assert sums.area_px.tolist() == [3.5, 2.0]
    assert sums.x_px == pytest.approx([1.5 / 3.5, 3.5])
    assert sums.y_px == pytest.approx([1.5 / 3.5, 2.0])
    assert sums.tight_px.tolist() == [1.75, 1.0]


def test_what_hangs_together_in_the_mask_is_one_clump() -> None:
    assert len(set(sum_grains(labelled()).clump.tolist())) == 2
    bridged = LABELS > 0
    bridged[1, 2] = True  # touches grain 3 by a corner
    assert len(set(sum_grains(labelled(bridged)).clump.tolist())) == 1


def test_a_rim_beyond_the_mask_counts_and_leaves_the_clump() -> None:
    mask = LABELS > 0
    mask[0] = False
    sums, whole = sum_grains(labelled(mask)), sum_grains(labelled())
    assert sums.area_px.tolist() == whole.area_px.tolist()
    assert (sums.clump > 0).all()


def test_a_grain_that_weighs_nothing_is_none() -> None:
    """Small grains are measured less what the floor shows around, which may leave nothing or less."""
    weight = WEIGHT.copy()
    weight[2] = [9, 9, 9, 0.3, -0.4]
    sums = sum_grains(labelled(weight=weight))
    assert sums.area_px.tolist() == [3.5]
    assert len(sums.x_px) == len(sums.y_px) == len(sums.tight_px) == len(sums.clump) == 1


def test_no_labels_no_grains() -> None:
    sums = sum_grains(labelled(LABELS < 0, np.zeros_like(LABELS)))
    assert [len(column) for column in (sums.x_px, sums.y_px, sums.area_px, sums.tight_px, sums.clump)] == [0] * 5
