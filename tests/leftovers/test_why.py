import numpy as np
import pytest

from debriscount.leftovers.passes import Pickup
from debriscount.leftovers.records import Explained, WhyLeft
from debriscount.leftovers.trace import TracedShot
from debriscount.leftovers.why import why_left

from .discs import MM_PER_PX, PATCH, hint, strewn, traced

DIAMETER = 8.0


def explain(shots: dict[str, TracedShot], percents: list[float]) -> Explained:
    pickups = [
        {zone: Pickup(percent, (percent - 1, percent + 1)) for zone in ("patch", "open", "margin")}
        for percent in percents
    ]
    return why_left(
        PATCH, shots, {"beads": hint(DIAMETER)}, pickups, mm_per_px=MM_PER_PX, apart_mm=dict.fromkeys(shots, 0.03)
    )


def whys(told: Explained) -> list[WhyLeft]:
    """Why debris stayed, of passes all of which are explained."""
    assert None not in told.passes
    return [why for why in told.passes if why is not None]


def places(seed: int, count: int) -> np.ndarray:
    return strewn(np.random.default_rng(seed), count, 1.5 * DIAMETER)


def test_a_band_that_no_pass_met_is_found_in_both_and_said_to_be_missed_again() -> None:
    """Before, a tenth of the rest after pass 1, nothing of the rest after pass 2; the band stays both times."""
    before = places(1, 900)
    band = (before[:, 1] > 400) & (before[:, 1] < 460)  # px: 30 mm of floor
    rest = np.flatnonzero(~band)
    first = np.concatenate([before[band], before[rest[::10]]])
    second = before[band]
    left = [len(first) / len(before), len(second) / len(before)]
    told = explain(
        {name: traced(p, DIAMETER) for name, p in (("before", before), ("after", first), ("after2", second))},
        [100 * (1 - share) for share in left],
    )
    one, two = whys(told)
    assert one.leftovers.zones["patch"].untouched_percent == pytest.approx(100, abs=1)
    assert one.reach is not None and two.reach is not None
    assert one.reach.grid == two.reach.grid
    there = one.reach.zones["patch"]
    assert there.share_percent == pytest.approx(100 * (1 - band.mean()), abs=3)
    assert there.share_percent is not None and there.pickup_percent is not None
    assert there.share_percent * there.pickup_percent / 100 == pytest.approx(100 * (1 - left[0]))
    assert told.steps[1].of_found_percent == pytest.approx(100 * (1 - len(second) / len(first)))
    again, chance = told.steps[1].missed_again_percent, told.steps[1].missed_again_by_chance_percent
    assert again is not None and chance is not None and again > chance + 25
    assert told.further is not None and told.further.together_percent <= 100
    assert one.findings and two.findings


def test_leftovers_are_told_against_before_and_the_rest_against_the_shot_that_the_pass_began_with() -> None:
    """What pass 1 moved lies still in pass 2: shifted since *before*, but not by this pass."""
    rng = np.random.default_rng(2)
    before = strewn(rng, 300, 2 * DIAMETER)
    moved = strewn(rng, 60, 2 * DIAMETER, before)
    after = np.concatenate([before[:60], moved])
    shots = {"before": traced(before, DIAMETER), "after": traced(after, DIAMETER), "after2": traced(after, DIAMETER)}
    told = explain(shots, [60.0, 60.0])
    second = whys(told)[1]
    assert second.leftovers.zones["patch"].shifted_percent == pytest.approx(50, abs=4)
    assert second.scatter.bare_percent == pytest.approx(0)
    assert told.steps[1].of_found_percent == pytest.approx(0)


def test_what_the_blank_shows_is_the_floors_own_and_left_out() -> None:
    rng = np.random.default_rng(3)
    specks = strewn(rng, 40, 2 * DIAMETER)
    before = strewn(rng, 200, 2 * DIAMETER, specks)
    landed = strewn(rng, 20, 2 * DIAMETER, np.concatenate([before, specks]))
    after = np.concatenate([specks, before[:60], landed])
    shots = {
        "blank": traced(specks, DIAMETER),
        "before": traced(np.concatenate([before, specks]), DIAMETER),
        "after": traced(after, DIAMETER),
    }
    (only,) = whys(explain(shots, [60.0]))
    assert np.isnan(only.untouched[:40]).all()
    assert np.isfinite(only.untouched[40:]).all()
    assert only.leftovers.zones["patch"].untouched_percent == pytest.approx(75, abs=2)


def test_the_way_to_a_moved_grain_is_told_from_the_nearest_loss() -> None:
    before = strewn(np.random.default_rng(6), 120, 3 * DIAMETER)
    after = before.copy()
    after[:10] += [0.6 * DIAMETER, 0.0]
    (only,) = whys(explain({"before": traced(before, DIAMETER), "after": traced(after, DIAMETER)}, [0.0]))
    assert only.way_mm.shape == (120, 2)
    assert only.way_mm[:10] == pytest.approx(np.tile([0.6 * DIAMETER * MM_PER_PX, 0.0], (10, 1)), abs=0.05)
    assert np.isnan(only.way_mm[10:]).all()


def test_one_pass_says_nothing_of_the_next() -> None:
    before = places(4, 100)
    told = explain({"before": traced(before, DIAMETER), "after": traced(before[:10], DIAMETER)}, [90.0])
    assert told.further is None
    assert told.steps[0].missed_again_percent is None
    assert whys(told)[0].lanes is None


def test_a_patch_without_leftovers() -> None:
    before = places(5, 100)
    told = explain({"before": traced(before, DIAMETER), "after": traced(np.zeros((0, 2)), DIAMETER)}, [100.0])
    (only,) = whys(told)
    assert only.leftovers.zones["patch"].untouched_percent is None
    assert only.lanes is None and only.missed == ()
    assert only.findings[0].what == "nothing left"
