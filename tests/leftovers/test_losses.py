import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.leftovers.losses import BY_CHANCE, moved_from_losses, one_way
from debriscount.leftovers.records import Fates

PATCH = lay_patch(600, 400, ("top",))
Floats = NDArray[np.float64]


def table(places: Floats, patch: Patch = PATCH, kind: int = 0) -> GrainTable:
    x, y = np.asarray(places, float).reshape(-1, 2).T
    return GrainTable(np.full(len(x), kind, np.int16), x, y, np.full(len(x), 10.0), patch.zone_codes(x, y))


def thrown(before: Floats, lost: NDArray[np.bool_], after: Floats, matched: bool = True) -> Fates:
    """Grains ``before`` of which some are lost, and ``after`` in places of their own."""
    earlier, still = table(before), table(before[~lost])
    moved = table(after)
    later = GrainTable(
        *(
            np.concatenate([getattr(still, name), getattr(moved, name)])
            for name in ("kind", "x_mm", "y_mm", "area_mm2", "zone")
        )
    )
    untouched = np.repeat([1.0, 0.0], [len(still), len(moved)])
    return Fates(
        earlier=earlier,
        later=later,
        stayed=(~lost).astype(float),
        untouched=untouched,
        matched=(matched,),
        least_shift_mm=(0.3,),
        u_untouched_percent=(1.0,),
        chance_percent=(0.0,),
    )


def test_the_way_is_from_the_nearest_loss_of_the_kind() -> None:
    before = np.array([[100.0, 100.0], [200.0, 100.0], [130.0, 100.0]])
    lost = np.array([True, True, False])
    found = moved_from_losses(thrown(before, lost, np.array([[130.0, 140.0]])), PATCH)
    assert found.way_mm.tolist() == [[30.0, 40.0]]
    assert found.least_mm.tolist() == [50.0]
    assert found.grains.tolist() == [1]


def test_another_kinds_losses_do_not_count() -> None:
    one = thrown(np.array([[100.0, 100.0]]), np.array([True]), np.array([[130.0, 100.0]]))
    other = GrainTable(
        np.array([1], np.int16), np.array([128.0]), np.array([100.0]), np.array([10.0]), np.zeros(1, np.int8)
    )
    earlier = GrainTable(
        *(
            np.concatenate([getattr(one.earlier, n), getattr(other, n)])
            for n in ("kind", "x_mm", "y_mm", "area_mm2", "zone")
        )
    )
    both = Fates(
        earlier=earlier,
        later=one.later,
        stayed=np.zeros(2),
        untouched=one.untouched,
        matched=(True, True),
        least_shift_mm=(0.3,) * 2,
        u_untouched_percent=(1.0,) * 2,
        chance_percent=(0.0,) * 2,
    )
    assert moved_from_losses(both, PATCH).least_mm.tolist() == [30.0]


def test_kinds_that_are_not_matched_and_grains_that_lie_still_have_no_way() -> None:
    before = np.array([[100.0, 100.0], [150.0, 100.0]])
    assert not len(
        moved_from_losses(thrown(before, np.array([True, False]), np.array([[130.0, 100.0]]), False), PATCH).grains
    )
    assert not len(moved_from_losses(thrown(before, np.array([False, False]), np.zeros((0, 2))), PATCH).grains)


@pytest.mark.parametrize(
    ("moved", "fair"),
    [
        ((300.0, 210.0), True),
        ((300.0, 238.0), False),  # the other side lies nearer to the loss at y = 150
        ((645.0, 10.0), False),  # the other side is behind the wall
    ],
)
def test_a_way_is_fair_if_the_other_side_is_as_possible(moved: tuple[float, float], fair: bool) -> None:
    before = np.array([[300.0, 200.0], [300.0, 150.0], [600.0, 4.0]])
    found = moved_from_losses(thrown(before, np.ones(3, bool), np.array([moved])), PATCH)
    assert found.fair.tolist() == [fair]


def test_by_chance_vectors_lean_to_one_side_as_often_as_said() -> None:
    """*Independent*: the square sum is chi squared with two degrees of freedom (scipy.stats)."""
    assert chi2.sf(-2 * np.log(BY_CHANCE), 2) == pytest.approx(BY_CHANCE)
    rng = np.random.default_rng(1)
    # Ways along one line mostly, as a machine pushes: not even over the circle, but as likely as their opposites.
    angle = rng.normal(0.7, 0.4, (4000, 40)) + np.pi * rng.integers(0, 2, (4000, 40))
    vectors = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    claimed = sum(one_way(some) for some in vectors)
    assert claimed / 4000 < BY_CHANCE + 4 * np.sqrt(BY_CHANCE / 4000)


def test_vectors_that_lean_to_one_side_are_seen() -> None:
    angle = np.random.default_rng(2).vonmises(1.0, 1.5, 60)
    assert one_way(np.stack([np.cos(angle), np.sin(angle)], axis=-1))
    assert not one_way(np.zeros((0, 2)))
    assert not one_way(np.array([[1.0, 0.0]] * 4))  # four alike are a chance of 2 in 16


def test_throws_to_no_side_are_taken_for_none_whatever_the_layout() -> None:
    claimed = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        # Debris in the right half alone, thrown anywhere: the bare left half must not make a direction.
        before = rng.uniform(0, 1, (250, 2)) * (250, 380) + (330, 10)
        thrown_from = rng.choice(250, 60, replace=False)
        after = before[thrown_from] + rng.normal(0, 12, (60, 2))
        found = moved_from_losses(thrown(before, np.ones(250, bool), after), PATCH)
        fair = found.way_mm[found.fair] / found.least_mm[found.fair, None]
        assert len(fair) > 10
        claimed += one_way(fair)
    assert claimed <= 4  # of 60, at 1 %: more is a chance of 1 in 3000


def test_throws_to_one_side_are_seen() -> None:
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        before = rng.uniform(0, 1, (120, 2)) * (500, 300) + (50, 50)
        after = before[:60] + rng.uniform(5, 15, (60, 1)) * (0.6, -0.8) + rng.normal(0, 2, (60, 2))
        found = moved_from_losses(thrown(before, np.ones(120, bool), after), PATCH)
        fair = found.way_mm[found.fair] / found.least_mm[found.fair, None]
        assert one_way(fair)
        mean = fair.mean(axis=0)
        assert mean @ (0.6, -0.8) > 0.95 * np.hypot(*mean)
