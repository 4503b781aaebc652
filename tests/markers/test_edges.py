"""Edges against closed forms: a half-plane under a Gaussian blur, seen by pixels of finite size."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtr

from debriscount.markers.edges import (
    Edge,
    LightCrop,
    crossing,
    edge_spread_px,
    fit_edge,
    half_way,
    light_crop,
    robust_line,
)

INK, PAPER = 0.04, 0.80
FINER = 8
#: From 10 to 90 % of a normal distribution: 2 x 1.28155 standard deviations (*published*, tables of the normal integral).
TEN_TO_NINETY = 2.5631


def slanted(
    slant_deg: float, sigma_px: float, size: int = 96, noise: float = 0.0, seed: int = 0
) -> tuple[LightCrop, NDArray[np.float64], NDArray[np.float64]]:
    """A dark half-plane, blurred and averaged over pixels; with it two places on its edge, dark on the right hand."""
    turn = np.deg2rad(slant_deg)
    outward, along = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    on_edge = np.array([size / 2 + 0.3, size / 2 + 0.1])
    y, x = (np.mgrid[0 : size * FINER, 0 : size * FINER] + 0.5) / FINER - 0.5
    far = (x - on_edge[0]) * outward[0] + (y - on_edge[1]) * outward[1]
    light = INK + (PAPER - INK) * ndtr(far / sigma_px)
    light = light.reshape(size, FINER, size, FINER).mean(axis=(1, 3))
    light = light + noise * np.random.default_rng(seed).standard_normal(light.shape)
    return crop_of(light), on_edge - 0.35 * size * along, on_edge + 0.35 * size * along


def crop_of(light: NDArray[np.float64]) -> LightCrop:
    grey = light.astype(np.float32)
    return LightCrop(grey, np.repeat(grey[..., None], 3, axis=2), (0, 0))


def spread_of(crop: LightCrop, edge: Edge, module_px: float) -> float | None:
    spans = [(k * module_px, (k + 1) * module_px) for k in range(int(edge.length / module_px))]
    return edge_spread_px(crop, edge, spans, module_px)


@pytest.mark.parametrize("noise", [0.0, 0.01])
@pytest.mark.parametrize("sigma_px", [0.5, 0.75, 1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("slant_deg", [2.0, 11.0, 27.0, 40.0])
def test_the_width_of_a_blurred_edge_is_that_of_the_closed_form(
    slant_deg: float, sigma_px: float, noise: float
) -> None:
    """*Published*: the edge spread function of a Gaussian blur is its integral, 10 to 90 % of it 2 x 1.28155 sigma; the
    slanted edge is that of ISO 12233 (from memory). Variances add, and a pixel's own is 1/12 px² whatever the slant.
    """
    crop, start, end = slanted(slant_deg, sigma_px, noise=noise)
    edge = fit_edge(crop, start, end, 12.0)
    assert edge is not None
    width = spread_of(crop, edge, 16.0)
    assert width == pytest.approx(TEN_TO_NINETY * np.sqrt(sigma_px**2 + 1 / 12), rel=0.05)


@settings(max_examples=25)
@given(st.floats(1, 44), st.floats(0.5, 2.5), st.sampled_from([0, 90, 180, 270]))
def test_an_edge_is_found_where_it_is(slant_deg: float, sigma_px: float, quarter: int) -> None:
    crop, start, end = slanted(slant_deg + quarter, sigma_px)
    edge = fit_edge(crop, start + 1.0, end - 0.5, 10.0)
    assert edge is not None
    t = np.array([0.0, 0.5, 1.0])[:, None] * edge.length
    places = edge.start + t * edge.along + (edge.intercept + edge.slope * t) * edge.outward
    turn = np.deg2rad(slant_deg + quarter)
    off = (places - start) @ np.array([np.cos(turn), np.sin(turn)])
    assert np.abs(off).max() < 0.06
    assert edge.seen > 0.95
    assert float(np.median(edge.dark)) == pytest.approx(INK, abs=0.02)
    assert float(np.median(edge.light)) == pytest.approx(PAPER, abs=0.02)


def test_sharpening_makes_the_edge_narrower_but_does_not_break_it() -> None:
    """Overshoot on either side: levels are read beyond it, so 10 to 90 % is that of the steepened flank."""
    crop, start, end = slanted(9.0, 1.2)
    soft = cv2.GaussianBlur(crop.light, (0, 0), 1.5)
    sharpened = crop_of(np.asarray(crop.light + 0.8 * (crop.light - soft), float))
    assert sharpened.light.max() > PAPER + 0.03
    widths = []
    for one in (crop, sharpened):
        edge = fit_edge(one, start, end, 12.0)
        assert edge is not None
        widths.append(spread_of(one, edge, 16.0))
    plain, steeper = widths
    assert plain is not None
    assert steeper is not None
    assert 0.5 * plain < steeper < 0.85 * plain


def test_an_edge_wider_than_its_modules_has_no_width() -> None:
    crop, start, end = slanted(9.0, 3.0)
    edge = fit_edge(crop, start, end, 8.0)
    assert edge is not None
    assert spread_of(crop, edge, 10.0) is None


def test_without_a_stretch_of_pure_black_there_is_no_width() -> None:
    crop, start, end = slanted(9.0, 1.0)
    edge = fit_edge(crop, start, end, 8.0)
    assert edge is not None
    assert edge_spread_px(crop, edge, [], 12.0) is None


def test_no_edge_is_found_where_there_is_none() -> None:
    flat = crop_of(np.full((60, 60), 0.5) + 0.001 * np.random.default_rng(0).standard_normal((60, 60)))
    assert fit_edge(flat, np.array([30.0, 10.0]), np.array([30.0, 50.0]), 8.0) is None


def test_a_stretch_that_a_lamp_has_burnt_out_is_passed_over() -> None:
    """Where paper is clipped half its light lies elsewhere; a third of the edge is, and does not bend it."""
    crop, start, end = slanted(5.0, 1.5)
    light = crop.light.copy()
    light[:35] = np.minimum(light[:35] * 2.5, 1.0)
    edge = fit_edge(crop_of(np.asarray(light, float)), start, end, 12.0)
    assert edge is not None
    assert abs(edge.intercept + edge.slope * edge.length) < 0.05
    assert abs(edge.intercept) < 0.05
    assert edge.seen < 0.85


def test_an_edge_seen_at_one_end_only_is_known_badly_at_the_other() -> None:
    crop, start, end = slanted(7.0, 1.2, noise=0.01)
    light = crop.light.copy()
    light[40:] = PAPER
    whole, part = (fit_edge(one, start, end, 12.0) for one in (crop, crop_of(np.asarray(light, float))))
    assert whole is not None
    assert part is not None
    assert part.sigma_px > 2.5 * whole.sigma_px


def test_half_way_between_black_and_paper_is_where_profiles_cross() -> None:
    offsets = np.arange(-6, 6.5, 0.5)
    # By hand: a ramp from 0.1 at -1 to 0.7 at 2 passes 0.4 at 0.5; the second has no contrast, the third two edges.
    ramp = np.interp(offsets, [-1, 2], [0.1, 0.7])
    flat = np.full_like(ramp, 0.3)
    twice = np.where((offsets > 0) & (offsets < 2) | (offsets > 4), 0.7, 0.1)
    place, dark, light, valid = half_way(np.stack([ramp, flat, twice]).astype(np.float32), offsets)
    assert valid.tolist() == [True, False, False]
    assert place[0] == pytest.approx(0.5, abs=1e-6)
    assert (dark[0], light[0]) == pytest.approx((0.1, 0.7))


@given(st.floats(-0.5, 0.5), st.floats(-5, 5), st.integers(0, 10_000))
def test_a_line_is_found_beside_a_third_of_outliers(slope: float, intercept: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 60, 80)
    d = slope * t + intercept + 0.02 * rng.standard_normal(80)
    d[rng.permutation(80)[:26]] += rng.uniform(1, 8, 26)
    found = robust_line(t, d)
    assert found[0] * 30 + found[1] == pytest.approx(slope * 30 + intercept, abs=0.05)
    assert found[2] < 0.1


def test_edges_cross_where_their_lines_do() -> None:
    def level(x: float, y: float, along: tuple[float, float], slope: float, intercept: float) -> Edge:
        direction = np.array(along)
        outward = np.array([along[1], -along[0]])
        none = np.zeros(0)
        return Edge(
            start=np.array([x, y]),
            along=direction,
            outward=outward,
            length=10.0,
            slope=slope,
            intercept=intercept,
            sigma_px=0.0,
            seen=1.0,
            t=none,
            dark=none,
            light=none,
        )

    # By hand: along x through (0, 5) shifted up by 1 is y = 4; along y through (3, 0), outward +x, shifted by 2: x = 5.
    across, down = level(0, 5, (1.0, 0.0), 0.0, 1.0), level(3, 0, (0.0, 1.0), 0.0, 2.0)
    met = crossing(across, down)
    assert met is not None
    np.testing.assert_allclose(met, [5.0, 4.0])
    assert crossing(across, across) is None


def test_a_crop_ends_with_the_photo_and_goes_on_beyond_it() -> None:
    pixels = np.zeros((40, 50, 3), np.uint8)
    pixels[:, 10:] = 255
    crop = light_crop(pixels, np.array([[-5.0, 20.0], [12.0, 30.0]]), 3.0)
    assert crop.corner == (0, 17)
    assert crop.light.shape == (17, 16)
    np.testing.assert_allclose(crop.at(np.array([[[-9.0, 25.0], [15.0, 25.0], [9.5, 20.0]]])), [[0, 1, 0.5]], atol=1e-6)
    np.testing.assert_allclose(crop.colour_at(np.array([[[14.0, 20.0]]])), [[[1, 1, 1]]], atol=1e-6)
