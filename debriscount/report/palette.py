"""Colours of outlines and borders, told apart on any floor and by colour-blind eyes too."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..photo.colour import linear_to_srgb, srgb_to_linear

#: Okabe & Ito's palette [1]_ without its black, which the zone borders use.
#:
#: .. [1] M. Okabe, K. Ito, "Color Universal Design", 2008, figure 16.
OKABE_ITO = (
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
)
DARK = (16, 16, 16)
LIGHT = (255, 255, 255)

#: How eyes without one kind of cone see linear sRGB, severity 1.0 [1]_.
#:
#: .. [1] G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation of
#:    color vision deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, table 1.
COLOR_BLIND = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
}

Color = tuple[int, int, int]


def seen_by(colors: NDArray[np.floating] | Sequence[Color], eyes: str) -> Floats:
    """Return sRGB colours as eyes of a kind see them.

    Parameters
    ----------
    colors : array_like of shape (N, 3)
        sRGB, 0 to 255.
    eyes : str
        "protanopia" or "deuteranopia".

    Returns
    -------
    ndarray of shape (N, 3)
        sRGB, 0 to 255, cut to the range of the screen.
    """
    linear = srgb_to_linear(np.asarray(colors, float) / 255)
    return 255 * linear_to_srgb(linear @ np.array(COLOR_BLIND[eyes]).T)


def lab(colors: NDArray[np.floating] | Sequence[Color]) -> Floats:
    """Return CIELAB (D65) of sRGB colours 0 to 255, shape (N, 3)."""
    pixels = (np.asarray(colors, float).reshape(1, -1, 3) / 255).astype(np.float32)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2Lab)[0], float)


def distances(colors: NDArray[np.floating] | Sequence[Color], others: NDArray[np.floating] | Sequence[Color]) -> Floats:
    """CIELAB distance of each colour from each other one, the least that any kind of eye sees.

    Parameters
    ----------
    colors : array_like of shape (N, 3)
        sRGB, 0 to 255.
    others : array_like of shape (M, 3)
        sRGB, 0 to 255.

    Returns
    -------
    ndarray of shape (N, M)
        CIE 1976 colour differences.
    """
    a, b = np.asarray(colors, float).reshape(-1, 3), np.asarray(others, float).reshape(-1, 3)
    views = [(a, b), *((seen_by(a, eyes), seen_by(b, eyes)) for eyes in COLOR_BLIND)]
    apart = [np.linalg.norm(lab(va)[:, None] - lab(vb)[None], axis=2) for va, vb in views]
    return np.asarray(np.min(apart, axis=0))


def outline_colors(floor: Sequence[Color] | NDArray[np.floating], kinds: Sequence[Color]) -> list[Color]:
    """Choose an outline colour per kind of debris.

    Parameters
    ----------
    floor : array_like of shape (M, 3)
        Colours that the floor shows, sRGB.
    kinds : sequence of colours
        Colours of the debris kinds, sRGB.

    Returns
    -------
    list of colours
        From ``OKABE_ITO``: each as far as may be from the floor, from its own debris and from the
        outlines chosen before it. Colours repeat once there are more kinds than colours.
    """
    free: list[Color] = []
    chosen: list[Color] = []
    for kind in kinds:
        free = free or list(OKABE_ITO)
        against = np.concatenate([np.asarray(c, float).reshape(-1, 3) for c in (floor, [kind], chosen)])
        best = free[int(distances(free, against).min(axis=1).argmax())]
        free.remove(best)
        chosen.append(best)
    return chosen


def as_color(rgb: Floats) -> Color:
    """Return the nearest colour of whole numbers."""
    r, g, b = np.rint(rgb).astype(int).tolist()
    return r, g, b


def hex_color(color: Color) -> str:
    """Return a colour as matplotlib and records take it."""
    return "#{:02x}{:02x}{:02x}".format(*color)


def contrasting(color: Color | NDArray[np.floating]) -> tuple[Color, Color]:
    """``DARK`` and ``LIGHT``, the one that stands out more from the colour first."""
    dark, light = distances(np.asarray(color, float), [DARK, LIGHT])[0].tolist()
    return (DARK, LIGHT) if dark >= light else (LIGHT, DARK)


def floor_colors(floor_view: NDArray[np.uint8], kind_map: NDArray[np.uint8]) -> Floats:
    """Return the floor's colours, shape (3, 3), sRGB: mean of its darkest, middle and lightest third.

    Parameters
    ----------
    floor_view : ndarray of uint8, shape (H, W, 3)
        sRGB.
    kind_map : ndarray of uint8, shape (H, W)
        0 on floor. Where debris covers everything, the whole picture counts as floor.

    Returns
    -------
    ndarray of shape (3, 3)
    """
    step = max(1, int(np.sqrt(kind_map.size / 40_000)))
    pixels, debris = floor_view[::step, ::step], kind_map[::step, ::step] > 0
    floor = pixels.reshape(-1, 3) if (~debris).sum() < 3 else pixels[~debris]
    by_light = floor[np.argsort(floor.sum(axis=1, dtype=int), kind="stable")].astype(float)
    return np.array([third.mean(axis=0) for third in np.array_split(by_light, 3)])
