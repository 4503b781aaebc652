import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from debriscount.leftovers.reach.neighbours import WIDTHS, find_neighbours

from .strewn import OPEN_FLOOR, Floats, left, sites_of, strewn


def distances(x: Floats, y: Floats) -> Floats:
    """Outside check: every distance, that of a place to itself left out."""
    places = np.column_stack([x, y])
    away = cdist(places, places)
    np.fill_diagonal(away, np.inf)
    return np.asarray(away)


def test_neighbours_are_the_nearest_places() -> None:
    x, y = strewn(200, OPEN_FLOOR, 1)
    near = find_neighbours(sites_of(x, y, np.ones(200)))
    away = distances(x, y)
    assert near.places.shape == (200, 16)
    assert (near.places == np.argsort(away, axis=1)[:, :16]).all()


def test_rings_weigh_by_distance_and_grow_where_debris_lies_thin() -> None:
    x, y = strewn(150, OPEN_FLOOR, 2)
    sites = sites_of(x, y, np.ones(150))
    near = find_neighbours(sites)
    away = np.sort(distances(x, y), axis=1)[:, :16] / sites.spacing_mm
    scale = np.maximum(1, away[:, 2:3])
    # Closed form: a normal curve as wide as the ring, in spacings or in distances of the third neighbour.
    for width, ring in zip(WIDTHS, near.rings, strict=True):
        assert ring == pytest.approx(np.exp(-((away / (scale * width)) ** 2) / 2), abs=1e-9)
    assert (np.diff(near.rings[0], axis=1) <= 0).all()


def test_few_places_have_few_neighbours() -> None:
    x, y = strewn(6, OPEN_FLOOR, 3)
    near = find_neighbours(sites_of(x, y, np.ones(6)))
    assert near.places.shape == (6, 5)
    assert np.isfinite(near.odds(np.full(6, 0.1), np.ones(6))).all()


def test_odds_by_hand_from_one_nearest_place() -> None:
    # Pairs 2 mm apart in an open floor where pairs are 100 mm apart: the first ring sees the partner alone, of three
    # neighbours that it grows by.
    x, y = (v.ravel().astype(float) for v in np.meshgrid(np.arange(50, 600, 100), np.arange(50, 400, 100)))
    x, y = np.concatenate([x, x + 2]), np.concatenate([y, y])
    stayed = np.zeros(48)
    stayed[0] = 1
    odds = find_neighbours(sites_of(x, y, stayed)).odds(np.zeros(48), np.ones(48))[:, 0]
    partner, further = odds[24], odds[25]
    near = find_neighbours(sites_of(x, y, stayed))
    weight = near.rings[0][24]
    share = 1 - weight[near.places[24] == 0].sum() / weight.sum()
    many = weight.sum() ** 2 / (weight**2).sum()
    assert partner == pytest.approx(
        np.log((share * many + 0.2) / ((1 - share) * many + 0.2)) - np.log((many + 0.2) / 0.2)
    )
    assert partner < further <= 0


@pytest.mark.parametrize("stays", [0.0, 0.3])
def test_all_taken_says_nothing_against_a_place_and_all_left_speaks_against_it(stays: float) -> None:
    x, y = strewn(300, OPEN_FLOOR, 4)
    taken = find_neighbours(sites_of(x, y, np.zeros(300))).odds(np.full(300, stays), np.ones(300))
    stayed = find_neighbours(sites_of(x, y, np.ones(300))).odds(np.full(300, stays), np.ones(300))
    assert taken == pytest.approx(np.zeros((300, 3)), abs=1e-9)
    assert (stayed < -2).all()
    # More neighbours say more.
    assert (np.diff(stayed, axis=1) < 0).all()


@given(seed=st.integers(0, 10_000), stays=st.floats(0, 0.8), share=st.floats(0, 1))
@settings(max_examples=25)
def test_odds_are_at_most_those_if_all_were_reached_and_fall_with_each_grain_left(
    seed: int, stays: float, share: float
) -> None:
    x, y = strewn(60, OPEN_FLOOR, seed)
    stayed = left(np.ones(60, bool), share, seed)
    odds = find_neighbours(sites_of(x, y, stayed)).odds(np.full(60, stays), np.ones(60))
    assert (odds <= 1e-9).all()
    more = stayed.copy()
    more[seed % 60] = 1
    assert (find_neighbours(sites_of(x, y, more)).odds(np.full(60, stays), np.ones(60)) <= odds + 1e-9).all()


def test_a_place_not_trusted_has_no_say() -> None:
    x, y = strewn(300, OPEN_FLOOR, 5)
    wall = y < 60
    trust = np.where(wall, 1e-9, 1.0)
    stays = np.full(300, 0.1)
    odds = [find_neighbours(sites_of(x, y, np.where(wall, fate, 0.0))).odds(stays, trust)[~wall] for fate in (0.0, 1.0)]
    assert odds[0] == pytest.approx(odds[1], abs=1e-4)
    heard = find_neighbours(sites_of(x, y, np.where(wall, 1.0, 0.0))).odds(stays, np.ones(300))[~wall]
    assert heard.min() < odds[1].min() - 1


def test_the_variance_of_a_sum_counts_what_neighbours_share() -> None:
    # Outside check: the quadratic form with all correlations as one matrix.
    x, y = strewn(120, OPEN_FLOOR, 6)
    sites = sites_of(x, y, np.ones(120))
    near = find_neighbours(sites)
    deviation = np.random.default_rng(7).random(120)
    away = distances(x, y)
    order = np.argsort(away, axis=1)
    scale = np.maximum(1, np.sort(away, axis=1)[:, 2:3] / sites.spacing_mm)
    together = np.exp(-((away / sites.spacing_mm / scale / 2) ** 2) / 2)
    np.put_along_axis(together, order[:, 16:], 0.0, axis=1)
    together += np.eye(120)
    assert near.summed_variance(deviation) == pytest.approx(deviation @ together @ deviation)
    assert near.summed_variance(np.zeros(120)) == 0
    alone = np.zeros(120)
    alone[3] = 0.5
    assert near.summed_variance(alone) == pytest.approx(0.25)
