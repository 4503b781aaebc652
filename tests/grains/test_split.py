import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.grains.split import SADDLE, split_grains


def disc(row: float, column: float, radius: float, shape: tuple[int, int] = (80, 120)) -> NDArray[np.bool_]:
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    return np.asarray(np.hypot(x - column, y - row) < radius)


def ellipse(row: float, column: float, long: float, short: float, turn_deg: float) -> NDArray[np.bool_]:
    y, x = np.mgrid[0:80, 0:120]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    u, v = c * (x - column) + s * (y - row), c * (y - row) - s * (x - column)
    return np.asarray((u / long) ** 2 + (v / short) ** 2 < 1)


def about(diameter_px: float) -> tuple[float, float]:
    """Sizes a tenth to either side of a diameter."""
    return 0.9 * diameter_px, 1.1 * diameter_px


def count(mask: NDArray[np.bool_], diameter_px: float) -> int:
    return int(split_grains(mask, about(diameter_px)).max())


def test_nothing_has_no_grains() -> None:
    labels = split_grains(np.zeros((20, 30), bool), (8.0, 10.0))
    assert labels.shape == (20, 30)
    assert not labels.any()


def test_labels_fill_the_mask_and_nothing_else() -> None:
    mask = disc(30, 30, 9) | disc(30, 46, 9) | disc(60, 90, 5)
    labels = split_grains(mask, (10.0, 19.0))
    np.testing.assert_array_equal(labels > 0, mask)
    assert sorted(np.unique(labels)) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("radius", "apart"), [(r, a) for r in (4, 5, 9, 15) for a in (1.6, 1.8, 2.0) if (r, a) != (4, 1.6)]
)
def test_two_touching_discs_are_two(radius: int, apart: float) -> None:
    """Centres 1.6 to 2 radii apart: the neck is 1.2 radii wide and less. Radius 4 at 1.6 is below the raster."""
    labels = split_grains(disc(40, 40, radius) | disc(40, 40 + apart * radius, radius), about(2 * radius))
    assert labels.max() == 2
    left, right = (int((labels == i).sum()) for i in (1, 2))
    assert abs(left - right) <= 0.15 * (left + right)
    # The border runs down the middle.
    assert labels[40, 40] != labels[40, round(40 + apart * radius)]


def test_two_discs_that_nearly_coincide_are_one() -> None:
    # By hand: centres one radius apart leave a saddle of sqrt(1 - 0.25) = 0.87 of the radius, above SADDLE.
    assert SADDLE < 0.86
    assert count(disc(40, 40, 10) | disc(40, 50, 10), 20) == 1


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 63, 90])
@pytest.mark.parametrize(("long", "short"), [(18, 6), (28, 5), (12, 4)])
def test_a_long_grain_is_one(long: float, short: float, turn_deg: float) -> None:
    assert count(ellipse(40, 60, long, short, turn_deg), 2 * np.sqrt(long * short)) == 1


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 63, 90])
def test_a_rod_with_parallel_sides_is_one(turn_deg: float) -> None:
    """Its ridge is level, and rounding to pixels makes many humps of it."""
    y, x = np.mgrid[0:80, 0:120]
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    u, v = c * (x - 60) + s * (y - 40), c * (y - 40) - s * (x - 60)
    assert count((np.abs(u) < 25) & (np.abs(v) < 4), 2 * np.sqrt(50 * 8 / np.pi)) == 1


def test_two_rods_that_cross_at_their_ends_are_two() -> None:
    """An L of two grains of rice that touch end to end."""
    assert count(ellipse(40, 40, 18, 5, 0) | ellipse(25, 59, 18, 5, 80), 2 * np.sqrt(18 * 5)) == 2


def test_a_ring_of_seven_touching_discs_is_seven() -> None:
    mask = disc(40, 60, 8)
    for k in range(6):
        mask |= disc(40 + 15 * np.sin(k * np.pi / 3), 60 + 15 * np.cos(k * np.pi / 3), 8)
    assert count(mask, 16) == 7


def test_a_small_grain_beside_a_large_one_keeps_its_own_label() -> None:
    labels = split_grains(disc(40, 40, 14) | disc(40, 59, 5.5), (11.0, 28.0))
    assert labels.max() == 2
    assert int((labels == labels[40, 60]).sum()) == pytest.approx(np.pi * 5.5**2, rel=0.2)


def test_turning_the_picture_keeps_the_count() -> None:
    rng = np.random.default_rng(3)
    mask = np.zeros((80, 120), bool)
    for row, column in rng.uniform((8, 8), (72, 112), (25, 2)):
        mask |= disc(row, column, 6)
    counts = {count(np.ascontiguousarray(turned), 12) for turned in (mask, mask[::-1], mask[:, ::-1], mask.T)}
    assert max(counts) - min(counts) <= 1


def test_a_small_piece_on_a_thin_neck_is_no_part_of_the_grain_beside_it() -> None:
    """Drawn tightly the two are apart; what joins them in the wider mask is three pixels thick."""
    parted = disc(30, 25, 10) | disc(30, 43, 4)
    mask = parted.copy()
    mask[29:32, 25:43] = True
    assert split_grains(mask, about(20), parted).max() == 2


def test_a_small_piece_that_shading_broke_off_is_part_of_its_grain() -> None:
    mask = disc(30, 40, 12)
    parted = mask.copy()
    parted[:, 47:49] = False  # a dark line near the rim
    assert split_grains(mask, about(24), parted).max() == 1
