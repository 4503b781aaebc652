from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from debriscount.leftovers.reach.chains import _backward, _forward, _project, _steps, straight_strips

from .strewn import OPEN_FLOOR, Bools, Floats, left, strewn


def evidence_of(stayed: Floats, stays: float = 0.1) -> tuple[Floats, Floats]:
    one, none = np.abs(1 - stayed - stays), np.abs(1 - stayed - 0.99)
    return np.log(one), np.log(none)


def lanes(x: Floats, y: Floats, heading: float, pitch: float = 130.0, strip: float = 16.0) -> Bools:
    """Which places a machine reaches that runs in lanes with strips between them."""
    across = y * np.cos(heading) - x * np.sin(heading)
    return np.asarray(np.abs(across - pitch * np.round(across / pitch)) > strip / 2)


@given(
    seed=st.integers(0, 10_000), usual=st.floats(0.1, 0.97), run=st.floats(2, 100), size=st.sampled_from([0.5, 2, 8])
)
@settings(max_examples=15)
def test_chains_give_the_probabilities_of_all_sequences(seed: int, usual: float, run: float, size: float) -> None:
    # Outside check: the sum over all 2^7 sequences of the Markov chain, each with its probability.
    sums, step = np.random.default_rng(seed).normal(0, size, 7), 3.0
    stay, enter = (float(v) for v in _steps(step, usual, np.array(run)))
    total, ones = 0.0, np.zeros(7)
    for states in product((0, 1), repeat=7):
        chance = usual if states[0] else 1 - usual
        for before, after in pairwise(states):
            to_one = stay if before else enter
            chance *= to_one if after else 1 - to_one
        chance *= float(np.exp(sums @ states))
        total += chance
        ones = ones + chance * np.array(states, float)
    likely, earlier = _forward(sums[None], step, usual, np.array([run]))
    later = _backward(sums[None], step, usual, np.array([run]))[0]
    forth = earlier[:, 0, 0]
    odds = np.log(forth / (1 - forth)) + later + sums
    assert likely[0, 0] == pytest.approx(np.log(total))
    assert 1 / (1 + np.exp(-odds)) == pytest.approx(ones / total, rel=1e-6)


def test_many_directions_and_runs_are_each_as_if_alone() -> None:
    sums = np.random.default_rng(1).normal(0, 3, (4, 30))
    runs = np.array([10.0, 40.0, 200.0])
    likely, before = _forward(sums, 2.0, 0.8, runs)
    assert before.shape == (30, 4, 3)
    for angle, run in np.ndindex(4, 3):
        one, earlier = _forward(sums[angle : angle + 1], 2.0, 0.8, runs[run : run + 1])
        assert likely[angle, run] == pytest.approx(one[0, 0])
        assert before[:, angle, run] == pytest.approx(earlier[:, 0, 0])


def test_chains_bear_evidence_beyond_what_exponentials_hold() -> None:
    sums = np.array([[900.0, -900.0, 900.0, -2000.0]])
    likely, before = _forward(sums, 3.0, 0.8, np.array([20.0]))
    assert np.isfinite(likely).all()
    assert likely[0, 0] == pytest.approx(1800, abs=10)
    assert ((before > 0) & (before < 1)).all()
    assert np.isfinite(_backward(sums, 3.0, 0.8, np.array([20.0]))).all()


@given(step=st.floats(0.1, 50), share=st.floats(0.05, 0.98), run=st.floats(5, 300))
@settings(max_examples=30)
def test_steps_are_those_of_a_process_of_two_states(step: float, share: float, run: float) -> None:
    # Outside check: the matrix exponential of its rates, that leave a lane after its mean width.
    leave = 1 / run
    enter = leave * share / (1 - share)
    after = expm(step * np.array([[-leave, leave], [enter, -enter]]))
    assert np.concatenate(_steps(step, share, np.array([run]))) == pytest.approx(after[:, 0])


def test_places_are_summed_across_each_direction() -> None:
    x, y = strewn(200, OPEN_FLOOR, 3)
    ratio = np.random.default_rng(4).normal(size=200)
    angles = np.array([0.0, 0.4, np.pi / 2, 2.5])
    sums, bins = _project(x, y, ratio, angles, 5.0)
    for number, angle in enumerate(angles):
        across = y * np.cos(angle) - x * np.sin(angle)
        steps = bins[number] - across / 5
        # A bin's number is the rounded distance from a place all share, so that it strays by less than one.
        assert np.ptp(steps) < 1
        assert bins[number].min() >= 0
        # Outside check: numpy's histogram over those bins.
        counted, _ = np.histogram(bins[number], np.arange(sums.shape[1] + 1), weights=ratio)
        assert sums[number] == pytest.approx(counted)


@pytest.mark.parametrize("heading", [0.0, 0.31, 1.2, np.pi / 2, 2.4])
def test_strips_and_their_direction_are_found(heading: float) -> None:
    x, y = strewn(1500, OPEN_FLOOR, round(10 * heading))
    reached = lanes(x, y, heading)
    found = straight_strips(x, y, evidence_of(left(reached, 0.1, 5)), 0.9)
    assert found.gain > 20
    assert found.directions.shape == (1, 1)
    # 1500 grains 12 mm apart place a border over 600 mm to half a degree or so.
    off = (found.directions[0, 0] - heading + np.pi / 2) % np.pi - np.pi / 2
    assert abs(np.rad2deg(off)) < 0.7
    assert np.mean((found.log_odds > 0) == reached) > 0.95


@pytest.mark.parametrize("seed", range(3))
def test_places_missed_at_random_gain_nothing(seed: int) -> None:
    x, y = strewn(1200, OPEN_FLOOR, seed)
    reached = np.random.default_rng(seed + 5).random(1200) < 0.9
    found = straight_strips(x, y, evidence_of(left(reached, 0.1, seed + 6)), 0.9)
    assert found.gain < 0
    assert np.mean(found.log_odds > 0) > 0.98


def test_parts_with_directions_of_their_own_are_told_by_themselves() -> None:
    x, y = strewn(4000, OPEN_FLOOR, 6)
    reached = np.where(x < 300, lanes(x, y, 0.0, 70), lanes(x, y, np.pi / 2, 70))
    found = straight_strips(x, y, evidence_of(left(reached, 0.1, 7)), 0.8)
    tiles = len(found.directions)
    assert tiles > 1
    along = np.abs(np.cos(found.directions))
    assert (along[:, 0] > 0.99).all()
    assert (along[:, -1] < 0.1).all()
    assert np.mean((found.log_odds > 0) == reached) > 0.9


def test_directions_found_before_are_refined() -> None:
    x, y = strewn(1500, OPEN_FLOOR, 8)
    reached = lanes(x, y, 0.7)
    first = straight_strips(x, y, evidence_of(left(reached, 0.1, 9)), 0.9)
    again = straight_strips(x, y, evidence_of(left(reached, 0.1, 9), 0.12), 0.9, first)
    assert again.directions == pytest.approx(first.directions, abs=np.deg2rad(1.01))
    assert again.gain == pytest.approx(first.gain, rel=0.1)


def test_strips_hardly_depend_on_a_places_own_fate() -> None:
    gains = []
    for seed in range(2, 6):
        x, y = strewn(300, OPEN_FLOOR, seed)
        stayed = left(np.abs(y - 200) > 15, 0.1, seed + 1)
        usual = straight_strips(x, y, evidence_of(stayed), 0.9).log_odds
        # Beside the border a place's own fate would move the border most.
        for place in np.argsort(np.abs(np.abs(y - 200) - 15))[:12]:
            other = stayed.copy()
            other[place] = 1 - stayed[place]
            changed = straight_strips(x, y, evidence_of(other), 0.9).log_odds
            gains.append((changed[place] - usual[place]) * (1 if stayed[place] else -1))
    # Taken or left are 6.8 apart in log odds, ln(0.9 / 0.01 * 0.99 / 0.1); what little is left of it comes from
    # hypotheses left out.
    assert abs(np.mean(gains)) < 0.4
