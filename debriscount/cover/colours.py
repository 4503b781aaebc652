"""Learn each debris kind's colour from the pixels that differ from the floor."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..stats.robust import SD_OVER_MAD
from .discriminant import SHADE_TINT
from .floor import brightness
from .kinds import KindHint
from .light import FAINTEST
from .membership import colour_places, memberships

#: A pixel is set apart from the floor when it departs by more than this many standard deviations: of
#: three million bare pixels fewer than two hundred do so by chance (chi distribution, 3 channels: 1.1e-3
#: at 4; shade takes one of them up: 6e-5).
APART = 4.0


#: A pixel that stands apart alone must do so this many times as far: a photo's noise has longer tails than a normal
#: distribution, and among millions of pixels some reach APART.
ALONE = 1.5
#: How far into a grain its rim reaches, where its side turns away from the light and its shadow touches it, as a share
#: of its diameter.
RIM = 0.15
#: Peak cover below which even a large grain shows no pixel of pure debris.
ALL_EDGE = 0.98
#: Fewest pixels from which a colour is learned, and the share of fine grains' pixels that come nearest to pure debris.
FEWEST, STRONGEST = 20, 0.1
#: How much of its light debris may lack against its hint: exposure and the hint are rough.
DIM = 0.7
#: A photo's sharpening makes small dark grains darker than they are: none is held to be darker than this share of its
#: hint.
DARKEST = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class LearnedColour:
    """A kind's colour in the light of the reference shot.

    ``mean`` of shape (3,) is linear light at the grid's centre, ``covariance`` of shape (3, 3) its
    spread over grains, ``slope`` the change of the logarithm of its brightness per pixel along x and
    y, ``samples`` the number of pixels it rests on.
    """

    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    slope: tuple[float, float]
    samples: int

    def over(self, shape: tuple[int, int], rows: slice = slice(None)) -> NDArray[np.float32]:
        """The kind's colour at every pixel of a floor view, shape + (3,), or of some of its rows."""
        x, y = np.arange(shape[1]) - shape[1] / 2, np.arange(shape[0]) - shape[0] / 2
        along_x, along_y = (np.exp(k * v).astype(np.float32) for k, v in zip(self.slope, (x, y), strict=True))
        row = along_x[:, None] * self.mean.astype(np.float32)
        return np.asarray(along_y[rows, None, None] * row)


@dataclass(frozen=True, slots=True, eq=False)
class ApartPixels:
    """Pixels that stand apart from the floor: colour, the floor below (both (N, 3)), column and row (N,)."""

    colour: NDArray[np.float32]
    floor: NDArray[np.float32]
    x: NDArray[np.float64]
    y: NDArray[np.float64]


def apart_pixels(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    departing: NDArray[np.float32],
    usable: NDArray[np.bool_],
    grain_px: float = 1.0,
) -> ApartPixels:
    """Collect the cores of what stands apart from the floor.

    Parameters
    ----------
    view, floor : ndarray of float32, shape (H, W, 3)
        Light-matched view and bare floor.
    departing : ndarray of float32, shape (H, W)
        Mahalanobis length of view less floor.
    usable : ndarray of bool, shape (H, W)
        Where to look.
    grain_px : float
        Diameter of a small grain.

    Notes
    -----
    A core is a pixel whose neighbours all stand apart too, so that it holds no floor and no blurred rim; where grains
    are too small for cores, the pixels that depart most among their neighbours are taken.
    """
    return _cores(view, floor, (departing > APART) & usable, departing, grain_px)


def core_pixels(
    view: NDArray[np.float32], floor: NDArray[np.float32], covered: NDArray[np.bool_], grain_px: float = 1.0
) -> ApartPixels:
    """Collect the cores of known debris, or its middles where grains are too small for cores."""
    return _cores(view, floor, covered, None, grain_px)


def _cores(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    apart: NDArray[np.bool_],
    height: NDArray[np.float32] | None,
    grain_px: float,
) -> ApartPixels:
    side = 2 * max(1, round(RIM * grain_px)) + 1
    core = cv2.erode(apart.astype(np.uint8), np.ones((side, side), np.uint8)).astype(bool)
    # With less than a tenth left, most grains are too small to have cores.
    if core.sum() < 0.1 * apart.sum():
        least = ALONE * APART
        if height is None:
            least = 0.0
            height = np.abs(brightness(view - floor))
        core = apart & (height > least) & (height >= cv2.dilate(height, np.ones((3, 3), np.uint8)))
    rows, columns = np.nonzero(core)
    # So many tell a median to half a percent of the spread (1.25 / sqrt(n)); more only take time.
    if len(rows) > 60_000:
        keep = np.linspace(0, len(rows) - 1, 60_000).astype(int)
        rows, columns = rows[keep], columns[keep]
    return ApartPixels(view[rows, columns], floor[rows, columns], columns.astype(float), rows.astype(float))


def join_pixels(parts: Sequence[ApartPixels]) -> ApartPixels:
    """Put the pixels of several shots together."""
    return ApartPixels(
        np.concatenate([p.colour for p in parts]),
        np.concatenate([p.floor for p in parts]),
        np.concatenate([p.x for p in parts]),
        np.concatenate([p.y for p in parts]),
    )


def learn_colours(
    pixels: ApartPixels, kinds: Sequence[KindHint], shape: tuple[int, int], floor: NDArray[np.float32]
) -> tuple[LearnedColour, ...]:
    """Learn the colour of every kind.

    Parameters
    ----------
    pixels : ApartPixels
        What stands apart from the floor.
    kinds : sequence of KindHint
        The kinds of debris.
    shape : (int, int)
        Rows and columns of the floor view.
    floor : ndarray of float32, shape (M, 3)
        A sample of the floor's own colours.

    Returns
    -------
    tuple of LearnedColour
        In the kinds' order. A kind of which nothing is seen keeps its hint and has 0 samples.

    Notes
    -----
    Which pixels are of which kind, `memberships` tells. Grains too small to have an inside show their colour mixed
    with the floor's; there it is led on along floor -> debris to full cover.
    """
    targets = np.array([np.asarray(kind.colour, float) for kind in kinds])
    if len(pixels.colour) == 0:
        return tuple(_unseen(target) for target in targets)
    full = [_full_colour(pixels, target, kind) for target, kind in zip(targets, kinds, strict=True)]
    member = memberships(
        [colour_places(colour) for colour in full],
        colour_places(pixels.floor),
        colour_places(targets),
        colour_places(floor),
        np.stack([_toward(pixels, target) for target in targets], axis=-1),
    )
    learned = []
    for k, target in enumerate(targets):
        own = member[:, k] > 0.5
        if kinds[k].largest_peak < ALL_EDGE:
            own &= _strongest(pixels, target, own)
        learned.append(_unseen(target) if own.sum() < FEWEST else _describe(full[k], pixels, own, shape))
    return tuple(learned)


def _unseen(hint: NDArray[np.float64]) -> LearnedColour:
    """A kind of which the photos show nothing: its hint, and a spread of a fifth of it in every channel."""
    return LearnedColour(hint, np.diag((0.2 * hint) ** 2), (0.0, 0.0), 0)


def _toward(pixels: ApartPixels, hint: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Pixels that differ from their floor in the direction of a hint, within 60 degrees.

    Some of its light may lack; but what pale debris then is, darker than the floor, is its shadow as well, so there hue
    must agree too.
    """
    scale = np.maximum(pixels.floor, 4 * FAINTEST)
    away = (pixels.colour - pixels.floor) / scale
    agree = np.zeros(len(away), bool)
    for light in (1.0, DIM):
        wanted = (light * hint - pixels.floor) / scale
        alike = _within_60_degrees(away, wanted)
        if light < 1:
            hue, wanted_hue = (v - v.mean(axis=1, keepdims=True) for v in (away, wanted))
            darker = (wanted.sum(axis=1) < 0) & ((hint - pixels.floor).sum(axis=1) >= 0)
            tells = np.sqrt((wanted_hue**2).mean(axis=1)) > SHADE_TINT
            alike &= ~darker | (tells & _within_60_degrees(hue, wanted_hue))
        agree |= alike
    return agree


def _within_60_degrees(one: NDArray[np.floating], other: NDArray[np.floating]) -> NDArray[np.bool_]:
    lengths = np.sqrt((one**2).sum(axis=1) * (other**2).sum(axis=1))
    return np.asarray((one * other).sum(axis=1) > 0.5 * lengths)


def _full_colour(pixels: ApartPixels, hint: NDArray[np.float64], kind: KindHint) -> NDArray[np.float64]:
    """Colours of the pixels if they are of a kind: led on to full cover where its grains are too small for an inside.

    The largest grains show most of their colour, and none is held to be darker than ``DARKEST`` of its hint.
    """
    colour, floor = pixels.colour.astype(float), pixels.floor.astype(float)
    if kind.largest_peak >= ALL_EDGE:
        return colour
    return np.asarray(np.maximum(floor + (colour - floor) / kind.largest_peak, DARKEST * hint))


def _strongest(pixels: ApartPixels, hint: NDArray[np.float64], own: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The tenth of a kind's pixels that lie farthest from their floor towards the hint: those of the largest grains."""
    toward = hint - pixels.floor
    # Off 0 where hint and floor are alike.
    reach = ((pixels.colour - pixels.floor) * toward).sum(axis=1) / np.maximum((toward**2).sum(axis=1), 1e-6)
    # A tenth of fewer would be less than a colour is learned from.
    if own.sum() < 10 * FEWEST:
        return own & (reach >= np.median(reach[own])) if own.any() else own
    return np.asarray(own & (reach >= np.quantile(reach[own], 1 - STRONGEST)))


def _describe(
    full: NDArray[np.float64], pixels: ApartPixels, chosen: NDArray[np.bool_], shape: tuple[int, int]
) -> LearnedColour:
    colour = full[chosen]
    x, y = pixels.x[chosen] - shape[1] / 2, pixels.y[chosen] - shape[0] / 2
    brightness = np.log(np.maximum(colour.mean(axis=1), FAINTEST))
    slope = _light_slope(x, y, brightness, shape)
    level = colour / np.exp(slope[0] * x + slope[1] * y)[:, None]
    mean = np.median(level, axis=0)
    off = level - mean
    keep = np.ones(len(off), bool)
    covariance = np.cov(off.T)
    for _ in range(3):
        # The ridge is far below any noise, and lets colours that do not differ be inverted.
        distance = np.einsum("ni,ij,nj->n", off, np.linalg.pinv(covariance + 1e-12 * np.eye(3)), off)
        keep = distance <= 4 * np.median(distance)
        covariance = np.cov(off[keep].T)
    return LearnedColour(mean, np.atleast_2d(covariance), slope, int(chosen.sum()))


def _light_slope(
    x: NDArray[np.float64], y: NDArray[np.float64], brightness: NDArray[np.float64], shape: tuple[int, int]
) -> tuple[float, float]:
    """Plane through the log brightness of the grains, by Tukey's biweight; flat if there are few."""
    # Of few grains the spread of their own colours would be taken for a slope of light.
    if len(x) < 200:
        return 0.0, 0.0
    basis = np.stack([np.ones_like(x), x / shape[1], y / shape[0]], axis=-1)
    weight = np.ones(len(x))
    solution = np.zeros(3)
    # The weights settle within a few rounds.
    for _ in range(6):
        # The small ridge keeps grains in a single heap from being read as a steep slope.
        normal = basis.T @ (basis * weight[:, None]) + np.diag([0, 0.01, 0.01]) * weight.sum()
        solution = np.linalg.solve(normal, basis.T @ (weight * brightness))
        off = brightness - basis @ solution
        # Off 0. At 4.685 Tukey's weights lose 5 % of efficiency where errors are normal (from memory).
        spread = SD_OVER_MAD * np.median(np.abs(off)) + 1e-4
        weight = np.clip(1 - (off / (4.685 * spread)) ** 2, 0, None) ** 2
    return float(solution[1] / shape[1]), float(solution[2] / shape[0])
