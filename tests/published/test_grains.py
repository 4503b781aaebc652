"""Counted area against stochastic geometry, and grains of a real photograph against a count by eye."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage
from skimage.data import coins
from skimage.filters import threshold_otsu

from debriscount.cover.discriminant import SHADE, cover_of, departure, fisher_discriminant
from debriscount.cover.kinds import KindHint
from debriscount.cover.maps import ShotCover
from debriscount.cover.noise import FloorNoise
from debriscount.grains.find import FoundGrains, find_grains
from debriscount.photo.colour import linear_pixels
from debriscount.pickup.masses import true_cover

GREY = np.array([0.5, 0.5, 0.5])


def handed_over(cover: NDArray[np.float32], sigma: float) -> ShotCover:
    return ShotCover(
        cover.astype(np.float32),
        np.full(cover.shape, sigma, np.float32),
        np.zeros(cover.shape, np.uint8),
        np.abs(cover / sigma).astype(np.float32),
        np.zeros(cover.shape, np.float32),
        (0.0,),
    )


@pytest.mark.parametrize("radius_px", [5, 10, 20])
def test_digitised_discs_are_counted_without_bias_and_scatter_as_theory_says(radius_px: int) -> None:
    """A disc with a random centre holds pi r² pixel centres on average, with sd 0.676497 sqrt(r).

    *Published*: D. G. Kendall, Quart. J. Math. 19 (1948) 1; the constant is sqrt(2 zeta(3/2) beta(3/2)) / pi.
    """
    rng = np.random.default_rng(radius_px)
    cell, rows, columns = 3 * radius_px + 6, 16, 25
    shifts = rng.uniform(-0.5, 0.5, (rows, columns, 2))
    y, x = np.mgrid[0:cell, 0:cell] - cell // 2
    cover = np.block(
        [
            [
                (np.hypot(x - shifts[r, c, 0], y - shifts[r, c, 1]) < radius_px).astype(np.float32)
                for c in range(columns)
            ]
            for r in range(rows)
        ]
    )
    found = find_grains(handed_over(cover, 0.01), [KindHint(GREY, (1.9 * radius_px, 2.1 * radius_px))])
    count = rows * columns
    assert len(found.area_px) == count
    kendall = 0.676497 * np.sqrt(radius_px)
    # Four standard errors of the mean, and of the standard deviation of 400 readings.
    assert found.area_px.mean() == pytest.approx(np.pi * radius_px**2, abs=4 * kendall / np.sqrt(count))
    assert found.area_px.std() == pytest.approx(kendall, rel=4 / np.sqrt(2 * count))


@pytest.mark.parametrize(("phi", "covered"), [(0.05, 0.04877), (0.1, 0.09516), (0.2, 0.18127), (0.3, 0.25918)])
def test_crowding_of_one_undoes_the_boolean_model(phi: float, covered: float) -> None:
    """*Published*: area fraction 1 - exp(-phi), S. N. Chiu et al., Stochastic Geometry, 3rd ed. 2013, section 3.1."""
    # The printed digits' half unit, taken through the inverse's slope exp(phi).
    assert true_cover(np.array([covered]), 1.0)[0] == pytest.approx(phi, abs=5e-6 * np.exp(phi))


def test_half_cover_of_the_boolean_model() -> None:
    """*Published*: discs of radius 10 at an intensity of 2.2064e-3 cover half (lacunaritycovariance, CRAN)."""
    phi = 2.2064e-3 * np.pi * 100
    assert true_cover(np.array([0.5]), 1.0)[0] == pytest.approx(phi, rel=1e-4)


def test_scattered_discs_have_the_true_cover_that_was_laid() -> None:
    """Discs thrown at random on a torus; what they hide of one another is added again."""
    rng = np.random.default_rng(4)
    side, radius, count = 1000, 8, 1500
    seen = np.zeros((side, side), bool)
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    for row, column in rng.uniform(0, side, (count, 2)):
        top, left = round(row), round(column)
        inside = np.hypot(x + left - column, y + top - row) < radius
        seen[(y[inside] + top) % side, (x[inside] + left) % side] = True
    laid = count * np.pi * radius**2 / side**2
    assert seen.mean() < 0.9 * laid
    # The seen cover of 1500 discs scatters by half a per cent or so.
    assert true_cover(np.array([seen.mean()]), 1.0)[0] == pytest.approx(laid, rel=0.03)


#: Centres (x, y) in px of the 24 coins of skimage.data.coins() (Brooklyn Museum Collection, no known copyright
#: restrictions, in the scikit-image wheel), counted by eye on a numbered overlay, good to 4 px.
COINS = np.array(
    [(44, 54.5), (100.5, 56), (155.5, 51), (216, 51), (276, 53), (334.5, 43.5),
     (45.5, 124.5), (103, 126), (154, 127.5), (206, 125), (271, 120), (336.5, 125),
     (44, 197.5), (102, 195.5), (154.5, 197.5), (212.5, 193.5), (273.5, 194.5), (347.5, 187),
     (46, 260.5), (114, 265.5), (172.5, 262), (244.5, 263.5), (301, 263.5), (357.5, 268)]
)  # fmt: skip
#: Rows at the top where the lamp on the table is brighter than a quadratic surface follows.
LAMP_ROWS = 25


def table_under(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Brightness of the bare table: a quadratic surface in log light through the dark fifth of squares of 24 px."""
    tile = 24
    rows, columns = light.shape[0] // tile, light.shape[1] // tile
    squares = light[: rows * tile, : columns * tile].reshape(rows, tile, columns, tile).transpose(0, 2, 1, 3)
    dark = np.log(np.percentile(squares.reshape(rows, columns, -1), 20, axis=-1))

    def basis(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        u, v = 2 * x / light.shape[1] - 1, 2 * y / light.shape[0] - 1
        return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)

    y, x = (np.mgrid[0:rows, 0:columns] + 0.5) * tile
    terms, values = basis(x.ravel(), y.ravel()), dark.ravel()
    weight = np.ones(len(values))
    surface = np.zeros(6)
    for _ in range(20):
        root = np.sqrt(weight)
        surface, *_ = np.linalg.lstsq(terms * root[:, None], values * root, rcond=None)
        # A square full of coin lies above the surface and drops out.
        off = values - terms @ surface
        weight = np.where(off > 0, np.exp(-((off / 0.15) ** 2)), 1)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]] + 0.5
    return np.exp(basis(x, y) @ surface).astype(np.float32)


@pytest.fixture(scope="module")
def coin_light() -> NDArray[np.float32]:
    photo = coins()  # type: ignore[no-untyped-call]
    return linear_pixels(np.asarray(photo, np.uint8))


def coins_from_afar(light: NDArray[np.float32], times: int) -> tuple[FoundGrains, NDArray[np.float64]]:
    """Grains of the photo as from ``times`` as far, and their places in px of the photo as it is."""
    coin = float(np.median(light[light > np.quantile(light, 0.7)]))
    size = (light.shape[1] // times, light.shape[0] // times)
    small, table = (
        np.asarray(cv2.resize(v, size, interpolation=cv2.INTER_AREA), np.float32) for v in (light, table_under(light))
    )
    sigma = 1.4826 * float(np.median(np.abs(small - table)[np.abs(small / table - 1) < 0.3]))
    view, floor = (np.repeat(v[..., None], 3, axis=2) for v in (small, table))
    noise = FloorNoise(np.full(floor.shape, sigma, np.float32), np.eye(3))
    found = fisher_discriminant(floor, np.full_like(floor, coin), noise, np.zeros((3, 3)), SHADE)
    shot = ShotCover(
        cover_of(found, view, floor),
        found.sigma,
        np.zeros(floor.shape[:2], np.uint8),
        departure(view, floor, noise, SHADE),
        small / table - 1,
        (0.0,),
    )
    grains = find_grains(shot, [KindHint(np.full(3, coin), (36 / times, 62 / times))])
    places = np.stack([grains.x_px, grains.y_px], axis=-1) * times + (times - 1) / 2
    return grains, places


@pytest.mark.parametrize("times", [2, 3, 4])
def test_twenty_four_coins_on_a_table_are_found_one_by_one(coin_light: NDArray[np.float32], times: int) -> None:
    """A real photograph under an uneven lamp, against a count by eye."""
    _, places = coins_from_afar(coin_light, times)
    below = places[places[:, 1] > LAMP_ROWS]
    distance = np.hypot(*(COINS[:, None] - below[None]).transpose(2, 0, 1))
    assert distance.min(axis=1).max() < 4
    assert len(below) == 24


def test_relief_parts_coins_seen_from_near(coin_light: NDArray[np.float32]) -> None:
    """At full size a dark relief cuts faces apart: what is asserted is that no coin is missed and few are cut."""
    grains, places = coins_from_afar(coin_light, 1)
    for x, y in COINS.astype(int):
        assert (grains.kind_map[y - 8 : y + 9, x - 8 : x + 9] > 0).mean() > 0.4
    assert 24 <= (places[:, 1] > LAMP_ROWS).sum() <= 32


@pytest.mark.parametrize("times", [1, 2, 3])
def test_the_area_of_the_coins_is_that_of_plain_segmentation(coin_light: NDArray[np.float32], times: int) -> None:
    """*Independent*: Otsu's threshold (scikit-image 0.26) on the photo with its lamp divided out, holes filled."""
    grains, _ = coins_from_afar(coin_light, times)
    flat = np.log(coin_light / table_under(coin_light) + 1e-3)[LAMP_ROWS:]
    level = threshold_otsu(flat)  # type: ignore[no-untyped-call]
    closed = ndimage.binary_closing(flat > level, iterations=2)
    plain = float(ndimage.binary_fill_holes(closed).sum())
    places_y = grains.y_px * times
    ours = float(grains.area_px[places_y > LAMP_ROWS].sum()) * times**2
    # At full size holes in dark faces stay open.
    assert ours == pytest.approx(plain, rel=0.08 if times == 1 else 0.05)
