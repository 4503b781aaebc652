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

from ...arrays import Floats

#: Mean widths of reached lanes that are tried, as shares of the tile's diagonal: few wide lanes up to many narrow ones.
_RUNS = np.array([0.06, 0.15, 0.4])
#: Bins across a patch: a five-hundredth of its diagonal is below any strip that is seen.
_BINS = 512
#: Step between the directions tried first over a whole patch, degrees. Half of it off, a strip strays by 1/115 of its
#: length from end to end, less than most are wide. Parts are shorter, so that their steps may be wider in proportion.
_COARSE_DEG = 1.0
#: Directions tried then about the best, in such steps: a sixteenth of one moves a strip's end by half a bin.
_FINE = np.arange(-1, 1.01, 0.0625)
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

    Ever smaller parts are tried only while they gain, as each costs as much time as the whole.

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
    usual = float(np.log(share / (1 - share)))
    without = _predicted(np.full(len(ratio), usual), ratio)
    best = None
    for tiles in _SPLITS if again is None else (len(again.directions),):
        if tiles > 1 and len(x_mm) < _TILE_PLACES * tiles**2:
            break
        known = np.full((tiles, tiles), np.nan) if again is None else again.directions
        odds, directions, tried = _tiled(x_mm, y_mm, ratio, share, known)
        chance = float(np.log(tried * len(_RUNS)).sum())
        gain = _predicted(odds, ratio) - without - chance
        if best is not None and gain <= best.gain:
            break
        best = Straight(odds, gain, chance, directions)
    assert best is not None
    return best


def _predicted(odds: Floats, ratio: Floats) -> float:
    """Log likelihood of all that is seen over that if no place was reached."""
    return float((np.logaddexp(0, odds + ratio) - np.logaddexp(0, odds)).sum())


def _tiled(x: Floats, y: Floats, ratio: Floats, share: float, known: Floats) -> tuple[Floats, Floats, Floats]:
    """Log odds of each place, blended over overlapping tiles; the tiles' directions; how many each could choose from.

    ``known`` of shape (T, T) holds directions found before, NaN where none was.
    """
    tiles = len(known)
    odds, weight, directions = np.zeros(len(x)), np.zeros(len(x)), np.full(known.shape, np.nan)
    tried = []
    # Off 0.
    longest = np.hypot(np.ptp(x), np.ptp(y)) + 1e-9
    columns, rows = _bumps(x, tiles), _bumps(y, tiles)
    for row, column in np.ndindex(tiles, tiles):
        own = rows[row] * columns[column]
        near = np.flatnonzero(own)
        # Debris lies unevenly; so few places tell no direction.
        if len(near) < _TILE_PLACES / 5:
            continue
        part = x[near], y[near], ratio[near]
        count = max(1, round(180 / _COARSE_DEG * float(np.hypot(np.ptp(part[0]), np.ptp(part[1])) / longest)))
        some, directions[row, column] = _chain_odds(*part, share, longest / _BINS, count, float(known[row, column]))
        odds[near] += own[near] * some
        weight[near] += own[near]
        tried.append(count)
    # Where tiles hold too few places the usual share is all that is known.
    blended = np.where(weight > 0, odds / np.maximum(weight, 1e-12), np.log(share / (1 - share)))
    return blended, directions, np.array(tried, float)


def _bumps(v: Floats, tiles: int) -> list[Floats]:
    """Weights of places in each of the tiles along a side; they fade into the neighbours."""
    if tiles == 1:
        return [np.ones(len(v))]
    # Off 0 where all lie in a line.
    share = (v - v.min()) / (np.ptp(v) + 1e-9)
    # Weights fall to 0 at three quarters of a tile from its middle, a quarter into its neighbours.
    return [np.clip(1 - np.abs(share - (i + 0.5) / tiles) * tiles / 0.75, 0, 1) for i in range(tiles)]


def _chain_odds(
    x: Floats, y: Floats, ratio: Floats, share: float, step: float, count: int, about: float
) -> tuple[Floats, float]:
    """Log odds that the other places along the likeliest directions give each place, and the likeliest one, rad.

    ``step`` is the width of a bin, mm; ``count`` how many directions half a turn is divided into at first; ``about`` is
    where the direction was found before, NaN if it was not.
    """
    runs = _RUNS * np.hypot(np.ptp(x), np.ptp(y))
    some = slice(None, None, max(1, len(x) // _SEEKERS))
    if np.isnan(about):
        coarse = np.linspace(0, np.pi, count, endpoint=False)
        sums, _ = _project(x[some], y[some], ratio[some], coarse, step)
        about = coarse[_forward(sums, step, share, runs)[0].max(axis=1).argmax()]
    angles = about + np.pi / count * _FINE
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
    # Off 0 and 1 for the logarithms.
    reached = np.clip((weight / (1 + np.exp(-odds))).sum(axis=0) / weight.sum(axis=0), 1e-12, 1 - 1e-12)
    return np.log(reached / (1 - reached)), float(angles[likely.max(axis=1).argmax()])


def _project(x: Floats, y: Floats, ratio: Floats, angles: Floats, step: float) -> tuple[Floats, NDArray[np.intp]]:
    """Summed log likelihood ratios by direction and bin across it, (A, B), and the bin of each place, (A, N)."""
    turns = np.column_stack([-np.sin(angles), np.cos(angles)]) / step
    places = np.stack([x - x.min(), y - y.min()])
    # The first bin begins at the corner of the places' frame that lies foremost.
    foremost = np.minimum(turns, 0) @ np.array([np.ptp(x), np.ptp(y)])
    bins = (turns @ places - foremost[:, None] + 1e-6).astype(np.intp)
    many = int(bins.max()) + 1
    flat = (bins + many * np.arange(len(angles))[:, None]).ravel()
    sums = np.bincount(flat, np.tile(ratio, len(angles)), many * len(angles))
    return np.asarray(sums.reshape(len(angles), many), float), bins


def _steps(step: float, share: float, runs: Floats) -> tuple[Floats, Floats]:
    """Chance that the next bin is reached, after one that is and after one that is not."""
    keep = np.exp(-step / runs / (1 - share))
    return share + (1 - share) * keep, share * (1 - keep)


def _forward(sums: Floats, step: float, share: float, runs: Floats) -> tuple[Floats, Floats]:
    """Log likelihood by direction and run, (A, L), and the chance that all earlier bins give each, (B, A, L).

    ``sums`` of shape (A, B) holds the log likelihood ratios of the bins, ``runs`` of shape (L,) mean widths, mm.
    """
    stay, enter = _steps(step, share, runs)
    # Of the two likelihoods of a bin the greater is 1, so that none overflows.
    top = np.maximum(sums, 0).T[:, :, None]
    if_not = np.exp(-top)
    if_reached = np.exp(sums.T[:, :, None] - top)
    more, ahead = if_reached - if_not, if_reached * (stay - enter)
    before = np.empty(ahead.shape)
    likely = np.empty(ahead.shape)
    before[0] = share
    for b in range(len(before)):
        chance, both = before[b], likely[b]
        np.multiply(chance, more[b], out=both)
        both += if_not[b]
        if b + 1 < len(before):
            following = before[b + 1]
            np.multiply(chance, ahead[b], out=following)
            following /= both
            following += enter
    return top.sum(axis=0) + np.log(likely).sum(axis=0), before


def _backward(sums: Floats, step: float, share: float, runs: Floats) -> Floats:
    """Log likelihood ratio that all later bins give each bin, by hypothesis, shape (K, B)."""
    stay, enter = _steps(step, share, runs)
    odds = np.ones_like(sums)
    # Beyond e^60 a ratio says no more, and would overflow.
    own = np.exp(np.clip(sums, -60, 60))
    for b in range(sums.shape[1] - 1, 0, -1):
        # As above.
        later = np.minimum(own[:, b] * odds[:, b], 1e60)
        odds[:, b - 1] = (stay * later + 1 - stay) / (enter * later + 1 - enter)
    return np.asarray(np.log(odds))
