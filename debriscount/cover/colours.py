"""Learn each debris kind's colour from the pixels that differ from the floor."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .floor import brightness
from .kinds import KindHint
from .light import FAINTEST

#: A pixel is set apart from the floor when it departs by more than this many standard deviations: of
#: three million bare pixels fewer than two hundred do so by chance (chi distribution, 3 channels: 1.1e-3
#: at 4; shade takes one of them up: 6e-5).
APART = 4.0


#: A pixel that stands apart alone must do so this many times as far: a photo's noise has longer tails than a normal
#: distribution, and among millions of pixels some reach APART.
ALONE = 1.5
#: Peak cover below which a middling grain shows no pixel of pure debris.
ALL_EDGE = 0.98


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

    def over(self, shape: tuple[int, int]) -> NDArray[np.float32]:
        """The kind's colour at every pixel of a floor view, shape + (3,)."""
        x, y = np.arange(shape[1]) - shape[1] / 2, np.arange(shape[0]) - shape[0] / 2
        along_x, along_y = (np.exp(k * v).astype(np.float32) for k, v in zip(self.slope, (x, y), strict=True))
        row = along_x[:, None] * self.mean.astype(np.float32)
        return np.asarray(along_y[:, None, None] * row)


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

    Notes
    -----
    A core is a pixel whose eight neighbours stand apart too, so that it holds no floor; where grains
    are too small for cores, the pixels that depart most among their neighbours are taken.
    """
    return _cores(view, floor, (departing > APART) & usable, departing)


def core_pixels(view: NDArray[np.float32], floor: NDArray[np.float32], covered: NDArray[np.bool_]) -> ApartPixels:
    """Collect the cores of known debris, or its middles where grains are too small for cores."""
    return _cores(view, floor, covered, None)


def _cores(
    view: NDArray[np.float32],
    floor: NDArray[np.float32],
    apart: NDArray[np.bool_],
    height: NDArray[np.float32] | None,
) -> ApartPixels:
    core = cv2.erode(apart.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    if core.sum() < 0.1 * apart.sum():
        least = ALONE * APART
        if height is None:
            least = 0.0
            height = np.abs(brightness(view - floor))
        core = apart & (height > least) & (height >= cv2.dilate(height, np.ones((3, 3), np.uint8)))
    rows, columns = np.nonzero(core)
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


def colour_coordinates(linear: NDArray[np.floating]) -> NDArray[np.float64]:
    """Coordinates in which kinds are told apart: log R/G, log B/G and half the log brightness.

    Hue counts twice as much as lightness, since shading moves only the latter. Shape (N, 3).
    """
    # The small offset keeps channels near black, whose ratios are noise, from deciding.
    v = np.maximum(np.asarray(linear, float), 0) + 4 * FAINTEST
    log = np.log(v)
    return np.stack([log[:, 0] - log[:, 1], log[:, 2] - log[:, 1], 0.5 * log.mean(axis=1)], axis=-1)


def learn_colours(pixels: ApartPixels, kinds: Sequence[KindHint], shape: tuple[int, int]) -> tuple[LearnedColour, ...]:
    """Learn the colour of every kind.

    Parameters
    ----------
    pixels : ApartPixels
        What stands apart from the floor.
    kinds : sequence of KindHint
        The kinds of debris.
    shape : (int, int)
        Rows and columns of the floor view.

    Returns
    -------
    tuple of LearnedColour
        In the kinds' order. A kind of which nothing is seen keeps its hint and has 0 samples.

    Notes
    -----
    Pixels go to the nearest hint after a shift that all hints share (exposure and white balance), which
    is fitted in turn; so no kind drifts off to a shaded side of another's grains.
    """
    targets = np.array([np.asarray(kind.colour, float) for kind in kinds])
    if len(pixels.colour) == 0:
        return tuple(_unseen(target) for target in targets)
    toward = _toward_hint(pixels, targets)
    opposite = _toward_hint(pixels, targets, -1) & ~toward
    # Chance takes pixels towards a hint as often as the opposite way; debris does not.
    if toward.sum() < 2 * opposite.sum() + 20:
        return tuple(_unseen(target) for target in targets)
    places = colour_coordinates(pixels.colour)
    centers = colour_coordinates(targets)
    label = np.zeros(len(places), int)
    for _ in range(5):
        label = ((places[:, None] - centers[None]) ** 2).sum(axis=-1).argmin(axis=1)
        centers = centers + np.median((places - centers[label])[toward], axis=0)
    learned = []
    for k, target in enumerate(targets):
        members = toward & (label == k)
        if members.sum() < 20:
            learned.append(_unseen(target))
        else:
            learned.append(_describe(pixels, members, kinds[k].usual_peak, shape))
    return tuple(learned)


def _unseen(hint: NDArray[np.float64]) -> LearnedColour:
    """A kind of which the photos show nothing: its hint, and a spread of a fifth of it in every channel."""
    return LearnedColour(hint, np.diag((0.2 * hint) ** 2), (0.0, 0.0), 0)


def _toward_hint(pixels: ApartPixels, targets: NDArray[np.float64], sign: int = 1) -> NDArray[np.bool_]:
    """Pixels that differ from the floor in the direction of some hint (or, with sign -1, away from it)."""
    away = pixels.colour - pixels.floor
    scale = np.maximum(pixels.floor, 4 * FAINTEST)
    agree = np.zeros(len(away), bool)
    for target in targets:
        wanted = target - pixels.floor
        inner = (away * wanted / scale**2).sum(axis=1)
        lengths = np.sqrt(((away / scale) ** 2).sum(axis=1) * ((wanted / scale) ** 2).sum(axis=1))
        agree |= sign * inner > 0.5 * lengths
    return agree


def _describe(pixels: ApartPixels, chosen: NDArray[np.bool_], peak: float, shape: tuple[int, int]) -> LearnedColour:
    colour = pixels.colour[chosen].astype(float)
    if peak < ALL_EDGE:
        colour = _beyond_blur(colour, pixels.floor[chosen].astype(float), peak)
    x, y = pixels.x[chosen] - shape[1] / 2, pixels.y[chosen] - shape[0] / 2
    brightness = np.log(np.maximum(colour.mean(axis=1), FAINTEST))
    slope = _light_slope(x, y, brightness, shape)
    level = colour / np.exp(slope[0] * x + slope[1] * y)[:, None]
    mean = np.median(level, axis=0)
    off = level - mean
    keep = np.ones(len(off), bool)
    covariance = np.cov(off.T)
    for _ in range(3):
        distance = np.einsum("ni,ij,nj->n", off, np.linalg.pinv(covariance + 1e-12 * np.eye(3)), off)
        keep = distance <= 4 * np.median(distance)
        covariance = np.cov(off[keep].T)
    return LearnedColour(mean, np.atleast_2d(covariance), slope, int(chosen.sum()))


def _beyond_blur(colour: NDArray[np.float64], floor: NDArray[np.float64], peak: float) -> NDArray[np.float64]:
    """Colours of grains too small to have an inside, led on along floor -> debris to full cover.

    A middling grain is held to have reached ``peak``; no colour is darker than black.
    """
    return np.asarray(np.maximum(floor + (colour - floor) / peak, 0))


def _light_slope(
    x: NDArray[np.float64], y: NDArray[np.float64], brightness: NDArray[np.float64], shape: tuple[int, int]
) -> tuple[float, float]:
    """Plane through the log brightness of the grains, by Tukey's biweight; flat if there are few."""
    if len(x) < 200:
        return 0.0, 0.0
    basis = np.stack([np.ones_like(x), x / shape[1], y / shape[0]], axis=-1)
    weight = np.ones(len(x))
    solution = np.zeros(3)
    for _ in range(6):
        # The small ridge keeps grains in a single heap from being read as a steep slope.
        normal = basis.T @ (basis * weight[:, None]) + np.diag([0, 0.01, 0.01]) * weight.sum()
        solution = np.linalg.solve(normal, basis.T @ (weight * brightness))
        off = brightness - basis @ solution
        spread = 1.4826 * np.median(np.abs(off)) + 1e-4
        weight = np.clip(1 - (off / (4.685 * spread)) ** 2, 0, None) ** 2
    return float(solution[1] / shape[1]), float(solution[2] / shape[0])
