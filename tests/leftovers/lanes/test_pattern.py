import numpy as np
import pytest

from debriscount.leftovers.lanes.evidence import LaneEvidence
from debriscount.leftovers.lanes.pattern import merged, refine_pattern, seek_pattern


def strewn(count: int, heading: float, width: float = 14.0, seed: int = 0) -> LaneEvidence:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-250, 250, (2, count))
    across, _ = LaneEvidence(x, y, x).across_along(heading)
    stayed = (np.abs(across - 130 * np.round(across / 130)) < width / 2) | (rng.random(count) < 0.1)
    return LaneEvidence(x, y, stayed * np.log(0.97 / 0.1) + ~stayed * np.log(0.03 / 0.9))


@pytest.mark.parametrize(("count", "heading"), [(500, 71.0), (9000, 71.0), (9000, 0.0)])
def test_strips_are_sought_at_all_headings_and_refined(count: int, heading: float) -> None:
    grains = strewn(count, heading)
    pattern = seek_pattern(grains, 360.0)
    assert pattern is not None
    refined = refine_pattern(grains, pattern, 1.0)
    assert refined is not None
    assert abs((refined.heading_deg - heading + 90) % 180 - 90) < 0.5
    assert refined.heading_u_deg < 0.5
    middles = np.array([(low + high) / 2 for low, high in refined.spans])
    assert len(middles) >= 3 and np.abs(middles - 130 * np.round(middles / 130)).max() < 8


def test_chance_is_a_guess_but_not_sure() -> None:
    grains = strewn(2000, 0.0, width=0.0)
    assert seek_pattern(grains, 360.0) is None
    assert seek_pattern(strewn(0, 0.0), 360.0) is None


def test_rows_between_parts_of_a_strip_do_not_divide_it() -> None:
    assert merged([(0.0, 3.0), (4.0, 20.0), (60.0, 70.0), (77.0, 80.0)]) == [(0.0, 20.0), (60.0, 80.0)]
    assert merged([]) == []
