"""Orders of runs in which what drifts, a battery, a brush or a floor that wears, falls on all alike."""

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

T = TypeVar("T")


def randomised_blocks(levels: Sequence[T], blocks: int, rng: np.random.Generator) -> list[list[T]]:
    """Every level once in each block, in an order drawn for each.

    Parameters
    ----------
    levels : sequence
        What is compared, two or more.
    blocks : int
        Repeats of each; one or more.
    rng : numpy.random.Generator
        Where the order comes from.

    Returns
    -------
    list of list
        One list a block, in the order of running. R. A. Fisher, The Design of Experiments, Oliver and Boyd 1935.

    Raises
    ------
    ValueError
        There are fewer than two levels or no block.
    """
    _check(levels, blocks)
    return [[levels[i] for i in rng.permutation(len(levels))] for _ in range(blocks)]


def mirrored_blocks(levels: Sequence[T], blocks: int) -> list[list[T]]:
    """Every level once in each block, forwards and backwards by turns: A B, B A, A B, ….

    Two blocks, A B B A, have every level at the same mean time, so that a steady drift cancels in all differences of
    means; with an odd number of blocks it cancels all but that of one block.

    Raises
    ------
    ValueError
        As `randomised_blocks` does.
    """
    _check(levels, blocks)
    return [list(levels) if number % 2 == 0 else list(reversed(levels)) for number in range(blocks)]


def _check(levels: Sequence[T], blocks: int) -> None:
    if len(levels) < 2 or blocks < 1:
        raise ValueError(f"an order takes two levels and a block, got {len(levels)} and {blocks}")
