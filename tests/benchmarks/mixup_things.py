"""What gets in the way of a shot, and what a camera makes of it: hands, stains, shadows, other tones."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

if TYPE_CHECKING:
    from tests.benchmarks.mixup_kit import Kit, Run, mixed, to_linear, to_pixels
else:  # run as a script, this folder is where Python looks first
    from mixup_kit import Kit, Run, mixed, to_linear, to_pixels

Floats = NDArray[np.float64]


def colour_of(file: Path) -> Floats:
    text = tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["color"]
    return np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)], float)


def over_rim(kit: Kit) -> Run:
    """Something dark over the white rim of the first marker and a little of its black, in the last shot."""
    x0, y0 = kit.patch.markers[0].center_mm
    side = kit.patch.markers[0].side_mm
    return kit.painted(
        kit.last, lambda x, y: (x - x0 > 0.47 * side) & (x - x0 < side) & (abs(y - y0) < 0.4 * side), (40, 38, 36)
    )


def hand(kit: Kit, shot: str) -> Run | None:
    if shot not in kit.run.shots:
        return None
    width, height = kit.outer
    x0, y0 = 0.7 * width, 0.8 * height
    return kit.painted(
        shot,
        lambda x, y: (((x - x0) / 45) ** 2 + ((y - y0) / 60) ** 2 < 1) | ((abs(x - x0) < 30) & (y > y0)),
        (205, 150, 125),
    )


def machine(kit: Kit, shot: str) -> Run:
    width, height = kit.outer
    return kit.painted(shot, lambda x, y: np.hypot(x - width, y - 0.5 * height) < 0.35 * height, (52, 53, 55))


def cable(kit: Kit, shot: str, *, own_colour: bool) -> Run:
    width, height = kit.outer
    colour = tuple(int(v) for v in colour_of(kit.scene.debris[0])) if own_colour else (45, 45, 47)
    return kit.painted(shot, lambda x, y: abs(y - 0.4 * height - 0.15 * height * np.sin(5 * x / width)) < 3.0, colour)


def stain(kit: Kit, factor: float) -> Run:
    """A wet spot of irregular outline, left by the pass."""
    width, height = kit.outer

    def inside(x: Floats, y: Floats) -> NDArray[np.bool_]:
        angle = np.arctan2(y - 0.5 * height, x - 0.45 * width)
        return np.asarray(
            np.hypot(x - 0.45 * width, y - 0.5 * height) < 0.2 * height * (1 + 0.2 * np.sin(3 * angle + 1))
        )

    return kit.shaded(kit.last, inside, factor, 3.0)


def smudge(kit: Kit) -> Run:
    """A stain of the debris' own hue: what a crushed pile leaves."""
    width, height = kit.outer
    shot = kit.last
    alpha = 0.45 * cv2.GaussianBlur(
        kit.alpha(shot, lambda x, y: ((x - 0.4 * width) / 50) ** 2 + ((y - 0.6 * height) / 25) ** 2 < 1), (0, 0), 4
    )
    own = np.empty_like(kit.pixels(shot))
    own[:] = colour_of(kit.scene.debris[0])
    return kit.with_shot(shot, mixed(kit.pixels(shot), own, np.asarray(alpha, np.float32)))


def lid(kit: Kit) -> Run:
    """A round lid of the debris' own colour, 80 mm across, in the last shot."""
    width, height = kit.outer
    colour = tuple(int(v) for v in colour_of(kit.scene.debris[0]))
    return kit.painted(kit.last, lambda x, y: np.hypot(x - 0.6 * width, y - 0.55 * height) < 40, colour)


def shoe(kit: Kit) -> Run:
    """A brown shoe that reaches into the patch, with its soft shadow, in the last shot."""
    width, height = kit.outer

    def inside(x: Floats, y: Floats, more: float = 0.0) -> NDArray[np.bool_]:
        across = ((x - 0.3 * width) / (48 + more)) ** 2
        return np.asarray(across + ((y - height) / (150 + more)) ** 2 < 1)

    shoe = kit.painted(kit.last, inside, (88, 62, 44))
    shadow = cv2.GaussianBlur(kit.alpha(kit.last, lambda x, y: inside(x, y, 20.0)), (0, 0), 9.0)
    alpha = np.asarray((1 - kit.alpha(kit.last, inside)) * shadow, np.float32)
    pixels = np.asarray(Image.open(shoe.shots[kit.last]))
    return kit.with_shot(kit.last, to_pixels(to_linear(pixels) * (1 - 0.5 * alpha)[..., None]))


def lanes_wet(kit: Kit) -> Run:
    """The machine's lanes left wet: darker bands with soft edges in the last shot."""
    _, height = kit.outer
    return kit.shaded(kit.last, lambda x, y: (y % 100 < 60) & (y > 0) & (y < height), 0.8, 4.0)


def glare(kit: Kit) -> Run:
    """A window's reflection on a fifth of the patch in the last shot."""
    width, height = kit.outer
    shot = kit.last
    alpha = cv2.GaussianBlur(
        kit.alpha(shot, lambda x, y: (abs(x - 0.5 * width) < 0.2 * width) & (abs(y - 0.5 * height) < 0.25 * height)),
        (0, 0),
        25,
    )
    return kit.with_shot(shot, to_pixels(to_linear(kit.pixels(shot)) + 0.35 * alpha[..., None]))


def rug(kit: Kit) -> Run:
    """The edge of a rug that reaches into the patch in the last shot only."""
    width, height = kit.outer
    return kit.painted(
        kit.last, lambda x, y: (x > width - 15 + 10 * (y / height)) & (x < width + 25) & (y > 0), (120, 60, 62)
    )


def half_shadow(kit: Kit) -> Run:
    width, _ = kit.outer
    return kit.shaded(kit.last, lambda x, y: x + 0.3 * y > 0.6 * width, 0.45, 2.0)


def changed(kit: Kit, how: Callable[[NDArray[np.uint8]], NDArray[np.uint8]]) -> Run:
    return kit.with_shot(kit.last, how(kit.pixels(kit.last)))


def vivid(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    colour = pixels.astype(np.float32)
    grey = colour.mean(axis=-1, keepdims=True)
    vivid = grey + 1.6 * (colour - grey)
    return np.asarray(np.clip(128 + 1.15 * (vivid - 128), 0, 255), np.uint8)


def contrast(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    level = np.arange(256) / 255
    curve = 1 / (1 + np.exp(-7 * (level - 0.5)))
    curve = (curve - curve[0]) / (curve[-1] - curve[0])
    return np.asarray(np.round(255 * curve).astype(np.uint8)[pixels])


def tone_mapped(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)
    lab[..., 0] = cv2.createCLAHE(4.0, (8, 8)).apply(lab[..., 0])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), np.uint8)


def noisy(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    noise = np.random.default_rng(3).normal(0, 18, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def shaken(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    length = max(round(pixels.shape[1] / 360), 3)
    light = to_linear(pixels)
    return to_pixels(cv2.blur(light, (length, 1)))


def moire(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    y, x = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]]
    wave = np.stack([np.sin(2 * np.pi * (x / 11 + y / 17) + phase) for phase in (0, 2.1, 4.2)], axis=-1)
    return np.clip(pixels * (1 + 0.07 * wave), 0, 255).astype(np.uint8)


def burnt(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return to_pixels(3.5 * to_linear(pixels))


def grey(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=-1)
