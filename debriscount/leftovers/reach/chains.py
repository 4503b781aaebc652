"""Straight borders of what the machine met: chains of two states across the patch, in every direction.

Where a machine runs in lanes, what lies in one strip shares its fate over the whole length of the patch. Looked at
along the lanes, places become a sequence that is reached or not in turns: a hidden Markov chain of two states [1]_,
whose direction is the one in which it explains best what stayed. Strips narrower than grains lie apart are told so.

References
----------
.. [1] L. R. Rabiner, "A tutorial on hidden Markov models and selected applications in speech recognition", Proceedings
   of the IEEE 77 (1989) 257-286: forward and backward probabilities.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Mean widths of reached lanes that are tried, as shares of the tile's diagonal: few wide lanes up to many narrow ones.
_RUNS = np.array([0.06, 0.15, 0.4])
#: Bins across a patch: a thousandth of its diagonal is below any strip that is seen.
_BINS = 512
#: Directions tried first (every two degrees; a strip is seen by its neighbours in the scan as well), then in between.
_COARSE = np.deg2rad(np.arange(0, 180, 1.0))
_FINE = np.deg2rad(np.arange(-1, 1.01, 0.0625))
#: Places that find the direction; as many as these find it to a fraction of a degree.
_SEEKERS = 3000
#: Hypotheses less likely than the best by this factor's logarithm are left out.
_LIKELY = 7.0
#: Places without which a tile is not looked at by itself: fewer do not find a direction of their own.
_TILE_PLACES = 150
#: Most tiles along a side: paths that bend within a quarter of a patch leave spots rather than strips.
_SPLITS = (1, 2, 3, 4)


@dataclass(frozen=True, slots=True, eq=False)
class Straight:
    """What straight strips say of every place.

    ``log_odds``, one entry a place, is the natural logarithm of the odds that it was reached, from all other places.
    ``chance_gain`` is what the choice of directions may add by chance to the logarithm of how well places are
    predicted, ``gain`` what they are predicted better than without strips, that taken off. ``directions`` of shape
    (T, T) are the angles from x towards y of the strips in each of T by T overlapping tiles, rad, NaN in those with too
    few places.
    """

    log_odds: Floats
    gain: float
    chance_gain: float
    directions: Floats


def straight_strips(
    x_mm: Floats, y_mm: Floats, evidence: tuple[Floats, Floats], share: float, again: Straight | None = None
) -> Straight:
    """Look for straight strips over the whole patch, then for shorter ones in its parts while these explain more.

    Parameters
    ----------
    x_mm, y_mm : ndarray of shape (N,)
        Places.
    evidence : tuple of ndarray of shape (N,)
        Log likelihood of what is seen at a place if it was reached, and if it was not.
    share : float
        Share of places reached, 0 to 1 exclusive.
    again : Straight, optional
        Found before with other evidence; its directions are only refined.
    """
    ratio = evidence[0] - evidence[1]
    best = None
    for tiles in _SPLITS if again is None else (len(again.directions),):
        if tiles > 1 and len(x_mm) < _TILE_PLACES * tiles**2:
            break
        known = np.full((tiles, tiles), np.nan) if again is None else again.directions
        odds, directions = _tiled(x_mm, y_mm, ratio, share, known)
        chance = float(np.isfinite(directions).sum() * np.log(len(_COARSE) * len(_RUNS)))
        gain = _predicted(odds, ratio) - _predicted(np.full(len(odds), np.log(share / (1 - share))), ratio) - chance
        if best is None or gain > best.gain:
            best = Straight(odds, gain, chance, directions)
        elif tiles > 2:
            break
    assert best is not None
    return best


def _predicted(odds: Floats, ratio: Floats) -> float:
    """Log likelihood of all that is seen over that if no place was reached."""
    return float((np.logaddexp(0, odds + ratio) - np.logaddexp(0, odds)).sum())


def _tiled(x: Floats, y: Floats, ratio: Floats, share: float, known: Floats) -> tuple[Floats, Floats]:
    """Log odds of each place, blended over overlapping tiles, and the tiles' directions."""
    tiles = len(known)
    odds, weight, directions = np.zeros(len(x)), np.zeros(len(x)), np.full(known.shape, np.nan)
    step = np.hypot(np.ptp(x), np.ptp(y)) / _BINS + 1e-9
    columns, rows = _bumps(x, tiles), _bumps(y, tiles)
    for row, column in np.ndindex(tiles, tiles):
        own = rows[row] * columns[column]
        near = own > 0
        if near.sum() < _TILE_PLACES / 5:
            continue
        some, directions[row, column] = _chain_odds(
            x[near], y[near], ratio[near], share, step, float(known[row, column])
        )
        odds[near] += own[near] * some
        weight[near] += own[near]
    return np.where(weight > 0, odds / np.maximum(weight, 1e-12), np.log(share / (1 - share))), directions


def _bumps(v: Floats, tiles: int) -> list[Floats]:
    """Weights of places in each of the tiles along a side; they fade into the neighbours."""
    if tiles == 1:
        return [np.ones(len(v))]
    share = (v - v.min()) / (np.ptp(v) + 1e-9)
    return [np.clip(1 - np.abs(share - (i + 0.5) / tiles) * tiles / 0.75, 0, 1) for i in range(tiles)]


def _chain_odds(x: Floats, y: Floats, ratio: Floats, share: float, step: float, about: float) -> tuple[Floats, float]:
    """Log odds that the other places along the likeliest directions give each place, and the likeliest one.

    ``about`` is where that direction was found before, NaN if it was not.
    """
    runs = _RUNS * np.hypot(np.ptp(x), np.ptp(y))
    some = slice(None, None, max(1, len(x) // _SEEKERS))
    if np.isnan(about):
        sums, _ = _project(x[some], y[some], ratio[some], _COARSE, step)
        about = _COARSE[_forward(sums, step, share, runs)[0].max(axis=1).argmax()]
    angles = about + _FINE
    if some.step > 1:
        sums, _ = _project(x[some], y[some], ratio[some], angles, step)
        likely = _forward(sums, step, share, runs)[0].max(axis=1)
        angles = angles[likely > likely.max() - _LIKELY]
    sums, bins = _project(x, y, ratio, angles, step)
    likely, before = _forward(sums, step, share, runs)
    angle, run = np.argwhere(likely > likely.max() - _LIKELY).T
    after = _backward(sums[angle], step, share, runs[run])
    chance = before[:, angle, run].T
    odds = (np.log(chance / (1 - chance)) + after)[np.arange(len(angle))[:, None], bins[angle]]
    # Each hypothesis weighs by how it explains the other places: its likelihood without the place's own part.
    own = np.logaddexp(0, odds + ratio) - np.logaddexp(0, odds)
    weight = likely[angle, run][:, None] - own
    weight = np.exp(weight - weight.max(axis=0))
    reached = np.clip((weight / (1 + np.exp(-odds))).sum(axis=0) / weight.sum(axis=0), 1e-12, 1 - 1e-12)
    return np.log(reached / (1 - reached)), float(angles[likely.max(axis=1).argmax()])


def _project(x: Floats, y: Floats, ratio: Floats, angles: Floats, step: float) -> tuple[Floats, NDArray[np.intp]]:
    """Summed log likelihood ratios by direction and bin across it, and each place's bin by direction."""
    across = np.outer(np.cos(angles), y) - np.outer(np.sin(angles), x)
    bins = ((across - across.min(axis=1, keepdims=True)) / step).astype(np.intp)
    many = int(bins.max()) + 1
    flat = (bins + many * np.arange(len(angles))[:, None]).ravel()
    sums = np.bincount(flat, np.broadcast_to(ratio, bins.shape).ravel(), many * len(angles))
    return np.asarray(sums.reshape(len(angles), many), float), bins


def _steps(step: float, share: float, runs: Floats) -> tuple[Floats, Floats]:
    """Chance that the next bin is reached, after one that is and after one that is not."""
    keep = np.exp(-step / runs / (1 - share))
    return share + (1 - share) * keep, share * (1 - keep)


def _forward(sums: Floats, step: float, share: float, runs: Floats) -> tuple[Floats, Floats]:
    """Log likelihood by direction and run (A, L), and the chance given by all earlier bins, (B, A, L)."""
    stay, enter = _steps(step, share, runs)
    top = np.maximum(sums, 0)
    if_reached, if_not = np.exp(sums - top), np.exp(-top)
    chance = np.full((len(sums), len(runs)), share)
    likely = np.repeat(top.sum(axis=1)[:, None], len(runs), axis=1)
    before = np.empty((sums.shape[1], *chance.shape))
    for b in range(sums.shape[1]):
        if b:
            chance = chance * stay + (1 - chance) * enter
        before[b] = chance
        reached = chance * if_reached[:, b, None]
        both = reached + (1 - chance) * if_not[:, b, None]
        likely += np.log(both)
        chance = reached / both
    return likely, before


def _backward(sums: Floats, step: float, share: float, runs: Floats) -> Floats:
    """Log likelihood ratio that all later bins give each bin, by hypothesis, shape (K, B)."""
    stay, enter = _steps(step, share, runs)
    odds = np.ones_like(sums)
    # Beyond e^60 a ratio says no more, and would overflow.
    own = np.exp(np.clip(sums, -60, 60))
    for b in range(sums.shape[1] - 1, 0, -1):
        later = np.minimum(own[:, b] * odds[:, b], 1e60)
        odds[:, b - 1] = (stay * later + 1 - stay) / (enter * later + 1 - enter)
    return np.asarray(np.log(odds))
