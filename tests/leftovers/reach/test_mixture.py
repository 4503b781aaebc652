from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.optimize import approx_fprime, minimize
from scipy.stats import bernoulli, multivariate_normal, norm

from debriscount.leftovers.reach.mixture import Mixture, share
from debriscount.leftovers.reach.sites import Sites

from .strewn import WALLED, Floats, left, sites_of, strewn


def mixture_of(count: int, seed: int, columns: int = 2, stays: float = 0.2) -> Mixture:
    """Places of which a third was hardly likely to be reached and was not."""
    rng = np.random.default_rng(seed)
    x, y = strewn(count, WALLED, seed)
    besides = np.where(x < 200, 0.1, 0.97)
    sites = sites_of(x, y, left(x >= 200, stays, seed), WALLED)
    covariates = (
        np.column_stack([np.ones(count), rng.normal(size=(count, columns))]) if columns else np.zeros((count, 0))
    )
    return Mixture(sites, covariates, besides)


def posterior(mixture: Mixture) -> Callable[[Floats], float]:
    """Its logarithm as a function of the parameters alone."""

    def value(params: Floats) -> float:
        return mixture._posterior(params)[0]

    return value


def cells(stayed: Floats, noise: Floats) -> Sites:
    many = len(stayed)
    index = np.arange(many)
    place = index.astype(float)
    return Sites(
        x_mm=place,
        y_mm=place % 7,
        area_mm2=np.ones(many),
        stayed=stayed,
        noise=noise,
        group=np.zeros(many, np.intp),
        groups=1,
        of_grain=index,
        grain_noise=np.zeros(many),
    )


@given(stays=st.floats(0.05, 0.6), lost=st.floats(0.005, 0.05), seed=st.integers(0, 10_000))
@settings(max_examples=25)
def test_the_gradient_is_that_of_the_posterior(stays: float, lost: float, seed: int) -> None:
    # Outside check: forward differences by scipy.
    mixture = mixture_of(40, seed)
    logits = np.log([v / (1 - v) for v in (*[stays] * mixture.sites.groups, lost)])
    params = np.array([*logits, 1.0, 0.5, 0.4])
    value, slope, _ = mixture._posterior(params)
    assert np.isfinite(value)
    assert slope == pytest.approx(approx_fprime(params, posterior(mixture), 1e-7), rel=1e-3, abs=1e-3)


def test_the_gradient_holds_for_cells_of_fine_grains_beside_single_ones() -> None:
    rng = np.random.default_rng(2)
    noise = np.where(np.arange(60) < 30, 0.0, 0.03)
    mixture = Mixture(
        cells(np.where(noise > 0, rng.normal(0.3, 0.2, 60), 1.0), noise), np.ones((60, 1)), np.full(60, 0.8)
    )
    params = np.array([-1.0, -4.0, 1.5])
    slope = mixture._posterior(params)[1]
    assert slope == pytest.approx(approx_fprime(params, posterior(mixture), 1e-7), rel=1e-3, abs=1e-3)


def test_evidence_is_a_trial_for_a_grain_and_normal_for_a_cell() -> None:
    stayed, noise = np.array([0.0, 1.0, 0.15, 1.1]), np.array([0.0, 0.0, 0.02, 0.04])
    one, none = Mixture(cells(stayed, noise), np.zeros((4, 0)), np.ones(4)).evidence(np.array([-1.0, -4.0]))
    stays, lost = 1 / (1 + np.exp([1.0, 4.0]))
    # Outside check: scipy's distributions; both ways have the normal curve's height in common.
    for found, p in ((one, stays), (none, 1 - lost)):
        height = norm.logpdf(0, 0, np.sqrt(noise[2:]))
        assert found[:2] == pytest.approx(bernoulli.logpmf([0, 1], p))
        assert found[2:] == pytest.approx(norm.logpdf(stayed[2:], p, np.sqrt(noise[2:])) - height)


def test_the_chance_given_all_follows_from_bayes_rule() -> None:
    mixture = mixture_of(50, 7)
    params = np.array([*[-1.5] * mixture.sites.groups, -4.0, 2.0, 0.3, -0.2])
    stays, lost = 1 / (1 + np.exp([1.5, 4.0]))
    before = mixture.besides / (1 + np.exp(-mixture.covariates @ [2.0, 0.3, -0.2]))
    stayed = mixture.sites.stayed == 1
    one, none = np.where(stayed, stays, 1 - stays), np.where(stayed, 1 - lost, lost)
    assert mixture.chance(params) == pytest.approx(before)
    assert mixture.reached(params) == pytest.approx(before * one / (before * one + (1 - before) * none))


@pytest.mark.parametrize("columns", [0, 1])
def test_the_climb_ends_at_the_mode(columns: int) -> None:
    mixture = mixture_of(400, 3, columns)
    groups = mixture.sites.groups
    mode = mixture.climb(np.append(np.zeros(groups), -3.0))

    def worse(params: Floats) -> float:
        return -mixture._posterior(params)[0]

    # Outside check: scipy's minimiser without gradients of ours.
    best = minimize(worse, mixture.prior[:, 0].copy(), method="BFGS")
    assert mixture._posterior(mode)[0] == pytest.approx(-best.fun, abs=0.02)
    spread = np.sqrt(np.diag(np.asarray(best.hess_inv, float)))
    # A hundredth of a unit of log likelihood is a seventh of a standard deviation; steps end about there.
    assert (np.abs(mode - best.x) < 0.3 * spread).all()


def test_a_climb_does_not_overshoot_from_far_away() -> None:
    mixture = mixture_of(400, 4)
    start = np.append(np.full(mixture.sites.groups, 4.0), 3.0)
    near = np.append(np.full(mixture.sites.groups, -1.5), -4.0)
    assert mixture._posterior(mixture.climb(start))[0] == pytest.approx(
        mixture._posterior(mixture.climb(near))[0], abs=0.1
    )


@pytest.mark.parametrize("seed", range(3))
def test_the_evidence_is_the_integral_over_the_parameters(seed: int) -> None:
    # Outside check: the integral of likelihood times prior by quadrature, for two parameters.
    rng = np.random.default_rng(seed)
    reached = rng.random(120) < 0.8
    mixture = Mixture(cells(left(reached, 0.2, seed), np.zeros(120)), np.zeros((120, 0)), np.full(120, 0.8))
    mode = mixture.climb(np.zeros(2))
    (_, u), (b, v) = mixture.prior
    peak = mixture._posterior(mode)[0]
    volume, _ = dblquad(
        lambda q, p: float(np.exp(mixture._posterior(np.array([p, q]))[0] - peak)) / (2 * np.pi * u * v),
        mode[0] - 2.5,
        mode[0] + 2.5,
        b - 5 * v,
        b + 5 * v,
        epsabs=1e-4,
    )
    # Laplace's approximation is off by parts in the number of places; outer products stand in for curvatures.
    assert mixture.log_evidence(mode) == pytest.approx(peak + np.log(volume), abs=0.25)


def test_draws_scatter_as_the_curvature_says() -> None:
    mixture = mixture_of(300, 5)
    mode = mixture.climb(np.append(np.full(mixture.sites.groups, -1.5), -4.0))
    drawn = mixture.draw(mode, 20_000, 2.0, np.random.default_rng(0))
    outer = mixture._posterior(mode)[2]
    expected = np.linalg.inv(outer / 2 + np.diag(mixture.prior[:, 1] ** -2))
    # Outside check: the Mahalanobis distances of normal draws are chi squared, their mean the number of parameters.
    distance = -2 * (
        multivariate_normal.logpdf(drawn, mode, expected) - multivariate_normal.logpdf(mode, mode, expected)
    )
    assert distance.mean() == pytest.approx(len(mode), rel=0.05)
    assert drawn.mean(axis=0) == pytest.approx(mode, abs=0.05)
    wider = mixture.draw(mode, 20_000, 8.0, np.random.default_rng(0))
    assert (wider.std(axis=0) > drawn.std(axis=0)).sum() >= len(mode) - 1


def test_places_known_to_be_missed_do_not_teach_what_stays() -> None:
    x, y = strewn(2000, WALLED, 9)
    reached = x > 240
    sites = sites_of(x, y, left(reached, 0.15, 10), WALLED)
    mixture = Mixture(sites, np.zeros((2000, 0)), np.where(reached, 0.999, 0.001))
    mode = mixture.climb(np.append(np.full(sites.groups, 1.0), -4.0))
    counts = np.bincount(sites.group[reached], minlength=sites.groups)
    stays = np.bincount(sites.group[reached], sites.stayed[reached], sites.groups) / counts
    # The share that stays is known to its binomial standard deviation, and pulled a little to what is usual.
    assert (np.abs(share(mode[: sites.groups]) - stays) < 2 * np.sqrt(0.15 * 0.85 / counts)).all()


def test_shares_of_logits_stay_off_the_ends() -> None:
    assert share(np.array([-1e9, 0.0, 1e9])) == pytest.approx([0, 0.5, 1], abs=1e-8)
    assert np.isfinite(np.log(share(np.array([-1e9])))).all()
    assert np.isfinite(np.log1p(-share(np.array([1e9])))).all()
