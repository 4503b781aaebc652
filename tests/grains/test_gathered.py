from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.grains.gathered import gathered_grains, least_area_px
from debriscount.grains.labelled import Labelled

if TYPE_CHECKING:
    from tests.grains.conftest import Painter

KIND = KindHint(np.full(3, 0.5), (2.4, 3.6))
RADIUS_PX = 1.5
DISC_PX = np.pi * RADIUS_PX**2
SHAPE = (60, 80)


def gathered(shot: ShotCover, full: float = 1.0) -> Labelled:
    return gathered_grains(shot.cover, shot, KIND, full)


def areas(found: Labelled) -> list[float]:
    """Weight of every label that carries any, smallest first."""
    return sorted(np.bincount(found.labels.ravel(), found.weight.ravel())[np.unique(found.labels[found.labels > 0])])


def test_a_speck_is_gathered_beyond_what_is_drawn(painter: "Painter") -> None:
    """The blur carries a part of it outside the mask."""
    shot = painter.shot_of(painter.discs(np.array([[30.2, 30.4]]), RADIUS_PX, SHAPE), noise=0.001)
    found = gathered(shot)
    assert found.mask[30, 30]
    assert shot.cover[found.mask].sum() < 0.95 * DISC_PX
    assert areas(found) == pytest.approx([DISC_PX], rel=0.03)
    assert found.weight[found.labels == 0].sum() == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize("apart_px", [4.0, 5.0, 6.0])
def test_two_specks_whose_blur_runs_together_share_it(painter: "Painter", apart_px: float) -> None:
    places = np.array([[30.0, 30.0], [30.0 + apart_px, 30.0]])
    found = gathered(painter.shot_of(painter.discs(places, RADIUS_PX, SHAPE), noise=0.001))
    assert areas(found) == pytest.approx([DISC_PX, DISC_PX], rel=0.1)


def test_full_cover_is_what_a_pixel_counts(painter: "Painter") -> None:
    shot = painter.shot_of(painter.discs(np.array([[30.0, 30.0]]), RADIUS_PX, SHAPE), noise=0.001)
    assert areas(gathered(shot, 1.25)) == pytest.approx([area / 1.25 for area in areas(gathered(shot))])


@pytest.mark.parametrize(("strength", "seen"), [(0.35, False), (0.75, True)])
def test_a_speck_must_reach_half_of_what_a_small_grain_would(painter: "Painter", strength: float, seen: bool) -> None:
    place = np.array([[30.0, 30.0]])
    assert gathered(painter.shot_of(strength * painter.discs(place, 1.2, SHAPE), noise=0.001)).mask.any() == seen


def test_where_the_photo_is_noisy_more_is_asked(painter: "Painter") -> None:
    """The same two specks; at one of them the standard deviation is such that four of them pass its peak."""
    shot = painter.shot_of(painter.discs(np.array([[20.0, 30.0], [60.0, 30.0]]), RADIUS_PX, SHAPE), noise=0.001)
    sigma = shot.sigma.copy()
    sigma[:, 40:] = 0.4
    found = gathered(replace(shot, sigma=sigma))
    assert found.mask[30, 20]
    assert not found.mask[:, 40:].any()


def test_only_faint_grains_are_lost_at_the_tighter_limit(painter: "Painter") -> None:
    strong, faint = (painter.discs(np.array([[x, 30.0]]), RADIUS_PX, SHAPE) for x in (20.0, 60.0))
    found = gathered(painter.shot_of(strong + 0.5 * faint, noise=0.001))
    left, right = found.labels[30, 20], found.labels[30, 60]
    assert left > 0
    assert right > 0
    np.testing.assert_array_equal(found.tight[found.labels == left], found.weight[found.labels == left])
    assert not found.tight[found.labels == right].any()


def test_a_bright_speck_counts_no_pixel_more_than_one_and_a_half(painter: "Painter") -> None:
    found = gathered(painter.shot_of(4 * painter.discs(np.array([[30.0, 30.0]]), RADIUS_PX, SHAPE), noise=0.001))
    assert found.weight.max() == 1.5


def test_bare_floor_is_empty(painter: "Painter") -> None:
    found = gathered(painter.shot_of(np.zeros(SHAPE, np.float32)))
    assert not found.mask.any()
    assert not found.labels.any()


def test_the_least_area_is_half_a_small_grains() -> None:
    assert least_area_px(KIND) == pytest.approx(np.pi * 1.2**2 / 2)
