"""What can be told from bare floor: Currie's formulas, false grains of blanks and mirrors, and what they promise."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.find import find_grains, least_area_px
from debriscount.grains.table import GrainTable
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import CustomZone, Patch
from debriscount.pickup.detection import (
    FalseGrains,
    Limits,
    currie_limits,
    mirror_grains,
    most_left,
    zone_limits,
)
from debriscount.pickup.pass_figures import pass_figures
from debriscount.pickup.uncertainty import Doubts, ShotGrains
from debriscount.registration.grid import FloorGrid

PATCH = Patch("bench", 200.0, 100.0, ("top",), (), 20.0, 40.0, 10.0)
NONE: list[tuple[float, float]] = []


def grains(places: list[tuple[float, float]], area: float | list[float] = 4.0, kind: int | list[int] = 0) -> GrainTable:
    x, y = np.array(places, float).reshape(-1, 2).T
    areas = np.broadcast_to(np.array(area, float), len(x))
    return GrainTable(np.broadcast_to(np.array(kind, np.int16), len(x)), x, y, areas, PATCH.zone_codes(x, y))


@pytest.mark.parametrize("background", [0.0, 1.0, 10.0, 144.0])
def test_counts_have_the_published_limits(background: float) -> None:
    """*Published*: Currie 1968, Anal. Chem. 40, 586-593, Table II, working formulas; values from memory."""
    root = np.sqrt(background)
    paired, known = currie_limits(background), currie_limits(background, paired=False)
    assert paired.critical == pytest.approx(2.33 * root, abs=0.005 * root)
    assert paired.detection == pytest.approx(2.71 + 4.65 * root, abs=0.005 + 0.005 * root)
    assert known.critical == pytest.approx(1.64 * root, abs=0.0051 * root)
    assert known.detection == pytest.approx(2.71 + 3.29 * root, abs=0.005 + 0.005 * root)


@pytest.mark.parametrize("background", [10.0, 30.0, 100.0, 1000.0])
def test_one_in_twenty_is_wrong_either_way(background: float) -> None:
    """*Independent*: exact Poisson and Skellam distributions of scipy.stats. Counts are whole, hence 3.5 to 6.5 %."""
    known, paired = currie_limits(background, paired=False), currie_limits(background)
    both = stats.poisson(background + known.detection)
    assert 0.035 < stats.poisson(background).sf(background + known.critical) < 0.065
    assert 0.035 < both.cdf(background + known.critical) < 0.065
    assert 0.035 < stats.skellam(background, background).sf(paired.critical) < 0.065
    assert 0.035 < stats.skellam(background + paired.detection, background).cdf(paired.critical) < 0.065


def test_a_signal_that_does_not_vary_by_chance_needs_no_more_than_the_background() -> None:
    limits = currie_limits(50.0, unit=0.0)
    assert limits.detection == 2 * limits.critical == pytest.approx(2 * 1.645 * 10)


def test_a_negative_background_is_a_programmers_mistake() -> None:
    with pytest.raises(ValueError, match=r"background must be at least 0, got -1\.0"):
        currie_limits(-1.0)


def test_below_the_critical_level_the_detection_limit_is_promised_and_above_it_more_is_added() -> None:
    """By hand: 30 seen, and 50 more may hide behind chance."""
    assert [most_left(seen, Limits(50.0, 100.0)) for seen in (-20.0, 0.0, 50.0, 80.0)] == [100, 100, 100, 130]


@pytest.mark.parametrize("truly_left", [50.0, 99.0, 101.0, 120.0, 150.0, 250.0])
def test_what_is_promised_holds_in_nineteen_of_twenty_runs(truly_left: float) -> None:
    limits = currie_limits(0.5 * (50 / 1.645) ** 2, unit=0.0)  # critical level 50
    seen = truly_left + 50 / 1.645 * np.random.default_rng(1).standard_normal(20_000)
    promised = np.array([most_left(s, limits) for s in seen])
    assert (promised < truly_left).mean() < 0.055


def test_limits_of_a_blank_worked_out_by_hand() -> None:
    """False grains of 3 and 4 mm² on open floor, 12 mm² in the margin; the least is 2 mm².

    V is 9 + 16 + 2 on open floor, 2 at the edge, 144 + 2 in the margin, and 27 + 146 for the patch with its margin.
    """
    false = FalseGrains(grains([(100, 50), (150, 60), (205, 50)], [3, 4, 12]), (2.0,))
    found = {zone: limits.detection for zone, limits in zone_limits(PATCH, false).items()}
    by_hand = {"patch": 173, "open": 27, "edge": 2, "margin": 146}
    assert found == pytest.approx({zone: 2 * 1.645 * np.sqrt(2 * v) for zone, v in by_hand.items()})


def test_each_kind_has_its_own_limit() -> None:
    false = FalseGrains(grains([(100, 50), (150, 60)], [3, 4], [0, 1]), (2.0, 6.0))
    found = [zone_limits(PATCH, false, only)["open"].detection for only in (0, 1, None)]
    assert found == pytest.approx([2 * 1.645 * np.sqrt(2 * v) for v in (9 + 2, 16 + 18, 25 + 20)])


def test_floor_that_was_left_out_is_reckoned_with() -> None:
    false = FalseGrains(grains([(100, 50)], 4), (2.0,), {"open": 0.75, "edge": 1.0})
    found = zone_limits(PATCH, false)
    assert found["open"].detection == pytest.approx(2 * 1.645 * np.sqrt(2 * 4 * 18))
    assert "edge" not in found


def test_false_grains_are_seldom_called_debris() -> None:
    """Simulated floor with about forty false grains of unlike sizes: a second look at it, against the first.

    With limits known beforehand it would be one in twenty. A blank that happens to show few makes them small as well,
    which brings it to 8 %; of 400 false grains it would be 6 %.
    """
    rng = np.random.default_rng(1)

    def one() -> tuple[float, float]:
        tables = []
        for _ in range(2):
            count = rng.poisson(40)
            tables.append(grains([(100.0, 50.0)] * count, list(rng.lognormal(1.0, 0.5, count))))
        blank, after = tables
        net = float(after.area_mm2.sum() - blank.area_mm2.sum())
        return net, zone_limits(PATCH, FalseGrains(blank, (1.0,)))["open"].critical

    called = [net > critical for net, critical in (one() for _ in range(4000))]
    assert 0.03 < np.mean(called) < 0.1


def disc_shot(diameter_px: float) -> ShotCover:
    """One disc in the middle, blurred like a sharp photo, hardly any noise."""
    fine = (np.arange(480) + 0.5) / 8 - 30.0
    cover = (np.hypot(fine[None], fine[:, None]) < diameter_px / 2).reshape(60, 8, 60, 8).mean(axis=(1, 3))
    seen = cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.8)
    sigma, light = np.full((60, 60), 0.01, np.float32), np.zeros((60, 60), np.float32)
    return ShotCover(seen, sigma, np.zeros((60, 60), np.uint8), seen / sigma, light, (0.0,))


@pytest.mark.parametrize("smallest_px", [1.5, 2.5, 3.0, 5.5, 8.0, 12.0])
def test_the_least_area_is_about_where_grains_begin_to_be_found(smallest_px: float) -> None:
    kind = KindHint(np.full(3, 0.5), (smallest_px, 1.5 * smallest_px))
    least = least_area_px(kind)
    sizes = [np.sqrt(4 / np.pi * least * factor) for factor in (0.4, 2.2)]
    assert [len(find_grains(disc_shot(d), [kind]).x_px) for d in sizes] == [0, 1]


GRID = FloorGrid(-9.5, 0.5, 1.0, 120, 230)


def mask(*squares: tuple[int, int, int, int]) -> NDArray[np.bool_]:
    """Debris in squares of left, top, right and bottom, mm."""
    debris = np.zeros(GRID.shape, bool)
    for left, top, right, bottom in squares:
        debris[top:bottom, left + 10 : right + 10] = True
    return debris


def test_the_mirror_of_a_clean_floor_counts_whole() -> None:
    false = mirror_grains(PATCH, GRID, grains([(100, 50), (150, 60)]), mask(), 5.0, (1.0,))
    assert len(false.grains) == 2
    assert set(false.left_out.values()) == {0.0}


def test_shadows_beside_debris_are_no_mirror() -> None:
    """Debris of 20 x 20 mm: a mirror grain 3 mm from it is its shadow, one 8 mm from it is the floor's own."""
    near, far = (83.0, 50.0), (88.0, 50.0)
    false = mirror_grains(PATCH, GRID, grains([near, far], [7.0, 3.0]), mask((60, 40, 80, 60)), 5.0, (1.0,))
    assert false.grains.area_mm2.tolist() == [3.0]
    # By hand: a square of 30 x 30 mm with round corners, of 200 x 80 mm of open floor.
    assert false.left_out["open"] == pytest.approx((900 - (4 - np.pi) * 25) / 16_000, rel=0.15)
    assert false.left_out["edge"] == 0


def test_a_zone_full_of_debris_has_no_limit() -> None:
    false = mirror_grains(PATCH, GRID, grains(NONE), mask((0, 0, 200, 20)), 5.0, (1.0,))
    assert false.left_out["edge"] == 1
    assert set(zone_limits(PATCH, false)) == {"patch", "open", "margin"}


def test_zones_of_ones_own_have_their_limit() -> None:
    rug = CustomZone("rug", ((50.0, 30.0), (90.0, 30.0), (90.0, 70.0), (50.0, 70.0)))
    own = replace(PATCH, custom_zones=(rug,))
    false = mirror_grains(own, GRID, grains([(55, 35)]), mask((70, 30, 90, 70)), 0.5, (1.0,))
    assert false.left_out["rug"] == pytest.approx(0.5, abs=0.06)
    assert zone_limits(own, false)["rug"].detection == pytest.approx(2 * 1.645 * np.sqrt(2 * 16.5 / 0.5), rel=0.1)


#: Nothing is left open, of all kinds or of the only one.
SURE: dict[int | None, Doubts] = {None: Doubts(), 0: Doubts()}


def shot(table: GrainTable) -> ShotGrains:
    return ShotGrains(table, np.zeros(len(table)), 1e-6)


def test_next_to_nothing_left_is_more_than_and_more_left_is_a_figure() -> None:
    """By hand: least area 2 mm², nothing in the blank: L_D is 3.29 x 2 at the edge, sqrt(2) times that for the patch."""
    before = grains([(10.0 * i + 5, y) for i in range(20) for y in (10, 50)], 10.0)
    after = grains([(100.0, 50.0), (120.0, 50.0)], 10.0)
    false = FalseGrains(grains(NONE), (2.0,))
    shots = {"blank": shot(grains(NONE)), "before": shot(before), "after": shot(after)}
    kinds = [DebrisKind("beads", (0, 0, 0), (1.0, 2.0))]
    (figures,), _ = pass_figures(PATCH, shots, kinds, 0.3, false, SURE)
    edge, patch = figures.zones["edge"], figures.zones["patch"]
    assert edge.limit_mm2 == pytest.approx(6.58)
    assert edge.pickup_percent == 100
    assert edge.more_than_percent is not None
    assert edge.more_than_percent == pytest.approx(100 * (1 - 6.58 / 200))
    assert edge.interval95 is not None
    assert edge.interval95[0] <= edge.more_than_percent
    assert (patch.pickup_percent, patch.more_than_percent) == (95, None)
    assert patch.limit_mm2 == pytest.approx(6.58 * np.sqrt(2))
    assert figures.zones["margin"].more_than_percent is None  # it held nothing
    assert figures.kinds["beads"] == figures.zones


def test_debris_in_the_margin_is_not_promised_away() -> None:
    before = grains([(10.0 * i + 5, 50) for i in range(20)], 10.0)
    kinds, false = [DebrisKind("beads", (0, 0, 0), (1.0, 2.0))], FalseGrains(grains(NONE), (2.0,))

    def more_than(*left: tuple[float, float]) -> float | None:
        shots = {"blank": shot(grains(NONE)), "before": shot(before), "after": shot(grains(list(left), 10.0))}
        return pass_figures(PATCH, shots, kinds, 0.3, false, SURE)[0][0].zones["patch"].more_than_percent

    assert more_than() == pytest.approx(100 * (1 - 6.58 * np.sqrt(2) / 200))
    assert more_than((205.0, 50.0)) is None
