"""Counts of grains that hang together, on grains whose true number is known."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from debriscount.grains.split import split_grains
from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.pickup.clumps import LEAST_SINGLES, count_interval
from debriscount.run.count import count
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec


def table(areas: list[float], clumps: list[int], kinds: list[int] | None = None) -> GrainTable:
    n = len(areas)
    kind = np.zeros(n, np.int16) if kinds is None else np.array(kinds, np.int16)
    place = 1000 * np.arange(n, dtype=np.float64)  # far from each other: nothing is hidden
    return GrainTable(kind, place, place, np.array(areas, float), np.zeros(n, np.int8), np.array(clumps, np.int32))


def whole(grains: GrainTable) -> NDArray[np.bool_]:
    return np.ones(len(grains), bool)


def interval(areas: list[float], clumps: list[int], kinds: list[int] | None = None) -> tuple[int, int]:
    grains = table(areas, clumps, kinds)
    found = count_interval(grains, whole(grains))
    assert found is not None
    return found


#: Single grains of 8, 10 and 12.5 mm², four of each: the median is 10, ln 1.25 = 0.2231 the deviation of a third.
SINGLES = [8.0, 10.0, 12.5] * 4
#: *By hand*: s = sqrt(2 / 3) 0.2231 = 0.1822, a = 10 exp(s^2 / 2) = 10.167, c = sqrt(exp(s^2) - 1) = 0.1837.
MEAN, SPREAD, RELATIVE = 10.167, 0.1822, 0.1837


def test_single_grains_are_counted_surely() -> None:
    assert interval(SINGLES, list(range(12))) == (12, 12)
    assert interval([], []) == (0, 0)


def test_a_clump_is_unsure_by_what_its_area_says() -> None:
    """*By hand*: six pieces of 96 mm² in all; by area 9.44, 3.44 more.

    u^2 = 0.1837^2 * 9.44 + (0.1822 * 1.2533 / sqrt(12) * 9.44)^2 = 0.319 + 0.387, so 1.96 u = 1.647: from 18 - 1.6 to
    18 + 3.4 + 1.6.
    """
    by_area = 96 / MEAN
    beyond = 1.96 * np.hypot(RELATIVE * np.sqrt(by_area), SPREAD * 1.2533 / np.sqrt(12) * by_area)
    assert beyond == pytest.approx(1.647, abs=0.001)
    assert interval([*SINGLES, *[16.0] * 6], [*range(12), *[12] * 6]) == (16, 24)


def test_pieces_that_are_too_small_for_grains_lower_the_interval() -> None:
    """*By hand*: six pieces of 30 mm² in all; by area 2.95, 3.05 fewer; 1.96 u = 0.73: 18 - 3.05 - 0.73 = 14.2."""
    assert interval([*SINGLES, *[5.0] * 6], [*range(12), *[12] * 6]) == (14, 19)


def test_a_clump_holds_at_least_one_grain() -> None:
    assert interval([*SINGLES, 0.1, 0.1, 0.1], [*range(12), 12, 12, 12])[0] == 13


def test_a_piece_as_large_as_two_may_be_two() -> None:
    """*By hand*: 21 mm² is beyond 10 exp(2 s) = 14.4, and 2.07 grains by area."""
    low, high = interval([*SINGLES, 21.0], list(range(13)))
    assert low == 13  # the number of clumps
    assert high == 15  # 13 + 1.07 + 1.96 * 0.30, outwards
    assert interval([*SINGLES, 14.0], list(range(13))) == (13, 13)


def test_pairs_that_were_not_split_do_not_pass_for_large_grains() -> None:
    """A fifth of the single pieces are two grains; the mean of all pieces would hide half of them."""
    rng = np.random.default_rng(1)
    held = []
    for _ in range(100):
        area = np.exp(rng.normal(2, 0.15, 120))
        pieces = [*area[:80], *(area[80::2] + area[81::2])]
        low, high = interval(pieces, list(range(100)))
        held.append(low <= 120 <= high)
    assert np.mean(held) >= 0.9


def test_too_few_single_grains_tell_nothing_of_clumps() -> None:
    few = SINGLES[: LEAST_SINGLES - 1]
    grains = table([*few, 9.0, 9.0], [*range(9), 9, 9])
    assert count_interval(grains, whole(grains)) is None
    assert count_interval(grains, np.arange(11) < 9) == (9, 9)
    assert interval([*few, 10.0, 9.0, 9.0], [*range(10), 10, 10]) is not None


def test_where_clumps_are_unknown_so_is_the_interval() -> None:
    grains = table(SINGLES, list(range(12)))
    unknown = GrainTable(grains.kind, grains.x_mm, grains.y_mm, grains.area_mm2, grains.zone)
    assert count_interval(unknown, whole(unknown)) is None


def test_a_kind_is_judged_by_its_own_single_grains() -> None:
    """Grains of another kind a hundred times as large, in clumps of their own, change nothing about the first."""
    areas, clumps = [*SINGLES, *[16.0] * 6], [*range(12), *[12] * 6]
    large = [100 * a for a in areas]
    grains = table([*areas, *large], [*clumps, *(20 + c for c in clumps)], [0] * 18 + [1] * 18)
    assert count_interval(grains, grains.kind == 0) == count_interval(grains, grains.kind == 1) == (16, 24)
    # Both: 2 * 3.44 more, and 1.96 u = sqrt(2) 1.647, so from 36 - 2.33 to 36 + 6.88 + 2.33.
    assert count_interval(grains, whole(grains)) == (33, 46)
    few = table([*areas, 9.0, 9.0], [*clumps, 20, 20], [0] * 18 + [1] * 2)
    assert count_interval(few, few.kind == 0) == (16, 24)
    assert count_interval(few, whole(few)) is None


def test_a_zones_part_of_a_clump_is_unsure_even_if_it_is_one_piece() -> None:
    grains = table([*SINGLES, 10.0, 18.0], [*range(12), 12, 12])
    here = np.arange(14) != 12
    found = count_interval(grains, here)
    assert found is not None
    assert found[0] == 13  # the clumps of which it holds a part
    assert found[1] > 13


areas = st.floats(5, 20)
clumps_of = st.lists(st.integers(1, 5), min_size=1, max_size=12)


@given(st.lists(areas, min_size=LEAST_SINGLES, max_size=30), clumps_of, st.floats(0.01, 100))
def test_the_interval_holds_the_count_and_minds_neither_unit_nor_order(
    singles: list[float], pieces: list[int], unit: float
) -> None:
    number = list(range(len(singles))) + [100 + i for i, n in enumerate(pieces) for _ in range(n)]
    grains = table([*singles, *[8.0] * sum(pieces)], number)
    found = count_interval(grains, whole(grains))
    assert found is not None
    assert len(set(number)) <= found[0] <= len(grains) <= found[1]
    order = np.random.default_rng(len(number)).permutation(len(grains))
    mixed = table(list(unit * grains.area_mm2[order]), list(grains.clump[order] + 7))
    turned = count_interval(mixed, whole(mixed))
    assert turned == pytest.approx(found, abs=1)  # an end on a whole number may round either way


@given(st.lists(areas, min_size=LEAST_SINGLES, max_size=30), st.lists(areas, min_size=4, max_size=12))
def test_a_wrong_split_moves_the_count_but_not_what_the_area_says(singles: list[float], clump: list[float]) -> None:
    """One end is the area's and stays; the other follows the count. A split to the wrong side widens the interval.

    What pieces may hide goes with their size, in proportion to more than that: an end moves by a grain or two with them.
    """
    n = len(singles)

    def split_into(pieces: list[float]) -> tuple[int, int]:
        return interval([*singles, *pieces], [*range(n), *[n] * len(pieces)])

    right = split_into(clump)
    merged = split_into([clump[0] + clump[1], *clump[2:]])
    torn = split_into([clump[0] / 2, clump[0] / 2, *clump[1:]])
    assert right[0] - 1 <= merged[0] <= right[0]
    assert right[1] - 2 <= merged[1] <= right[1] + 2
    assert right[0] <= torn[0] <= right[0] + 1
    assert right[1] - 2 <= torn[1] <= right[1] + 2
    assert max(found[1] - found[0] for found in (merged, torn)) >= right[1] - right[0] - 2


def drawn(seed: int, count: int, sigma: float) -> GrainTable:
    """Discs that touch but do not overlap, rendered, split and summed."""
    rng = np.random.default_rng(seed)
    size = 600
    mask = np.zeros((size, size), np.uint8)
    discs: list[tuple[float, float, float]] = []
    while len(discs) < count:
        r = 7 * float(np.exp(sigma * np.clip(rng.normal(), -2, 2)))
        if discs and rng.random() < 0.5:  # against one that lies there already
            x0, y0, r0 = discs[rng.integers(len(discs))]
            way = rng.uniform(0, 2 * np.pi)
            x, y = x0 + (r + r0) * np.cos(way), y0 + (r + r0) * np.sin(way)
        else:
            x, y = rng.uniform(30, size - 30, 2)
        if min(x, y) < 30 or max(x, y) > size - 30:
            continue
        if all(np.hypot(x - a, y - b) > r + c - 0.1 for a, b, c in discs):
            discs.append((x, y, r))
            cv2.circle(mask, (round(16 * x), round(16 * y)), round(16 * r), 1, cv2.FILLED, cv2.LINE_8, 4)
    small, large = (14 * float(np.exp(sigma * z)) for z in (-1.645, 1.645))
    labels = split_grains(mask > 0, (small, large))
    _, components = cv2.connectedComponents(mask, connectivity=8)
    area = np.bincount(labels.ravel())[1:].astype(float)
    clump = np.zeros(len(area) + 1, np.int32)
    clump[labels[labels > 0]] = components[labels > 0]
    return table(list(area), list(clump[1:]))


@pytest.mark.parametrize("sigma", [0.05, 0.12, 0.2])
def test_the_interval_holds_the_true_number_of_touching_discs(sigma: float) -> None:
    held, clumped = [], []
    for seed in range(8):
        grains = drawn(seed, 120, sigma)
        found = count_interval(grains, whole(grains))
        assert found is not None
        held.append(found[0] <= 120 <= found[1])
        clumped.append((np.bincount(grains.clump)[grains.clump] > 1).mean())
    assert np.mean(clumped) > 0.4
    assert np.mean(held) >= 7 / 8


@settings(max_examples=40)
@given(st.integers(0, 2**32), st.floats(0.05, 0.3))
def test_merged_and_torn_clumps_keep_the_true_number(seed: int, sigma: float) -> None:
    """In nineteen looks of twenty; fewer than sixteen happen by chance once in 400."""
    rng = np.random.default_rng(seed)
    held = []
    for _ in range(20):
        area = np.exp(rng.normal(2, sigma, 200))
        pieces, number = list(area[:100]), list(range(100))
        for i in range(25):  # clumps of four grains, split into three or five pieces by turns, or rightly
            four = list(area[100 + 4 * i : 104 + 4 * i])
            if i % 3 == 0:
                four = [four[0] + four[1], *four[2:]]
            elif i % 3 == 1 and i % 2:
                four = [four[0] / 2, four[0] / 2, *four[1:]]
            pieces += four
            number += [100 + i] * len(four)
        low, high = interval([float(p) for p in pieces], number)
        held.append(low <= 200 <= high)
    assert np.sum(held) >= 16


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "shape", "floor"),
    [
        (DebrisKind("red lentils", (205, 100, 55), (4.3, 5.6)), "round", (205, 205, 200)),
        (DebrisKind("rice", (226, 214, 190), (2.8, 3.9)), "long", (120, 122, 124)),
    ],
    ids=["round", "long"],
)
def test_photographed_heaps_hold_a_number_within_the_interval(
    kind: DebrisKind, shape: str, floor: tuple[int, int, int]
) -> None:
    """*Independent*: the scene's own truth; a quarter of the grains lie in heaps."""
    spec = SceneSpec(
        lay_patch(180, 120, ()),
        (Portion(kind, 0.06, shape=shape),),
        floor=Floor("plain", floor),
        passes=(),
        camera=Camera(megapixels=1.8),
        seed=7,
    )
    scene = make_scene(spec)
    counted = count(scene.pixels("before"), patch=spec.patch, blank=scene.pixels("blank"), debris=[kind])
    found, true = counted.zones["patch"], scene.truth.amounts(0)["patch"].grains
    assert found.grains95 is not None
    assert found.grains95[0] <= true <= found.grains95[1]
    assert 0 < found.grains95[1] - found.grains95[0] < 0.25 * true
