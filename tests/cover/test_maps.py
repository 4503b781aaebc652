from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import CoverMaps, cover_maps

if TYPE_CHECKING:
    from tests.cover.conftest import Painter

RADIUS_PX = 6.0
SIZES = [(11.0, 13.0)]


def gradient(shape: tuple[int, int]) -> NDArray[np.float32]:
    """A lamp further off: light falls by a third across the view."""
    return np.broadcast_to(np.linspace(1.1, 0.75, shape[1])[None, :, None], (*shape, 3)).astype(np.float32)


def maps_of(
    views: dict[str, NDArray[np.float32]],
    hints: list[NDArray[np.float32]],
    sizes: list[tuple[float, float]] = SIZES,
    usable: NDArray[np.bool_] | None = None,
) -> CoverMaps:
    shape = next(iter(views.values())).shape[:2]
    everywhere = np.ones(shape, bool) if usable is None else usable
    kinds = [KindHint(hint.astype(float), size) for hint, size in zip(hints, sizes, strict=True)]
    return cover_maps(views, everywhere, everywhere, kinds)


def test_cover_of_a_run_with_a_blank_is_the_true_cover(painter: "Painter") -> None:
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    before, after = painter.scatter(2, 150, RADIUS_PX), painter.scatter(3, 30, RADIUS_PX)
    maps = maps_of(
        {
            "blank": painter.photographed(floor, nothing, seed=10),
            "before": painter.photographed(floor, before.cover, gradient(painter.shape), seed=11),
            "after": painter.photographed(floor, after.cover, 0.8, seed=12),
        },
        [painter.lentil],
    )
    assert list(maps.shots) == ["blank", "before", "after"]
    for name, truth in (("before", before), ("after", after)):
        cover = maps.shots[name].cover
        assert cover.sum() == pytest.approx(truth.cover.sum(), rel=0.02)
        # Blur smears the rims; well inside and well outside the cover is right pixel by pixel.
        assert np.median(cover[truth.cover == 1]) == pytest.approx(1, abs=0.02)
        assert np.median(cover[truth.cover == 0]) == pytest.approx(0, abs=0.01)
    assert abs(maps.shots["blank"].cover.mean()) < 0.002


@pytest.mark.parametrize("light", [0.7, 1.0])
def test_the_bare_floor_is_found_of_two_shots_neither_of_which_is_bare(painter: "Painter", light: float) -> None:
    floor = painter.grained(1)
    before, after = painter.scatter(2, 150, RADIUS_PX), painter.scatter(3, 60, RADIUS_PX)
    maps = maps_of(
        {
            "before": painter.photographed(floor, before.cover, light, seed=11),
            "after": painter.photographed(floor, after.cover, seed=12),
        },
        [painter.lentil],
    )
    both = (before.cover > 0) & (after.cover > 0)
    assert both.any()
    off = (maps.floor / floor - 1)[~both]
    # Red and green; blue is mostly noise on so dark a floor.
    assert np.abs(np.median(off[..., :2])) < 0.01
    assert np.quantile(np.abs(off[..., :2]), 0.95) < 0.1
    for name, truth in (("before", before), ("after", after)):
        assert maps.shots[name].cover.sum() == pytest.approx(truth.cover.sum(), rel=0.04)


def test_the_learned_colour_is_the_debris(painter: "Painter") -> None:
    floor = painter.grained(1)
    strewn = painter.scatter(2, 150, RADIUS_PX)
    hint = painter.lentil * np.float32(0.7) + np.float32(0.02)
    views = {
        "blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10),
        "before": painter.photographed(floor, strewn.cover, seed=11),
        "after": painter.photographed(floor, painter.scatter(3, 20, RADIUS_PX).cover, seed=12),
    }
    (colour,) = maps_of(views, [hint]).colours
    np.testing.assert_allclose(colour.mean, painter.lentil, atol=0.01)
    assert colour.samples > 1000


def test_shadows_beside_grains_are_floor(painter: "Painter") -> None:
    """Every grain throws a shadow as large as itself, which takes half the light."""
    floor = painter.grained(1)
    before, after = painter.scatter(2, 80, RADIUS_PX), painter.scatter(3, 20, RADIUS_PX)
    views = {"blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10)}
    for seed, (name, shot) in enumerate((("before", before), ("after", after))):
        shade = np.roll(shot.cover, (5, 9), axis=(0, 1)) * (1 - shot.cover)
        light = (1 - 0.5 * shade)[..., None]
        views[name] = painter.photographed(floor * light, shot.cover, seed=11 + seed)
    maps = maps_of(views, [painter.lentil])
    for name, truth in (("before", before), ("after", after)):
        assert maps.shots[name].cover.sum() == pytest.approx(truth.cover.sum(), rel=0.05)


def test_two_kinds_are_told_apart(painter: "Painter") -> None:
    floor = painter.grained(1)
    rice = np.array([0.65, 0.58, 0.45], np.float32)
    strewn = painter.scatter(2, 120, RADIUS_PX)
    owner = np.zeros(painter.shape, int)
    y, x = np.mgrid[0 : painter.shape[0], 0 : painter.shape[1]]
    for index, (column, row) in enumerate(strewn.places):
        owner[np.hypot(x - column, y - row) < RADIUS_PX + 1.5] = 1 + index % 2
    colour = np.where((owner == 1)[..., None], painter.lentil, rice).astype(np.float32)
    nothing = np.zeros(painter.shape, np.float32)
    maps = maps_of(
        {
            "blank": painter.photographed(floor, nothing, seed=10),
            "before": painter.photographed(floor, strewn.cover, 0.9, seed=11, debris=colour),
            "after": painter.photographed(floor, nothing, seed=12),
        },
        [painter.lentil, rice],
        SIZES * 2,
    )
    kind = maps.shots["before"].kind
    inside = strewn.cover == 1
    assert (kind[inside & (owner == 1)] == 0).mean() > 0.98
    assert (kind[inside & (owner == 2)] == 1).mean() > 0.98


def test_there_is_no_cover_where_nothing_is_shown(painter: "Painter") -> None:
    floor = painter.grained(1)
    strewn = painter.scatter(2, 150, RADIUS_PX)
    usable = np.ones(painter.shape, bool)
    usable[:80] = False
    nothing = np.zeros(painter.shape, np.float32)
    maps = maps_of(
        {
            "blank": painter.photographed(floor, nothing, seed=10),
            "before": painter.photographed(floor, strewn.cover, seed=11),
            "after": painter.photographed(floor, nothing, seed=12),
        },
        [painter.lentil],
        usable=usable,
    )
    assert not maps.shots["before"].cover[:80].any()
    assert maps.shots["before"].cover.sum() == pytest.approx(strewn.cover[80:].sum(), rel=0.03)


def test_sigma_is_the_spread_of_cover_on_bare_floor(painter: "Painter") -> None:
    floor = painter.grained(1)
    before, nothing = painter.scatter(2, 80, RADIUS_PX), np.zeros(painter.shape, np.float32)
    maps = maps_of(
        {
            "blank": painter.photographed(floor, nothing, seed=10),
            "before": painter.photographed(floor, before.cover, seed=11),
            "after": painter.photographed(floor, nothing, seed=12),
        },
        [painter.lentil],
    )
    shot = maps.shots["after"]
    spread = 1.4826 * np.median(np.abs(shot.cover - np.median(shot.cover)))
    assert np.median(shot.sigma) == pytest.approx(spread, rel=0.1)


def test_fine_debris_keeps_its_sum(painter: "Painter") -> None:
    """Specks of 2.6 px, all edge: a pixel's cover is blurred away, the sum is not."""
    floor = painter.grained(1)
    before, after = painter.scatter(2, 900, 1.3), painter.scatter(3, 150, 1.3)
    maps = maps_of(
        {
            "blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10),
            "before": painter.photographed(floor, before.cover, 0.9, seed=11),
            "after": painter.photographed(floor, after.cover, seed=12),
        },
        [painter.lentil],
        [(2.3, 2.9)],
    )
    ratio = maps.shots["after"].cover.sum() / maps.shots["before"].cover.sum()
    assert ratio == pytest.approx(after.cover.sum() / before.cover.sum(), abs=0.02)
    # Where a single colour is hardly seen pure, the areas themselves hang on the assumed blur.
    assert maps.shots["before"].cover.sum() == pytest.approx(before.cover.sum(), rel=0.15)
