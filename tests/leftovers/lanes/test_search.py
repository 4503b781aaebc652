from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.search import borders_evidence, heading_evidence, profiles, strips_at, strips_total

small = st.lists(st.integers(-9, 9), min_size=1, max_size=7)


def best_by_trying(values: list[int], penalty: float) -> float:
    """Largest sum of disjoint segments less a penalty each, by trying all."""
    best = 0.0
    for many in range(len(values) // 2 + 2):
        for cuts in combinations(range(len(values) + many), 2 * many):
            # Cuts may touch: a segment may begin where another ended.
            places = [cut - index // 2 for index, cut in enumerate(cuts)]
            pairs = list(zip(places[::2], places[1::2], strict=True))
            if all(a < b for a, b in pairs) and all(b <= len(values) for _, b in pairs):
                best = max(best, sum(sum(values[a:b]) - penalty for a, b in pairs))
    return best


@given(small, st.floats(0.1, 12))
def test_the_best_segments_are_those_of_trying_all(values: list[int], penalty: float) -> None:
    profile = np.array(values, float)
    total = float(strips_total(profile[:, None], penalty)[0])
    assert total == pytest.approx(best_by_trying(values, penalty))
    segments = strips_at(profile, penalty)
    assert sum(profile[a:b].sum() - penalty for a, b in segments) == pytest.approx(total)
    assert all(b <= a for (_, b), (a, _) in pairwise(segments))


def test_a_published_maximum_sum() -> None:
    # J. Bentley, Programming Pearls, CACM 27 (1984) 865-873 (from memory): the third to the seventh value, 187 in all.
    values = np.array([31, -41, 59, 26, -53, 58, 97, -93, -23, 84], float)
    # A penalty above 84 leaves one segment.
    assert strips_at(values, 90.0) == [(2, 7)]
    assert strips_total(values[:, None], 90.0)[0] == 187 - 90


def test_profiles_hold_every_grain_where_it_lies_across() -> None:
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-100, 100, (2, 500))
    grains = LaneEvidence(x, y, rng.normal(size=500))
    profile = profiles(grains, np.array([0.0, 90.0, 30.0]), 2.0, 150.0)
    for column, heading in enumerate((0.0, 90.0, 30.0)):
        across, _ = grains.across_along(heading)
        expected, _ = np.histogram(across, np.arange(len(profile) + 1) * 2.0 - 150, weights=grains.ratio)
        # Rounding to single precision may move a grain to the next bin.
        assert np.abs(np.cumsum(profile[:, column] - expected)).max() < 4 * np.abs(grains.ratio).max()
        assert profile[:, column].sum() == pytest.approx(grains.ratio.sum())


def test_borders_evidence_sums_over_all_pairs_of_borders() -> None:
    place, ratio = np.array([1.1, 2.3, 3.1, 6.2]), np.array([-2.0, 1.5, 2.0, -1.0])
    width, room = 2.0, 3.0
    cuts = -room + 0.25 * np.arange(int((width + 2 * room) / 0.25) + 2)
    sums = [ratio[(place >= a) & (place < b)].sum() for a, b in combinations(cuts, 2)]
    assert borders_evidence(place, ratio, width, room) == pytest.approx(float(np.log(np.exp(sums).sum())))


def test_the_right_heading_has_most_evidence() -> None:
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-300, 300, (2, 5000))
    heading = 40.3
    across, _ = LaneEvidence(x, y, x).across_along(heading)
    grains = LaneEvidence(x, y, np.where(np.abs(across - 20) < 8, 3.0, -3.0))
    headings = np.arange(39.0, 42.0, 0.1)
    likely = heading_evidence(grains, [(10.0, 30.0)], headings, 10.0)
    assert headings[np.argmax(likely)] == pytest.approx(heading, abs=0.15)
