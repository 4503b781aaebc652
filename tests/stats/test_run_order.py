import numpy as np
import pytest

from debriscount.stats.run_order import mirrored_blocks, randomised_blocks


def test_every_level_is_once_in_each_block() -> None:
    blocks = randomised_blocks(["A", "B", "C"], 20, np.random.default_rng(0))
    assert all(sorted(block) == ["A", "B", "C"] for block in blocks)
    assert len({tuple(block) for block in blocks}) == 6  # all orders are met


def test_the_same_seed_gives_the_same_order() -> None:
    first, second = (randomised_blocks("ABCD", 3, np.random.default_rng(4)) for _ in range(2))
    assert first == second


def test_a_steady_drift_cancels_in_mirrored_blocks() -> None:
    assert mirrored_blocks("AB", 2) == [["A", "B"], ["B", "A"]]
    for levels in ("AB", "ABC", "ABCDE"):
        order = [level for block in mirrored_blocks(levels, 4) for level in block]
        times = [np.mean([i for i, one in enumerate(order) if one == level]) for level in levels]
        assert np.ptp(times) == 0


def test_too_little_to_order() -> None:
    with pytest.raises(ValueError, match="two levels and a block"):
        randomised_blocks(["A"], 3, np.random.default_rng(0))
    with pytest.raises(ValueError, match="two levels and a block"):
        mirrored_blocks("AB", 0)
