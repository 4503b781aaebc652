import numpy as np
import pytest

from debriscount.simulate.stamp import Outlines, stamps, unit_maps

IDENTITY = np.eye(2)[None]


def drawn(outlines: Outlines, shape: tuple[int, int] = (60, 60)) -> np.ndarray:
    picture = np.zeros(shape)
    for stamp in stamps(shape, outlines):
        picture[stamp.rows, stamp.columns] += stamp.share
    return picture


def disc(center: tuple[float, float], radius: float, waves: np.ndarray | None = None) -> Outlines:
    waves = np.zeros((1, 4), complex) if waves is None else waves
    size = np.array([radius])
    area = np.pi * size**2 * (1 + (np.abs(waves) ** 2).sum(axis=1) / 2)
    return Outlines(np.array([center]), unit_maps(size, size, np.zeros(1), IDENTITY), waves, area)


def by_brute_force(inside, shape: tuple[int, int] = (60, 60), fine: int = 40) -> np.ndarray:  # type: ignore[no-untyped-def]
    y, x = ((np.arange(n * fine) + 0.5) / fine - 0.5 for n in shape)
    return np.asarray(inside(x[None, :], y[:, None]).reshape(shape[0], fine, shape[1], fine).mean(axis=(1, 3)))


def test_a_disc_of_half_a_pixel_lies_in_one_pixel() -> None:
    picture = drawn(disc((30, 20), 0.5))
    assert picture[20, 30] == pytest.approx(np.pi / 4, abs=0.005)  # worked out by hand
    assert picture.sum() == pytest.approx(np.pi / 4, rel=1e-4)


@pytest.mark.parametrize("radius", [0.3, 0.5, 1.0, 2.5, 10.0, 17.0])
@pytest.mark.parametrize("center", [(30.0, 30.0), (29.63, 31.21), (30.5, 30.5)])
def test_shares_agree_with_brute_force(radius: float, center: tuple[float, float]) -> None:
    expected = by_brute_force(lambda x, y: (x - center[0]) ** 2 + (y - center[1]) ** 2 < radius**2)
    picture = drawn(disc(center, radius))
    assert np.abs(picture - expected).max() < 0.06  # independent: 40 × 40 samples a pixel
    assert picture.sum() == pytest.approx(np.pi * radius**2, rel=1e-3)


def test_an_irregular_outline_has_its_area_and_shape() -> None:
    waves = np.array([[0.08 + 0.02j, -0.05j, 0.03, 0.02 - 0.02j]])
    outlines = disc((30.2, 29.7), 9.0, waves)

    def inside(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        z = ((x - 30.2) + 1j * (y - 29.7)) / 9
        rho = 1 + sum((waves[0, i] * (z / np.abs(z)) ** k).real for i, k in enumerate((2, 3, 4, 5)))
        return np.asarray(np.abs(z) < rho)

    expected = by_brute_force(inside)
    picture = drawn(outlines)
    assert expected.sum() == pytest.approx(outlines.area_px[0], rel=1e-3)
    assert np.abs(picture - expected).max() < 0.06


def test_a_long_grain_points_along_its_angle() -> None:
    maps = unit_maps(np.array([8.0]), np.array([2.0]), np.array([np.pi / 6]), IDENTITY)
    picture = drawn(Outlines(np.array([[30.0, 30.0]]), maps, np.zeros((1, 4), complex), np.array([16 * np.pi])))
    y, x = np.mgrid[:60, :60] - 30
    assert 0.5 * np.arctan2(2 * (picture * x * y).sum(), (picture * (x**2 - y**2)).sum()) == pytest.approx(
        np.pi / 6, abs=0.01
    )


def test_what_reaches_beyond_the_raster_is_cut_off() -> None:
    whole, cut = disc((0.0, 30.0), 6.0), disc((-200.0, 30.0), 6.0)
    assert drawn(whole).sum() == pytest.approx(np.pi * 18 + 6, rel=0.01)  # half, and half of column 0
    assert drawn(cut).sum() == 0


def test_a_grain_larger_than_any_box_is_refused() -> None:
    with pytest.raises(ValueError, match=r"a grain reaches \d+ px; 640 are the most"):
        list(stamps((10, 10), disc((0.0, 0.0), 900.0)))
