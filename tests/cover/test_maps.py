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


def test_views_that_are_spent_give_the_same_maps_and_are_gone(painter: "Painter") -> None:
    floor, before = painter.grained(1), painter.scatter(2, 150, RADIUS_PX)
    views = {
        "blank": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=10),
        "before": painter.photographed(floor, before.cover, gradient(painter.shape), seed=11),
    }
    kept = {name: view.copy() for name, view in views.items()}
    everywhere, kinds = np.ones(painter.shape, bool), [KindHint(painter.lentil.astype(float), SIZES[0])]
    expected = cover_maps(views, everywhere, everywhere, kinds)
    for name, view in kept.items():
        np.testing.assert_array_equal(views[name], view)
    spent = cover_maps(views, everywhere, everywhere, kinds, spend=True)
    assert views == {}
    for name in kept:
        np.testing.assert_array_equal(spent.shots[name].cover, expected.shots[name].cover)


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
        assert maps.shots[name].cover.sum() == pytest.approx(truth.cover.sum(), rel=0.045)


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


def test_a_kind_that_is_not_there_is_not_learned_from_shade(painter: "Painter") -> None:
    """Spots of less light, and a file for debris of the floor's hue that is darker: no such debris was strewn."""
    floor, strewn = painter.grained(1), painter.scatter(2, 120, RADIUS_PX)
    shade = 1 - 0.2 * painter.scatter(7, 120, 1.5 * RADIUS_PX).cover
    maps = maps_of(
        {
            "before": painter.photographed(floor * shade[..., None], strewn.cover, 0.9, seed=11),
            "after": painter.photographed(floor, np.zeros(painter.shape, np.float32), seed=12),
        },
        [painter.lentil, np.array([0.15, 0.10, 0.06], np.float32)],
        SIZES * 2,
    )
    assert maps.colours[0].samples > 1000
    assert maps.colours[1].samples == 0
    assert maps.shots["before"].cover.sum() == pytest.approx(strewn.cover.sum(), rel=0.02)


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


def test_debris_stands_out_by_the_noise_there_is(painter: "Painter") -> None:
    """Noise that all channels share hides no hue: of two shots without a blank it leaves no debris in the floor."""
    rng = np.random.default_rng(5)
    floor = painter.grained(1)
    before, after = (painter.scatter(seed, 60, RADIUS_PX) for seed in (2, 2))
    views: dict[str, NDArray[np.float32]] = {}
    for name, cover in (("before", before.cover), ("after", np.where(np.arange(480) < 240, after.cover, 0))):
        view = painter.photographed(floor, np.asarray(cover, np.float32), seed=len(views), noise=0.002)
        views[name] = view * np.asarray(np.exp(0.3 * rng.standard_normal(view.shape[:2])), np.float32)[..., None]
    maps = maps_of(views, [painter.lentil])
    inside = before.cover == 1
    assert np.mean(maps.shots["before"].cover[inside] > 0.5) > 0.95
    kept = inside & (np.arange(480) < 240)
    assert np.mean(maps.shots["after"].cover[kept] > 0.5) > 0.95


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


def honeycomb(shape: tuple[int, int], pitch_px: float) -> NDArray[np.float32]:
    """Cover of discs of RADIUS_PX in rows like the cells of a honeycomb."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    nearest = np.full(shape, np.inf)
    for shift in (0.0, 0.5):
        off_x = (x / pitch_px - shift + 0.5) % 1 - 0.5
        off_y = (y / (pitch_px * np.sqrt(3)) - shift + 0.5) % 1 - 0.5
        nearest = np.minimum(nearest, np.hypot(pitch_px * off_x, pitch_px * np.sqrt(3) * off_y))
    return np.asarray(np.clip(RADIUS_PX + 0.5 - nearest, 0, 1), np.float32)


@pytest.mark.parametrize("count", [10, 150])
def test_a_shot_that_stands_alone_has_its_true_cover(painter: "Painter", count: int) -> None:
    floor, strewn = painter.grained(1, contrast=0.02), painter.scatter(2, count, RADIUS_PX)
    view = painter.photographed(floor, strewn.cover, gradient(painter.shape), seed=11)
    maps = maps_of({"photo": view}, [painter.lentil])
    cover = maps.shots["photo"].cover
    assert np.median(cover[strewn.cover == 1]) == pytest.approx(1, abs=0.05)
    assert np.median(cover[strewn.cover == 0]) == pytest.approx(0, abs=0.03)
    assert cover[strewn.cover > 0].sum() == pytest.approx(strewn.cover.sum(), rel=0.06)
    np.testing.assert_array_equal(maps.matched["photo"], view)


@pytest.mark.parametrize(
    ("pitch_px", "covered"),
    [(20.0, 0.33), (16.0, 0.51), (15.0, 0.58)],
)
def test_a_crowded_shot_that_stands_alone_too(painter: "Painter", pitch_px: float, covered: float) -> None:
    """Next to no floor is a grain's shade away from debris, and none of it more than a few pixels wide."""
    truth = honeycomb(painter.shape, pitch_px)
    assert truth.mean() == pytest.approx(covered, abs=0.01)
    view = painter.photographed(painter.grained(1, contrast=0.02), truth, seed=11)
    cover = maps_of({"photo": view}, [painter.lentil]).shots["photo"].cover
    assert np.median(cover[truth == 1]) == pytest.approx(1, abs=0.05)
    assert (cover[truth == 0] < 0.5).mean() > 0.9
    assert float(np.clip(cover, 0, 1).mean()) == pytest.approx(truth.mean(), rel=0.15)


def test_joints_are_no_debris_in_a_shot_that_stands_alone(painter: "Painter") -> None:
    """Dark lines 4 px wide across the whole view, which no other shot shows to be the floor's."""
    floor, strewn = painter.grained(1, contrast=0.02), painter.scatter(2, 40, RADIUS_PX)
    floor[100:104] *= np.float32(0.2)
    floor[:, 300:304] *= np.float32(0.2)
    away = np.ones(painter.shape, bool)
    away[80:124] = away[:, 280:324] = False
    dark = np.array([0.02, 0.015, 0.01], np.float32)
    view = painter.photographed(floor, strewn.cover * away, seed=11, debris=dark)
    cover = maps_of({"photo": view}, [dark]).shots["photo"].cover
    assert (cover[~away] > 0.5).mean() < 0.01
    assert cover[away].sum() == pytest.approx((strewn.cover * away).sum(), rel=0.1)


def shaded_run(painter: "Painter") -> CoverMaps:
    """A blank and a shot in which everything right of a line is in half the light, and debris is brighter."""
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    strewn = painter.scatter(2, 80, RADIUS_PX)
    light = np.ones((*painter.shape, 1), np.float32)
    light[200:220, 200:220] = 0.5
    return maps_of(
        {
            "blank": painter.photographed(floor, nothing, seed=10),
            "before": painter.photographed(floor * light, strewn.cover, seed=11),
            "after": painter.photographed(floor, nothing, seed=12),
        },
        [painter.lentil],
    )


def test_light_is_how_much_brighter_than_the_floor_a_pixel_is(painter: "Painter") -> None:
    maps = shaded_run(painter)
    strewn = painter.scatter(2, 80, RADIUS_PX)
    bare = strewn.cover[202:218, 202:218] == 0
    assert np.median(maps.shots["before"].light[202:218, 202:218][bare]) == pytest.approx(-0.5, abs=0.05)
    # Of the floor's brightest neighbours the darkest is taken, so that bare floor is a little above.
    assert np.median(maps.shots["after"].light) == pytest.approx(0, abs=0.05)


def test_light_is_unknown_where_the_floor_is_not_usable(painter: "Painter") -> None:
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    usable = np.ones(painter.shape, bool)
    usable[:80] = False
    views = {
        "blank": painter.photographed(floor, nothing, seed=10),
        "before": painter.photographed(floor, painter.scatter(2, 80, RADIUS_PX).cover, seed=11),
        "after": painter.photographed(floor, nothing, seed=12),
    }
    shot = maps_of(views, [painter.lentil], usable=usable).shots["before"]
    assert not shot.light[:80].any()
    assert shot.light[80:].any()


def test_spread_is_that_of_cover_within_grains(painter: "Painter") -> None:
    """Grains whose light varies by a fifth within them, beside even ones."""
    floor, nothing = painter.grained(1), np.zeros(painter.shape, np.float32)
    strewn = painter.scatter(2, 120, RADIUS_PX)
    uneven = np.exp(0.2 * np.random.default_rng(5).standard_normal((*painter.shape, 1))).astype(np.float32)
    spreads = []
    for debris in (painter.lentil * np.ones_like(uneven), painter.lentil * uneven):
        maps = maps_of(
            {
                "blank": painter.photographed(floor, nothing, seed=10),
                "before": painter.photographed(floor, strewn.cover, seed=11, debris=debris),
                "after": painter.photographed(floor, nothing, seed=12),
            },
            [painter.lentil],
        )
        shot = maps.shots["before"]
        (spread,) = shot.spread
        spreads.append(spread)
        inside = strewn.cover[3:-3, 3:-3] == 1
        seen = shot.cover[3:-3, 3:-3][inside]
        assert spread == pytest.approx(1.4826 * np.median(np.abs(seen - np.median(seen))), rel=0.5)
    assert spreads[1] > 1.5 * spreads[0]


def test_the_mirror_of_a_shot_is_turned_round_and_nothing_else(painter: "Painter") -> None:
    shot = shaded_run(painter).shots["before"]
    mirror = shot.mirrored()
    np.testing.assert_array_equal(mirror.cover, -shot.cover)
    np.testing.assert_array_equal(mirror.light, -shot.light)
    assert mirror.sigma is shot.sigma
    assert mirror.kind is shot.kind
    assert mirror.apart is shot.apart
    assert mirror.spread == shot.spread
    np.testing.assert_array_equal(mirror.mirrored().cover, shot.cover)
