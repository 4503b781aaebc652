"""The uncertainty of pickup on made-up grains whose sources can be worked out by hand."""

import numpy as np
import pytest

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Marker, Patch
from debriscount.pickup.same_grains import USUAL
from debriscount.pickup.uncertainty import (
    FAINT,
    MISSED,
    NO_BLANK,
    Doubts,
    ShotGrains,
    pickup_uncertainty,
)

PATCH = Patch("bench", 400, 300, ("top",), tuple(Marker(i, (-100.0, 100.0 * i), 50.0) for i in range(3)), 30, 60, 50)


def shot(count: int, limit: float = 0.0, residual: float = 1e-6, step: float = 19.0) -> ShotGrains:
    """Grains of 20 mm² far apart from one another and from all borders, one in every place of a coarse lattice."""
    x = np.asarray(40 + step * (np.arange(count) % 18), np.float64)
    y = np.asarray(60 + step * (np.arange(count) // 18), np.float64)
    table = GrainTable(np.zeros(count, np.int16), x, y, np.full(count, 20.0), PATCH.zone_codes(x, y))
    return ShotGrains(table, np.full(count, limit), residual)


def nothing() -> ShotGrains:
    return shot(0)


def test_light_alone_is_as_worked_out_by_hand() -> None:
    """*By hand*: of P = 1 - a/b with a relative u on a, u(P) = a/b u."""
    intervals, budget, _ = pickup_uncertainty(PATCH, shot(200), shot(50), nothing(), 0.3)
    assert budget["light"] == pytest.approx(100 * 0.25 * USUAL, rel=0.03)
    assert intervals["patch"] is not None
    low, high = intervals["patch"]
    assert low < 75 < high


def test_the_colour_limit_moves_all_grains_of_a_shot_together() -> None:
    """*By hand*: 0.4 mm² of every 20 mm² is a relative u of 2 % of either area; it does not average out."""
    _, budget, _ = pickup_uncertainty(PATCH, shot(200, 0.4), shot(50, 0.4), nothing(), 0.3)
    assert budget["colour limit"] == pytest.approx(100 * 0.25 * 0.02 * np.sqrt(2), rel=0.03)


def test_edge_pixels_average_out_over_grains() -> None:
    def of(count: int) -> float:
        return pickup_uncertainty(PATCH, shot(count), shot(count // 4), nothing(), 0.3)[1]["edge pixels"]

    assert of(200) == pytest.approx(of(50) / 2, rel=0.1)


def test_without_a_blank_the_leftovers_are_less_sure() -> None:
    """*By hand*: a relative u on a alone gives u(P) = a/b u."""
    _, budget, _ = pickup_uncertainty(PATCH, shot(200), shot(50), None, 0.3)
    assert budget["floor"] == pytest.approx(100 * 0.25 * NO_BLANK, rel=0.03)
    _, with_blank, _ = pickup_uncertainty(PATCH, shot(200), shot(50), nothing(), 0.3)
    assert with_blank["floor"] == pytest.approx(0, abs=1e-6)


def test_what_the_blank_shows_is_taken_off_and_makes_the_rest_unsure() -> None:
    intervals, budget, _ = pickup_uncertainty(PATCH, shot(200), shot(50), shot(10), 0.3)
    assert intervals["patch"] is not None
    assert intervals["patch"][0] < 100 * (1 - 40 / 190) < intervals["patch"][1]
    assert budget["floor"] > 0


def test_single_grains_missed_are_chance_events() -> None:
    """*By hand*: of 50 grains left MISSED are missed, Poisson; of 200 before, a quarter as much bears on the share."""
    _, budget, _ = pickup_uncertainty(PATCH, shot(200), shot(50), nothing(), 0.3)
    assert budget["missed grains"] == pytest.approx(100 * np.sqrt(MISSED * (50 + 200 / 16)) / 200, rel=0.03)


def test_grains_too_faint_to_be_seen_make_the_leftovers_unsure() -> None:
    """*By hand*: with half of the debris unseen, leftovers of a quarter are off by FAINT / 2 of themselves."""
    _, budget, _ = pickup_uncertainty(PATCH, shot(200), shot(50), nothing(), 0.3, Doubts(faint_share=0.5))
    assert budget["faint grains"] == pytest.approx(100 * 0.25 * FAINT * 0.5, rel=0.03)


def test_floor_that_cannot_be_judged_matters_most_where_half_was_picked_up() -> None:
    def of(left: int) -> float:
        return pickup_uncertainty(PATCH, shot(200), shot(left), nothing(), 0.3, Doubts(blind_share=0.3))[1][
            "not judged"
        ]

    assert of(100) > 2 * of(5) > 0


def test_what_lay_still_and_may_be_floor_widens_the_interval() -> None:
    def width(still: float) -> float:
        interval = pickup_uncertainty(PATCH, shot(200), shot(50), None, 0.3, Doubts(still_mm2=still))[0]["patch"]
        assert interval is not None
        return interval[1] - interval[0]

    assert width(400.0) > 2 * width(0.0)


def test_area_and_number_that_disagree_widen_the_interval() -> None:
    """Half of what is left by number, a quarter by area, of grains that are all alike: one of the two is wrong."""
    x = shot(100).grains
    small = GrainTable(x.kind, x.x_mm, x.y_mm, x.area_mm2 / 2, x.zone)
    _, budget, _ = pickup_uncertainty(PATCH, shot(200), ShotGrains(small, np.zeros(100), 1e-6), nothing(), 0.3)
    assert budget["area against number"] == pytest.approx(12.5, rel=0.05)  # TWO_WAYS of 25 points
    _, alike, _ = pickup_uncertainty(PATCH, shot(200), shot(100), nothing(), 0.3)
    assert alike["area against number"] == pytest.approx(0, abs=1e-6)


def test_grains_on_a_zone_border_make_its_figure_unsure() -> None:
    def width(residual: float) -> float:
        x = np.linspace(20, 380, 60)
        y = 30 + np.random.default_rng(1).uniform(-2, 2, 60)  # about the border between edge and open floor
        table = GrainTable(np.zeros(60, np.int16), x, y, np.full(60, 5.0), PATCH.zone_codes(x, y))
        some = ShotGrains(table, np.zeros(60), residual)
        half = table.take(np.arange(60) % 2 == 0)
        interval = pickup_uncertainty(PATCH, some, ShotGrains(half, np.zeros(30), residual), nothing(), 0.3)[0]["open"]
        assert interval is not None
        return interval[1] - interval[0]

    assert width(0.5) > 2 * width(1e-6)


def test_what_moves_all_shots_together_costs_less_where_debris_lies_alike() -> None:
    """The same place error in both shots moves the same grains over a border; in each by itself it does not."""

    def width(apart: float, together: float) -> float:
        x = np.linspace(20, 380, 60)
        y = 30 + np.random.default_rng(1).uniform(-2, 2, 60)
        table = GrainTable(np.zeros(60, np.int16), x, y, np.full(60, 5.0), PATCH.zone_codes(x, y))
        half = table.take(np.arange(60) % 2 == 0)
        before, after = (ShotGrains(t, np.zeros(len(t)), apart, together) for t in (table, half))
        interval = pickup_uncertainty(PATCH, before, after, nothing(), 0.3)[0]["open"]
        assert interval is not None
        return interval[1] - interval[0]

    none, apart, together = width(1e-6, 0.0), width(0.5, 0.0), width(1e-6, 0.5)
    assert none < together < apart
    assert width(0.5, 0.5) > together


def test_a_zone_that_held_nothing_has_no_interval() -> None:
    intervals, _, _ = pickup_uncertainty(PATCH, shot(50), shot(10), nothing(), 0.3)
    assert intervals["edge"] is None
    assert intervals["margin"] is None


def test_debris_flung_into_the_margin_widens_nothing_but_lowers_the_patch() -> None:
    def middle(flung: int) -> float:
        left = shot(50)
        g = left.grains
        x = np.concatenate([g.x_mm, np.full(flung, -20.0)])
        y = np.concatenate([g.y_mm, 20.0 + 5 * np.arange(flung)])
        table = GrainTable(np.zeros(len(x), np.int16), x, y, np.full(len(x), 20.0), PATCH.zone_codes(x, y))
        interval = pickup_uncertainty(PATCH, shot(200), ShotGrains(table, np.zeros(len(x)), 1e-6), nothing(), 0.3)[0]
        assert interval["patch"] is not None
        return sum(interval["patch"]) / 2

    assert middle(0) - middle(20) == pytest.approx(10, abs=0.5)  # by hand: 20 of 200


def test_the_grains_of_one_kind_keep_all_that_is_known_of_them() -> None:
    place = np.array([1.0, 2.0, 3.0])
    zone = PATCH.zone_codes(place, place)
    kinds, clumps = np.array([1, 0, 1], np.int16), np.array([4, 9, 4], np.int32)
    both = ShotGrains(GrainTable(kinds, place, 2 * place, 3 * place, zone, clumps), 4 * place, 0.5)
    own = both.of_kind(1)
    assert own.limit_mm2.tolist() == [4, 12]
    assert [own.grains.x_mm.tolist(), own.grains.y_mm.tolist(), own.grains.area_mm2.tolist()] == [
        [1, 3],
        [2, 6],
        [3, 9],
    ]
    assert own.grains.clump.tolist() == [4, 4]
    unknown = ShotGrains(GrainTable(kinds, place, place, place, zone), place, 0.5)
    assert len(unknown.of_kind(1).grains.clump) == 0


def in_two_zones() -> tuple[ShotGrains, ShotGrains]:
    """150 grains on open floor of which 30 stay, 50 along the wall of which 30 stay."""
    x = np.concatenate([40 + 19.0 * (np.arange(150) % 18), 20 + 7.0 * np.arange(50)])
    y = np.concatenate([60 + 19.0 * (np.arange(150) // 18), np.full(50, 15.0)])
    stays = np.r_[np.arange(150) % 5 == 0, np.arange(50) % 5 < 3]
    table = GrainTable(np.zeros(200, np.int16), x, y, np.full(200, 20.0), PATCH.zone_codes(x, y))
    return ShotGrains(table, np.zeros(200), 1e-6), ShotGrains(table.take(stays), np.zeros(int(stays.sum())), 1e-6)


def test_what_one_shot_shows_larger_moves_zones_by_what_they_kept() -> None:
    """*By hand*: a factor on *after* moves a zone's pickup by what it kept; 20, 60 and 30 %: 2/3 and 2 for the patch's 1.

    Edge pixels and missed grains, each zone's own, take part too, so this holds to a few percent.
    """
    before, after = in_two_zones()
    bright = ShotGrains(after.grains, after.limit_mm2, after.residual_mm, alike_u=0.2)
    _, _, with_patch = pickup_uncertainty(PATCH, before, bright, nothing(), 0.3)
    assert with_patch["patch"] == pytest.approx(1.0)
    assert with_patch["open"] == pytest.approx(2 / 3, rel=0.05)
    assert with_patch["edge"] == pytest.approx(2.0, rel=0.05)
    assert set(with_patch) == {"patch", "open", "edge"}


@pytest.mark.parametrize("alike_u", [1e-6, 0.02])
def test_the_patch_is_off_by_what_its_zones_are_off_together(alike_u: float) -> None:
    """Shares of before times slopes sum to 1, where shares do not move much themselves (grains missed move them)."""
    before, after = in_two_zones()
    after = ShotGrains(after.grains, after.limit_mm2, after.residual_mm, alike_u=alike_u)
    _, _, with_patch = pickup_uncertainty(PATCH, before, after, nothing(), 0.3)
    assert 0.75 * with_patch["open"] + 0.25 * with_patch["edge"] == pytest.approx(1.0, abs=0.15)
