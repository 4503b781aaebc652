"""Whether the shots of a run were taken and processed alike: tone by the markers, noise and moiré by the bare floor."""

import warnings
from collections.abc import Mapping
from itertools import combinations, product

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..cover.floor import brightness
from ..cover.light import FAINTEST
from ..cover.membership import STRAY
from ..flags import Flag
from ..markers.find_markers import SeenMarker
from ..markers.white import RING, ring_colour
from ..stats.robust import robust_sd

#: Rings of the black border and of the floor around a marker, as factors of the square's side: well inside the border,
#: which is a sixth of the side wide, and beyond what paper is left around it.
INK_RING, FLOOR_RING = (0.76, 0.92), (2.05, 2.6)
#: Change of the floor's and the ink's light against the paper's, natural logarithm, up to which shots are alike. A
#: camera that only exposes and balances keeps these; in 30 rendered runs, half of them through a phone's pipeline, they
#: changed by 0.17 at most. Vivid colours, harder contrast and local tone mapping changed them by 0.4 to 1.8.
OTHER_TONE = 0.35
#: Linear light from which paper is taken to be burnt out and says nothing.
BURNT_PAPER = 0.9
#: Factor by which one shot may be noisier than another: 1.5 at most in the same runs.
OTHER_NOISE = 2.0
#: Side of the squares of floor that moiré is looked for in, px, how much of one must be bare, and the periods looked
#: for, px: what is finer is not seen, what is coarser is light.
SQUARE, MOSTLY = 256, 0.5
#: Most such squares: of so many the worst quarter is six.
MOST_SQUARES = 24
PERIODS = 2.2, 32.0
#: Amplitude of a wave in the logarithm of a colour's ratios from which it is moiré: rendered runs had 0.015 at most,
#: and moiré that moved a pickup by a point 0.16.
MOIRE = 0.05


def marker_tones(pixels: NDArray[np.uint8], markers: Mapping[int, SeenMarker]) -> dict[int, Floats]:
    """How dark floor and ink are at each marker against its paper.

    Returns
    -------
    dict of int to ndarray of shape (3, 3)
        Logarithms of floor over paper, ink over paper and floor over ink, by row; red, green, blue. The first two are
        NaN where the paper is burnt out. Markers whose rings are not seen are missing.
    """
    tones = {}
    for number, marker in markers.items():
        rings = [ring_colour(pixels, marker.corners_px, *ring) for ring in (RING, FLOOR_RING, INK_RING)]
        if all(colour is not None for colour in rings):
            paper, floor, ink = np.log(np.maximum(np.array(rings, float), FAINTEST))
            known = np.where(np.exp(paper).max() < BURNT_PAPER, paper, np.nan)
            tones[number] = np.stack([floor - known, ink - known, floor - ink])
    return tones


def tone_flags(tones: Mapping[str, Mapping[int, Floats]]) -> list[Flag]:
    """A flag for the shot whose tones differ from those of the others; ``tones`` as `marker_tones`, by shot."""
    off = {name: _departure(name, tones) for name in tones}
    worst = max(reversed(off), key=lambda name: off[name], default="")  # of two shots the later one
    if not worst or off[worst] <= OTHER_TONE:
        return []
    return [
        Flag(
            code="other-tone",
            severity="doubtful",
            sentence=f"{worst} shows floor and markers in other tones than the other shots, by a factor of "
            f"{np.exp(off[worst]):.1f}: contrast or colours were changed. Take all shots with the same settings, and "
            "without filters or automatic enhancement",
            shot=worst,
        )
    ]


def _departure(name: str, tones: Mapping[str, Mapping[int, Floats]]) -> float:
    """How far a shot's tones are from the median of the others', median over the markers, in the worst of the tones."""
    offs = []
    for number, own in tones[name].items():
        others = [those[number] for other, those in tones.items() if other != name and number in those]
        if others:
            offs.append(own - _median(np.stack(others)))
    if not offs:
        return 0.0
    off = _median(np.stack(offs))
    return float(np.abs(off[~np.isnan(off)]).max(initial=0.0))


def _median(tones: Floats) -> Floats:
    """Median over the first axis of those that are known; NaN where none is."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmedian(tones, axis=0))


def floor_noise(view: NDArray[np.float32], bare: Mask) -> float:
    """Noise of a floor view on bare floor, with the finest of the floor's pattern: robust standard deviation.

    ``view`` of shape (H, W, 3) is linear light matched to the other shots', ``bare`` has shape (H, W). Square roots of
    light are compared, whose noise hardly depends on brightness (Anscombe 1948).
    """
    level = np.sqrt(np.maximum(brightness(view), 0))
    fine = np.asarray(cv2.subtract(level, cv2.blur(level, (3, 3))), np.float32)[bare]
    return robust_sd(fine, 0.0) if len(fine) else 0.0


def moire_amplitude(view: NDArray[np.float32], other: NDArray[np.float32], bare: Mask) -> float:
    """How strong a regular pattern of colour is that one floor view shows and the other does not.

    Views of shape (H, W, 3) are linear light matched to one another, ``bare`` has shape (H, W). The amplitude is that
    of the strongest wave in the logarithms of red and blue over green: where a sensor's grid meets a fine pattern there
    are waves of colour, while the floor's own pattern cancels. It is that of the worst quarter of the floor's squares.
    """
    return _pair_amplitudes({"view": view, "other": other}, bare)["view", "other"]


def _pair_amplitudes(views: Mapping[str, NDArray[np.float32]], bare: Mask) -> dict[tuple[str, str], float]:
    """What `moire_amplitude` gives for every two of the views, in their order."""
    window = np.outer(np.hanning(SQUARE), np.hanning(SQUARE)).astype(np.float32)
    frequency = np.hypot(np.fft.fftfreq(SQUARE)[:, None], np.fft.rfftfreq(SQUARE)[None])
    looked_for = (frequency < 1 / PERIODS[0]) & (frequency > 1 / PERIODS[1])
    amplitudes: dict[tuple[str, str], list[float]] = {pair: [] for pair in combinations(views, 2)}
    corners = product(*(range(0, size - SQUARE + 1, SQUARE) for size in bare.shape))
    squares = [np.s_[top : top + SQUARE, left : left + SQUARE] for top, left in corners]
    squares = [square for square in squares if bare[square].mean() >= MOSTLY]
    for square in squares[:: max(1, -(-len(squares) // MOST_SQUARES))]:
        known = bare[square]
        weight = window * known
        # The difference of two views has the difference of their waves: a transform a view, however many pairs.
        waves = {name: _waves(_colour_ratios(view[square]), known, weight)[looked_for] for name, view in views.items()}
        for (one, other), found in amplitudes.items():
            found.append(2 * float(np.abs(waves[one] - waves[other]).max()) / float(weight.sum()))
    return {pair: float(np.percentile(found, 75)) if found else 0.0 for pair, found in amplitudes.items()}


def _waves(ratios: NDArray[np.float32], known: Mask, weight: NDArray[np.float32]) -> NDArray[np.complexfloating]:
    """Fourier transform of a square's ratios about their median where they are known, weighted."""
    return np.fft.rfft2(weight[..., None] * (ratios - np.median(ratios[known], axis=0)), axes=(0, 1))


def _colour_ratios(view: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithms of red and of blue over green, shape (H, W, 2)."""
    log = np.log(np.maximum(view, np.float32(FAINTEST)) + np.float32(STRAY))
    return np.asarray(log[..., [0, 2]] - log[..., 1:2])


def moire_flags(matched: Mapping[str, NDArray[np.float32]], bare: Mask) -> list[Flag]:
    """A flag for the shot with moiré that no other has, of two the later one; arguments as `moire_amplitude`."""
    names = list(matched)
    amplitudes = _pair_amplitudes(matched, bare)
    off = {name: min(a for pair, a in amplitudes.items() if name in pair) for name in names[len(names) == 2 :]}
    worst = max(reversed(off), key=lambda name: off[name], default="")
    if not worst or off[worst] <= MOIRE:
        return []
    return [
        Flag(
            code="moire",
            severity="doubtful",
            sentence=f"{worst} shows waves of colour (moiré) that the other shots do not show. Go a little closer or "
            "farther away and retake it",
            shot=worst,
        )
    ]


def noise_flags(noise: Mapping[str, float]) -> list[Flag]:
    """A flag for every shot that is much noisier than the quietest; ``noise`` by shot, as `floor_noise` gives it."""
    quiet = min((value for value in noise.values() if value > 0), default=0.0)
    return [
        Flag(
            code="other-noise",
            severity="doubtful",
            sentence=f"{name} is {value / quiet:.1f} times as noisy as another shot of the run. Use more light or a "
            "lower sensitivity, the same for all shots",
            shot=name,
        )
        for name, value in noise.items()
        if quiet > 0 and value > OTHER_NOISE * quiet
    ]
