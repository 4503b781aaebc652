"""Which of the pixels that stand apart from the floor belong to which kind of debris, and which to none."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..at_once import over_strips

Floats = NDArray[np.float64]

#: Light that a grain's gloss and its neighbours throw back in every colour, as a share of full white: keeps the
#: logarithms of a dark channel, which are mostly that, from deciding (common practice, no source).
STRAY = 0.03
#: How far a kind's colour may lie from its hint, as a standard deviation of each coordinate: hints are rough, gloss
#: and a phone's processing pale a colour, and a grain is brighter on its lit side.
HINT_SD = np.array([0.25, 0.35, 0.25])
#: Beyond this many of those standard deviations it is another thing.
FARTHEST = 2.5
#: The usual spread within a kind before the photos tell it, and the least and the most that are believed.
KIND_SD, LEAST_SD, MOST_SD = np.array([0.12, 0.15, 0.18]), 0.03, np.array([0.15, 0.2, 0.22])
#: Pixels that the hint and the usual spread weigh as much as.
HINT_WEIGHT = 100.0
#: Shade keeps the floor's hue to about this, and takes up to nine tenths of its light: 1.15 in half logarithms.
SHADE_HUE, DEEPEST_SHADE = 0.06, 1.15
#: Colours of a photo lie within about this volume of the coordinates: what is nothing else may be any of them.
ANY_COLOUR = 1 / 18
#: Width of the cells in which the floor's own colours are counted.
CELL = 0.1
ROUNDS = 15
#: Half the logarithm of a pixel's light strays so far over a grain with its dark side and among others in a heap; and
#: how rarely the floor is brighter than where nothing was strewn.
SHADED_SD, BRIGHTER = 0.4, 0.02
#: Pixels on which the mixture is fitted; the rest are only assigned.
SAMPLE = 20_000


def colour_places(linear: NDArray[np.floating]) -> Floats:
    """Coordinates in which kinds are told apart: log R/G, log B/G and half the log brightness; shape (N, 3).

    Hue counts twice as much as lightness, since shading moves only the latter.
    """
    log = np.log(np.maximum(np.asarray(linear, float), 0) + STRAY)
    return np.stack([log[:, 0] - log[:, 1], log[:, 2] - log[:, 1], 0.5 * log.mean(axis=1)], axis=-1)


def memberships(
    places: Sequence[Floats],
    below: Floats,
    hints: Floats,
    floor_colours: Floats,
    possible: NDArray[np.bool_],
) -> Floats:
    """Probability of every pixel to belong to each kind; the rest is shade, the floor's own pattern, or neither.

    Parameters
    ----------
    places : sequence of ndarray, each of shape (N, 3)
        For each kind, the pixels' colours as that kind would show them, in `colour_places`.
    below : ndarray of shape (N, 3)
        The floor under each pixel.
    hints : ndarray of shape (K, 3)
        The kinds' hints.
    floor_colours : ndarray of shape (M, 3)
        A sample of the floor: where its own pattern has a colour often, that colour says little.
    possible : ndarray of bool, shape (N, K)
        Whether a pixel may be of a kind at all.

    Returns
    -------
    ndarray of shape (N, K)

    Notes
    -----
    Expectation maximisation of a mixture [1]_: a normal distribution for each kind, whose mean is drawn to its hint
    and to a shift that all hints share (exposure and white balance); shade, which keeps the floor's hue; the floor's
    own colours; and any colour at all.

    References
    ----------
    .. [1] A. P. Dempster, N. M. Laird, D. B. Rubin, Maximum likelihood from incomplete data via the EM algorithm,
       J. R. Stat. Soc. B 39 (1977) 1-38.
    """
    count, kinds = len(below), len(hints)
    if count == 0:
        return np.zeros((0, kinds))
    others = _other_densities(places[0], below, floor_colours)
    chosen = np.arange(count)[:: max(1, count // SAMPLE)]
    sample = [p[chosen] for p in places]
    means, spreads = hints.copy(), [np.diag(KIND_SD**2)] * kinds
    weights = np.full(kinds + others.shape[1], 1 / (kinds + others.shape[1]))
    for _ in range(ROUNDS):
        member = _shares(sample, others[chosen], means, spreads, weights, possible[chosen])
        # No share dies out for good.
        weights = np.maximum(member.mean(axis=0), 1e-4)
        total = member[:, :kinds].sum(axis=0)
        seen = np.stack([member[:, k] @ sample[k] for k in range(kinds)])
        shift = (seen - total[:, None] * hints).sum(axis=0) / (HINT_WEIGHT + total.sum())
        shift = np.clip(shift, -FARTHEST * HINT_SD, FARTHEST * HINT_SD)
        means = (seen + HINT_WEIGHT * (hints + shift)) / (total + HINT_WEIGHT)[:, None]
        means = np.clip(means, hints - FARTHEST * HINT_SD, hints + FARTHEST * HINT_SD)
        spreads = [_spread(sample[k] - means[k], member[:, k]) for k in range(kinds)]
    return _shares(places, others, means, spreads, weights, possible)[:, :kinds]


def like_debris(
    view: NDArray[np.float32], colours: NDArray[np.floating], floor_colours: NDArray[np.floating]
) -> NDArray[np.bool_]:
    """Pixels whose colour is likelier that of debris than one of the floor's own.

    Parameters
    ----------
    view : ndarray of float32, shape (H, W, 3)
        Linear light.
    colours : ndarray of shape (K, 3)
        The kinds' colours.
    floor_colours : ndarray of shape (M, 3)
        A sample of the floor where nothing was strewn.

    Returns
    -------
    ndarray of bool, shape (H, W)
    """
    result = np.zeros(view.shape[:2], bool)
    means, spread = colour_places(colours), np.diag(np.append(MOST_SD[:2], SHADED_SD) ** 2)
    floor = colour_places(floor_colours)
    # Without the odd pixels at either end.
    low, high = np.quantile(floor[:, 2], [0.01, 0.99])
    evenly = 1 / max(float(high - low), CELL)

    def work(rows: slice) -> None:
        places = colour_places(view[rows].reshape(-1, 3))
        own = np.maximum.reduce([_normal(places - mean, spread) for mean in means])
        light = places[:, 2]
        bright = np.where(light > high, BRIGHTER, np.where(light < low, np.minimum(evenly, 1 / DEEPEST_SHADE), evenly))
        other = _floor_density(places[:, :2], floor[:, :2]) * bright
        result[rows] = (own > np.maximum(other, ANY_COLOUR)).reshape(result[rows].shape)

    over_strips(work, *view.shape[:2])
    return result


def _spread(off: Floats, weight: Floats) -> Floats:
    usual = HINT_WEIGHT * np.diag(KIND_SD**2)
    covariance = (usual + (off * weight[:, None]).T @ off) / (HINT_WEIGHT + weight.sum())
    covariance += LEAST_SD**2 * np.eye(3)
    held = np.minimum(MOST_SD / np.sqrt(np.diag(covariance)), 1)
    return np.asarray(covariance * np.outer(held, held))


def _shares(
    places: Sequence[Floats],
    others: Floats,
    means: Floats,
    spreads: Sequence[Floats],
    weights: Floats,
    possible: NDArray[np.bool_],
) -> Floats:
    own = np.stack([_normal(p - m, s) for p, m, s in zip(places, means, spreads, strict=True)], axis=-1) * possible
    joint = np.concatenate([own, others], axis=1) * weights
    # Off 0 where all densities underflow.
    return np.asarray(joint / np.maximum(joint.sum(axis=1, keepdims=True), 1e-300))


def _normal(off: Floats, covariance: Floats) -> Floats:
    square = ((off @ np.linalg.inv(covariance)) * off).sum(axis=1)
    return np.asarray(np.exp(-0.5 * square) / np.sqrt((2 * np.pi) ** off.shape[1] * np.linalg.det(covariance)))


def _other_densities(places: Floats, below: Floats, floor_colours: Floats) -> Floats:
    """Densities of shade, of the floor's own colours and of any colour, shape (N, 3)."""
    off = places - below
    shaded = (off[:, 2] < 0) & (off[:, 2] > -DEEPEST_SHADE)
    shade = _normal(off[:, :2], SHADE_HUE**2 * np.eye(2)) * shaded / DEEPEST_SHADE
    return np.stack([shade, _floor_density(places, floor_colours), np.full(len(off), ANY_COLOUR)], axis=-1)


def _floor_density(places: Floats, floor_colours: Floats) -> Floats:
    """How dense the floor's colours lie around each place: counted in cells that overlap by half."""
    if not len(floor_colours):
        return np.zeros(len(places))
    density = np.zeros(len(places))
    for offset in (0.0, 0.5):
        cells = np.floor(floor_colours / CELL + offset).astype(np.int64)
        low = cells.min(axis=0)
        span = cells.max(axis=0) - low + 1
        counts = np.bincount(np.ravel_multi_index((cells - low).T, span), minlength=int(span.prod()))
        # Coordinate by coordinate: rows of two or three numbers are slow to go through.
        inside, cell = np.ones(len(places), bool), np.zeros(len(places), np.int64)
        for place, first, count in zip(places.T, low, span, strict=True):
            asked = np.floor(place / CELL + offset).astype(np.int64) - first
            inside &= (asked >= 0) & (asked < count)
            cell = cell * count + asked
        density[inside] += counts[cell[inside]]
    return np.asarray(density / (2 * len(floor_colours) * CELL ** places.shape[1]))
