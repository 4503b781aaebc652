"""Floor and noise of a photo that stands alone: painted scenes from open to crowded."""

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.alone import floor_around, likely_floor, pattern_around
from debriscount.cover.kinds import KindHint

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

RADIUS_PX = 9.0
SIZE_PX = (17.0, 19.0)


def hint(colour: NDArray[np.float32]) -> list[KindHint]:
    return [KindHint(colour.astype(float), SIZE_PX)]


def heap(painter: "Painter", pitch_px: float) -> NDArray[np.float32]:
    """Cover of discs in rows like the cells of a honeycomb, all over the view."""
    y, x = np.mgrid[0 : painter.shape[0], 0 : painter.shape[1]].astype(float)
    down = pitch_px * np.sqrt(3)
    nearest = np.full(painter.shape, np.inf)
    for shift in (0.0, 0.5):
        off_x = (x / pitch_px - shift + 0.5) % 1 - 0.5
        off_y = (y / down - shift + 0.5) % 1 - 0.5
        nearest = np.minimum(nearest, np.hypot(pitch_px * off_x, down * off_y))
    return np.asarray(np.clip(RADIUS_PX + 0.5 - nearest, 0, 1), np.float32)


def everywhere(painter: "Painter") -> NDArray[np.bool_]:
    return np.ones(painter.shape, bool)


def off(floor: NDArray[np.float32], truth: NDArray[np.float32]) -> NDArray[np.float32]:
    """Error of the floor, as a share of its brightest channel."""
    return np.asarray(np.abs(floor - truth).max(axis=-1) / truth.max(axis=-1), np.float32)


@pytest.mark.parametrize("count", [0, 20, 100])
def test_open_floor_is_its_own_median(painter: "Painter", count: int) -> None:
    strewn = painter.scatter(2, count, RADIUS_PX)
    truth = painter.grained(1, contrast=0.01)
    floor, bare = likely_floor(
        painter.photographed(truth, strewn.cover, seed=3), everywhere(painter), hint(painter.lentil)
    )
    assert floor.shape == (*painter.shape, 3)
    assert np.median(off(floor, truth)) < 0.03
    # Where most of a window is floor, all of it may be bare: what stands out is told from it later.
    assert bare[strewn.cover == 0].mean() > 0.9


@pytest.mark.parametrize(
    ("pitch_px", "covered", "good_to"), [(25.0, 0.47, 0.08), (22.0, 0.61, 0.12), (20.0, 0.73, 0.22)]
)
def test_crowded_floor_is_what_is_unlike_the_debris(
    painter: "Painter", pitch_px: float, covered: float, good_to: float
) -> None:
    """By hand: discs of radius r in a honeycomb of pitch p cover 2 pi / sqrt(3) (r / p)². Blur tints narrow gaps."""
    cover = heap(painter, pitch_px)
    assert cover.mean() == pytest.approx(covered, abs=0.01)
    truth = painter.grained(1, contrast=0.01)
    view = painter.photographed(truth, cover, seed=3)
    floor, bare = likely_floor(view, everywhere(painter), hint(painter.lentil))
    assert np.quantile(off(floor, truth), 0.95) < good_to
    assert cover[bare].mean() < 0.02
    # A median alone would take the debris for the floor where that covers more than half.
    if covered > 0.5:
        median = np.broadcast_to(np.median(view, axis=(0, 1)), view.shape).astype(np.float32)
        assert np.median(off(median, truth)) > 2 * good_to


def test_a_heap_on_open_floor_is_seen_as_one(painter: "Painter") -> None:
    """Half of the view crowded, half of it bare, and light that falls by a third across it."""
    cover = heap(painter, 21.0)
    cover[:, 240:] = 0
    truth = painter.grained(1, contrast=0.01) * np.linspace(1.1, 0.75, painter.shape[1])[None, :, None]
    view = painter.photographed(truth.astype(np.float32), cover, seed=3)
    floor, bare = likely_floor(view, everywhere(painter), hint(painter.lentil))
    assert np.quantile(off(floor, truth.astype(np.float32)), 0.95) < 0.15
    assert bare[:, 260:].mean() > 0.9
    assert cover[bare].mean() < 0.02


def test_a_hint_that_is_a_little_off_will_do_and_one_far_off_does_not_decide(painter: "Painter") -> None:
    """Crowded by debris that no kind explains, the median stands: nothing else tells what is floor."""
    cover = heap(painter, 22.0)
    truth = painter.grained(1, contrast=0.01)
    view = painter.photographed(truth, cover, seed=3)
    near, far = painter.lentil * np.float32(0.7), np.array([0.05, 0.1, 0.8], np.float32)
    close, _ = likely_floor(view, everywhere(painter), hint(near))
    assert np.quantile(off(close, truth), 0.95) < 0.15
    wrong, bare = likely_floor(view, everywhere(painter), hint(far))
    assert np.median(np.abs(wrong - painter.lentil)) < 0.05
    assert bare.all()


def test_the_nearest_of_several_kinds_counts(painter: "Painter") -> None:
    """A heap of two kinds on oak, either of which alone leaves the other for the floor."""
    rice = np.array([0.65, 0.58, 0.45], np.float32)
    cover = heap(painter, 22.0)
    colour = np.broadcast_to(painter.lentil, (*painter.shape, 3)).copy()
    colour[(np.arange(painter.shape[0]) // 10) % 2 == 0] = rice
    truth = painter.grained(1, contrast=0.01)
    view = painter.photographed(truth, cover, seed=3, debris=colour)
    both, _ = likely_floor(view, everywhere(painter), hint(painter.lentil) + hint(rice))
    assert np.quantile(off(both, truth), 0.9) < 0.15


def test_a_view_of_one_colour_is_all_floor(painter: "Painter") -> None:
    plain = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    floor, bare = likely_floor(plain, everywhere(painter), hint(painter.lentil))
    np.testing.assert_allclose(floor, plain, rtol=1e-5)
    assert bare.all()


def test_what_is_not_usable_does_not_count_and_is_filled_from_around(painter: "Painter") -> None:
    truth = painter.grained(1, contrast=0.01)
    view = painter.photographed(truth, np.zeros(painter.shape, np.float32), seed=3)
    usable = everywhere(painter)
    usable[:, 240:] = False
    view[:, 240:] = 0.9
    floor, bare = likely_floor(view, usable, hint(painter.lentil))
    assert off(floor, truth).max() < 0.15
    assert not bare[:, 240:].any()


def test_a_photo_smaller_than_a_few_grains_has_one_floor(painter: "Painter") -> None:
    small = np.ascontiguousarray(painter.grained(1, contrast=0.01)[:40, :50])
    floor, _ = likely_floor(small, np.ones((40, 50), bool), hint(painter.lentil))
    assert np.ptp(floor, axis=(0, 1)).max() == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("count", [20, 100])
def test_floor_under_debris_is_that_around_it(painter: "Painter", count: int) -> None:
    """A lamp further off: light falls by a third across the view."""
    strewn = painter.scatter(2, count, RADIUS_PX)
    ramp = np.linspace(1.1, 0.75, painter.shape[1], dtype=np.float32)[None, :, None]
    truth = np.broadcast_to(painter.oak * ramp, (*painter.shape, 3)).astype(np.float32)
    view = painter.photographed(truth, strewn.cover, seed=3)
    floor = floor_around(view, strewn.cover == 0, SIZE_PX[1])
    assert off(floor, truth).max() < 0.06


def test_shade_beside_debris_is_kept_out_of_the_floor(painter: "Painter") -> None:
    """A ring of 4 px around every grain has half of the light."""
    strewn = painter.scatter(2, 60, RADIUS_PX)
    truth = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    y, x = np.mgrid[0 : painter.shape[0], 0 : painter.shape[1]]
    view = truth.copy()
    for column, row in strewn.places:
        view[np.hypot(x - column, y - row) < RADIUS_PX + 4] *= np.float32(0.5)
    floor = floor_around(view, strewn.cover == 0, SIZE_PX[1])
    assert off(floor, truth).max() < 0.1


def test_where_nothing_is_left_beside_the_shade_the_narrow_gaps_serve(painter: "Painter") -> None:
    cover = heap(painter, 20.0)
    truth = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    floor = floor_around(painter.photographed(truth, cover, seed=3), cover == 0, SIZE_PX[1])
    assert np.isfinite(floor).all()
    assert np.quantile(off(floor, truth), 0.9) < 0.25


def test_the_pattern_is_a_share_of_the_floors_brightness(painter: "Painter") -> None:
    """A floor of 5 % contrast that is half as bright on the right: half the standard deviation there."""
    floor = np.broadcast_to(painter.oak, (*painter.shape, 3)).copy()
    floor[:, 240:] *= np.float32(0.5)
    stray = np.random.default_rng(1).standard_normal(painter.shape).astype(np.float32)
    noise = pattern_around(floor * (1 + np.float32(0.05) * stray[..., None]), floor, everywhere(painter), None)
    np.testing.assert_allclose(noise.sigma, 0.05 * floor, rtol=0.02)
    np.testing.assert_array_equal(noise.mix, np.eye(3))


def test_debris_that_is_not_bare_is_no_pattern(painter: "Painter") -> None:
    strewn = painter.scatter(2, 100, RADIUS_PX)
    floor = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    view = painter.photographed(floor, strewn.cover, seed=3, noise=0.006)
    bare = strewn.cover == 0
    with_debris = pattern_around(view, floor, everywhere(painter), None).sigma[0, 0]
    without = pattern_around(view, floor, bare, None).sigma[0, 0]
    np.testing.assert_allclose(without, 0.006, rtol=0.15)
    assert (without < with_debris).all()


def test_channels_that_stray_together_are_mixed_at_the_scale_of_a_grain(painter: "Painter") -> None:
    floor = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    grain = painter.grained(1, contrast=0.05)
    noise = pattern_around(grain, floor, everywhere(painter), SIZE_PX[0])
    assert noise.mix.trace() == pytest.approx(3)
    assert noise.mix[0, 1] / noise.mix[0, 0] == pytest.approx(1, abs=0.05)


def test_noise_is_never_nothing(painter: "Painter") -> None:
    """No photo of 8 bits is better than half a step of its darkest levels."""
    floor = np.broadcast_to(painter.oak, (*painter.shape, 3)).astype(np.float32)
    assert (pattern_around(floor, floor, everywhere(painter), None).sigma > 0).all()


@pytest.mark.parametrize("steps", [1, 2, 50])
def test_a_part_that_is_flat_but_for_rounding_has_no_debris(steps: int) -> None:
    """So near one another, no histogram can sort the values: scikit-image raises for them."""
    from debriscount.cover.alone import _limit

    near = np.float32(0.3)
    values = near + np.arange(4000, dtype=np.float32) % (steps + 1) * np.spacing(near)
    assert len(np.unique(values)) == steps + 1
    assert _limit(values) == -np.inf
