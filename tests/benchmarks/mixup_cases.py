"""Every mix-up that is tried: how it is made of a right run, and what must be said of it."""

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from tests.benchmarks.mixup_kit import Kit, Run, mixed, to_linear, to_pixels
else:  # run as a script, this folder is where Python looks first
    from mixup_kit import Kit, Run, mixed, to_linear, to_pixels

Floats = NDArray[np.float64]
DEBRIS = Path(__file__).resolve().parents[2] / "calibration" / "debris"


@dataclass(frozen=True, slots=True)
class Case:
    """A mix-up; ``make`` gives None where the set does not allow it. ``said`` is met by words that fit."""

    name: str
    make: Callable[[Kit], Run | None]
    said: str


def _last(kit: Kit) -> str:
    return list(kit.run.shots)[-1]


def _swap(kit: Kit, one: str, other: str) -> Run | None:
    shots = dict(kit.run.shots)
    if one not in shots or other not in shots:
        return None
    shots[one], shots[other] = shots[other], shots[one]
    return replace(kit.run, shots=shots)


def _copy(kit: Kit, source: str, target: str) -> Run | None:
    return kit.with_file(target, kit.run.shots[source]) if source in kit.run.shots else None


def _resaved(kit: Kit, source: str, target: str, quality: int, share: float = 1.0) -> Run | None:
    if source not in kit.run.shots:
        return None
    pixels = kit.pixels(source)
    if share != 1:
        pixels = np.asarray(cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.uint8)
    return kit.with_file(target, kit.save(pixels, like=source, quality=quality))


def _strip(kit: Kit, share: float) -> Callable[[Floats], NDArray[np.bool_]]:
    """Whether grains lie in that share of the patch, from the right."""
    width, _ = kit.outer
    return lambda g: g[:, 0] > (1 - share) * width


def _debris_on_blank(kit: Kit, share: float) -> Run | None:
    if "blank" not in kit.run.shots:
        return None
    grains = kit.grains(0)
    return kit.with_shot("blank", kit.stamped("blank", "before", grains[_strip(kit, share)(grains)]))


def _another_run(kit: Kit) -> Run | None:
    """Leftovers of *after*, turned by 180 degrees about the patch's middle, on the bare floor of this run."""
    left = kit.grains(1)
    if "blank" not in kit.run.shots or len(left) < 20 or "after2" in kit.run.shots:
        return None
    width, height = kit.outer

    def turned(xy: Floats) -> Floats:
        return np.array([width, height]) - xy

    there = left.copy()
    there[:, :2] = turned(left[:, :2])
    bare = kit.laid_on("blank", "after")
    after = mixed(kit.pixels("after"), bare, np.asarray(kit.discs("after", left, 1.8), np.float32))
    stamp = kit.laid_on("after", "after", turned)
    return kit.with_shot("after", mixed(after, stamp, kit.discs("after", there)))


def _kind_files(kit: Kit) -> dict[str, Path]:
    return {file.stem: file for file in sorted(kit.scene.debris[0].parent.glob("*.toml"))}


def _colour_of(file: Path) -> Floats:
    text = tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["color"]
    return np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)], float)


def _wrong_file(kit: Kit, *, near: bool) -> Run | None:
    """The file of another kind: of the colour least like, or of the colour most alike."""
    if len(kit.scene.debris) != 1:
        return None
    own = kit.scene.debris[0]
    others = [file for name, file in _kind_files(kit).items() if file != own]
    chosen = sorted(others, key=lambda f: float(np.linalg.norm(_colour_of(f) - _colour_of(own))))[0 if near else -1]
    return replace(kit.run, debris=(chosen,))


def _sized(kit: Kit, factor: float) -> Run:
    files = []
    for file in kit.scene.debris:
        size = tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["size_mm"]
        wrong = f"size_mm = [{size[0] * factor:.3f}, {size[1] * factor:.3f}]"
        text = re.sub(r"size_mm = \[.*\]", wrong, file.read_text(encoding="utf-8"))
        files.append(kit.new_file(file.name, text))
    return replace(kit.run, debris=tuple(files))


def _one_kind_too_many(kit: Kit) -> Run:
    others = {name: file for name, file in _kind_files(kit).items() if file not in kit.scene.debris}
    own = _colour_of(kit.scene.debris[0])
    chosen = sorted(others.values(), key=lambda f: float(np.linalg.norm(_colour_of(f) - own)))[len(others) // 2]
    return replace(kit.run, debris=(*kit.scene.debris, chosen))


def _one_kind_too_few(kit: Kit, index: int) -> Run | None:
    if len(kit.scene.debris) < 2:
        return None
    return replace(kit.run, debris=(kit.scene.debris[index],))


def _times(kit: Kit, before: str, after: str) -> Run:
    """Camera times written into *before* and the last shot."""
    run = kit.with_file("before", kit.save(kit.pixels("before"), like="before", x9003=before))
    return replace(run, shots={**run.shots, _last(kit): kit.save(kit.pixels(_last(kit)), like=_last(kit), x9003=after)})


def _foreign_lens(kit: Kit) -> Run:
    height, width = kit.photo("before").pixels.shape[:2]
    text = (
        f'[lens]\nname = "another camera"\nsize_px = [{width}, {height}]\nfocal_px = [{0.9 * width:.1f}, '
        f"{0.9 * width:.1f}]\ncenter_px = [{0.52 * width:.1f}, {0.47 * height:.1f}]\nk1 = -0.12\nk2 = 0.02\n"
    )
    return replace(kit.run, lens=kit.new_file("lens.toml", text))


def _patch(kit: Kit, pattern: str, wrong: Callable[[re.Match[str]], str]) -> Run:
    text = re.sub(pattern, wrong, kit.scene.patch.read_text(encoding="utf-8"))
    return replace(kit.run, patch=kit.new_file("patch.toml", text))


def _times_number(factor: float) -> Callable[[re.Match[str]], str]:
    return lambda m: f"{m[1]}{float(m[2]) * factor:.2f}"


def _places(factor_x: float, factor_y: float) -> Callable[[re.Match[str]], str]:
    return lambda m: f"center_mm = [{float(m[1]) * factor_x:.2f}, {float(m[2]) * factor_y:.2f}]"


def _one_place(kit: Kit, off_mm: float) -> Run:
    first = re.search(r"center_mm = \[([-\d.]+), ([-\d.]+)\]", kit.scene.patch.read_text(encoding="utf-8"))
    assert first is not None
    text = kit.scene.patch.read_text(encoding="utf-8")
    moved = f"center_mm = [{float(first[1]) + off_mm:.2f}, {float(first[2]):.2f}]"
    return replace(kit.run, patch=kit.new_file("patch.toml", text.replace(first[0], moved, 1)))


def _second_sheet(kit: Kit) -> Run | None:
    """Over the second marker of *after* lies another print of the first one."""
    one, other, *_ = kit.patch.markers
    shot, step = _last(kit), np.array(one.center_mm) - np.array(other.center_mm)
    x0, y0 = other.center_mm
    half = 0.66 * other.side_mm
    alpha = kit.alpha(shot, lambda x, y: (abs(x - x0) < half) & (abs(y - y0) < half))
    return kit.with_shot(shot, mixed(kit.pixels(shot), kit.laid_on(shot, shot, lambda xy: xy + step), alpha))


def _marker_turned(kit: Kit, *, mirrored: bool) -> Run:
    """The first marker of every later shot lies a quarter turn round, or with its back up."""
    shot, marker = _last(kit), kit.patch.markers[0]
    centre, half = np.array(marker.center_mm), 0.66 * marker.side_mm
    move = np.array([[-1.0, 0.0], [0.0, 1.0]]) if mirrored else np.array([[0.0, -1.0], [1.0, 0.0]])
    alpha = kit.alpha(shot, lambda x, y: (abs(x - centre[0]) < half) & (abs(y - centre[1]) < half))
    laid = kit.laid_on(shot, shot, lambda xy: (xy - centre) @ move.T + centre)
    return kit.with_shot(shot, mixed(kit.pixels(shot), laid, alpha))


def _over_rim(kit: Kit) -> Run:
    """Something dark over the white rim of the first marker and a little of its black, in the last shot."""
    x0, y0 = kit.patch.markers[0].center_mm
    side = kit.patch.markers[0].side_mm
    return kit.painted(
        _last(kit), lambda x, y: (x - x0 > 0.47 * side) & (x - x0 < side) & (abs(y - y0) < 0.4 * side), (40, 38, 36)
    )


def _hand(kit: Kit, shot: str) -> Run | None:
    if shot not in kit.run.shots:
        return None
    width, height = kit.outer
    x0, y0 = 0.7 * width, 0.8 * height
    return kit.painted(
        shot,
        lambda x, y: (((x - x0) / 45) ** 2 + ((y - y0) / 60) ** 2 < 1) | ((abs(x - x0) < 30) & (y > y0)),
        (205, 150, 125),
    )


def _machine(kit: Kit, shot: str) -> Run:
    width, height = kit.outer
    return kit.painted(shot, lambda x, y: np.hypot(x - width, y - 0.5 * height) < 0.35 * height, (52, 53, 55))


def _cable(kit: Kit, shot: str, *, own_colour: bool) -> Run:
    width, height = kit.outer
    colour = tuple(int(v) for v in _colour_of(kit.scene.debris[0])) if own_colour else (45, 45, 47)
    return kit.painted(shot, lambda x, y: abs(y - 0.4 * height - 0.15 * height * np.sin(5 * x / width)) < 3.0, colour)


def _stain(kit: Kit, factor: float) -> Run:
    """A wet spot of irregular outline, left by the pass."""
    width, height = kit.outer

    def inside(x: Floats, y: Floats) -> NDArray[np.bool_]:
        angle = np.arctan2(y - 0.5 * height, x - 0.45 * width)
        return np.asarray(
            np.hypot(x - 0.45 * width, y - 0.5 * height) < 0.2 * height * (1 + 0.2 * np.sin(3 * angle + 1))
        )

    return kit.shaded(_last(kit), inside, factor, 3.0)


def _smudge(kit: Kit) -> Run:
    """A stain of the debris' own hue: what a crushed pile leaves."""
    width, height = kit.outer
    shot = _last(kit)
    alpha = 0.45 * cv2.GaussianBlur(
        kit.alpha(shot, lambda x, y: ((x - 0.4 * width) / 50) ** 2 + ((y - 0.6 * height) / 25) ** 2 < 1), (0, 0), 4
    )
    own = np.empty_like(kit.pixels(shot))
    own[:] = _colour_of(kit.scene.debris[0])
    return kit.with_shot(shot, mixed(kit.pixels(shot), own, np.asarray(alpha, np.float32)))


def _rug(kit: Kit) -> Run:
    """The edge of a rug that reaches into the patch in the last shot only."""
    width, height = kit.outer
    return kit.painted(
        _last(kit), lambda x, y: (x > width - 15 + 10 * (y / height)) & (x < width + 25) & (y > 0), (120, 60, 62)
    )


def _half_shadow(kit: Kit) -> Run:
    width, _ = kit.outer
    return kit.shaded(_last(kit), lambda x, y: x + 0.3 * y > 0.6 * width, 0.45, 2.0)


def _changed(kit: Kit, how: Callable[[NDArray[np.uint8]], NDArray[np.uint8]]) -> Run:
    return kit.with_shot(_last(kit), how(kit.pixels(_last(kit))))


def _vivid(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    colour = pixels.astype(np.float32)
    grey = colour.mean(axis=-1, keepdims=True)
    vivid = grey + 1.6 * (colour - grey)
    return np.asarray(np.clip(128 + 1.15 * (vivid - 128), 0, 255), np.uint8)


def _contrast(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    level = np.arange(256) / 255
    curve = 1 / (1 + np.exp(-7 * (level - 0.5)))
    curve = (curve - curve[0]) / (curve[-1] - curve[0])
    return np.asarray(np.round(255 * curve).astype(np.uint8)[pixels])


def _tone_mapped(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)
    lab[..., 0] = cv2.createCLAHE(4.0, (8, 8)).apply(lab[..., 0])
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_LAB2RGB), np.uint8)


def _noisy(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    noise = np.random.default_rng(3).normal(0, 18, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def _shaken(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    length = max(round(pixels.shape[1] / 360), 3)
    light = to_linear(pixels)
    return to_pixels(cv2.blur(light, (length, 1)))


def _moire(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    y, x = np.mgrid[0 : pixels.shape[0], 0 : pixels.shape[1]]
    wave = np.stack([np.sin(2 * np.pi * (x / 11 + y / 17) + phase) for phase in (0, 2.1, 4.2)], axis=-1)
    return np.clip(pixels * (1 + 0.07 * wave), 0, 255).astype(np.uint8)


def _burnt(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return to_pixels(3.5 * to_linear(pixels))


def _grey(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=-1)


def _smaller(kit: Kit, share: float) -> Run | None:
    return _resaved(kit, _last(kit), _last(kit), 92, share)


def _damaged(kit: Kit) -> Run:
    content = kit.run.shots[_last(kit)].read_bytes()
    to = kit.folder / "damaged.jpg"
    to.write_bytes(content[: len(content) // 2])
    return kit.with_file(_last(kit), to)


BLANK = r"debris-on-blank|exchanged|same (photo|picture)"
SAME = r"same photo|same picture"
FOREIGN = r"foreign-thing|solid-thing|shadow, foot"
TONE = r"tone|colour|contrast|light|exposure|edges"
CASES = (
    Case("right", lambda kit: kit.run, r"$^"),
    Case("blank: debris on a tenth", lambda kit: _debris_on_blank(kit, 0.1), BLANK),
    Case("blank: debris on a half", lambda kit: _debris_on_blank(kit, 0.5), BLANK),
    Case("blank is after", lambda kit: _copy(kit, _last(kit), "blank"), SAME),
    Case("blank is after, saved again", lambda kit: _resaved(kit, _last(kit), "blank", 80), SAME),
    Case("blank is before", lambda kit: _copy(kit, "before", "blank"), SAME),
    Case("blank is before, saved again", lambda kit: _resaved(kit, "before", "blank", 75), SAME),
    Case("blank and before exchanged", lambda kit: _swap(kit, "blank", "before"), BLANK),
    Case("blank and after exchanged", lambda kit: _swap(kit, "blank", _last(kit)), BLANK),
    Case("before and after exchanged", lambda kit: _swap(kit, "before", _last(kit)), "exchanged"),
    Case("after is before, saved again", lambda kit: _resaved(kit, "before", _last(kit), 85), SAME),
    Case("the same smaller", lambda kit: _resaved(kit, "before", _last(kit), 85, 0.6), SAME),
    Case("after twice", lambda kit: kit.with_file("after2", kit.run.shots["after"]), SAME),
    Case("passes in the wrong order", lambda kit: _swap(kit, "after", "after2"), "order|exchanged"),
    Case("camera times backwards", lambda kit: _times(kit, "2026:05:02 11:00:00", "2026:05:02 10:00:00"), "taken"),
    Case("camera times forwards", lambda kit: _times(kit, "2026:05:02 10:00:00", "2026:05:02 11:00:00"), r"$^"),
    Case("after of another run", _another_run, "another run"),
    Case("debris file of another colour", lambda kit: _wrong_file(kit, near=False), "no file|no .* was found|debris file"),
    Case("debris file of a like colour", lambda kit: _wrong_file(kit, near=True), "no file|size|larger|smaller"),
    Case("sizes three times too large", lambda kit: _sized(kit, 3), "size|larger|smaller"),
    Case("sizes three times too small", lambda kit: _sized(kit, 1 / 3), "size|larger|smaller"),
    Case("a kind that is not there", _one_kind_too_many, "no .* was found|not there|hardly"),
    Case("a kind without a file", lambda kit: _one_kind_too_few(kit, 0), "unnamed-debris"),
    Case("the other kind without a file", lambda kit: _one_kind_too_few(kit, 1), "unnamed-debris"),
    Case("lens of another camera", _foreign_lens, "^lens"),
    Case("patch: squares 3 % too large", lambda kit: _patch(kit, r"(side_mm = )([\d.]+)", _times_number(1.03)), "marker|square"),
    Case("patch: squares 5 % too small", lambda kit: _patch(kit, r"(side_mm = )([\d.]+)", _times_number(0.95)), "marker|square"),
    Case("patch: places 3 % too wide", lambda kit: _patch(kit, r"center_mm = \[([-\d.]+), ([-\d.]+)\]", _places(1.03, 1)), "marker"),
    Case("patch: 4 % too wide", lambda kit: _patch(kit, r"(width_mm = )([\d.]+)", _times_number(1.04)), "patch|marker"),
    Case("patch: one marker off by 8 mm", lambda kit: _one_place(kit, 8.0), "marker"),
    Case("patch: one marker off by 2.5 mm", lambda kit: _one_place(kit, 2.5), "marker"),
    Case("two sheets with one number", _second_sheet, "marker"),
    Case("a marker turned", lambda kit: _marker_turned(kit, mirrored=False), "marker"),
    Case("a marker mirrored", lambda kit: _marker_turned(kit, mirrored=True), "marker"),
    Case("something over a marker's rim", _over_rim, "marker"),
    Case("a hand in before", lambda kit: _hand(kit, "before"), FOREIGN),
    Case("a hand in after", lambda kit: _hand(kit, _last(kit)), FOREIGN),
    Case("a hand in the blank", lambda kit: _hand(kit, "blank"), FOREIGN),
    Case("the machine in after", lambda kit: _machine(kit, _last(kit)), FOREIGN),
    Case("a cable in before", lambda kit: _cable(kit, "before", own_colour=False), FOREIGN),
    Case("a cable of the debris' colour", lambda kit: _cable(kit, _last(kit), own_colour=True), FOREIGN),
    Case("a wet spot", lambda kit: _stain(kit, 0.7), FOREIGN),
    Case("a smudge of the debris' hue", _smudge, FOREIGN),
    Case("a rug's edge", _rug, FOREIGN),
    Case("half in shadow", _half_shadow, FOREIGN),
    Case("after from a smaller camera", lambda kit: _smaller(kit, 0.6), "sharp|pixel|larger|edge"),
    Case("after upside down", lambda kit: _changed(kit, lambda p: np.ascontiguousarray(np.rot90(p, 2))), r"$^"),
    Case("after mirrored", lambda kit: _changed(kit, lambda p: np.ascontiguousarray(p[:, ::-1])), "mirrored"),
    Case("after in black and white", lambda kit: _changed(kit, _grey), "no colour"),
    Case("after vivid", lambda kit: _changed(kit, _vivid), TONE),
    Case("after of harder contrast", lambda kit: _changed(kit, _contrast), TONE),
    Case("after tone-mapped", lambda kit: _changed(kit, _tone_mapped), TONE),
    Case("after noisy", lambda kit: _changed(kit, _noisy), "nois"),
    Case("after shaken", lambda kit: _changed(kit, _shaken), "sharp|edge"),
    Case("after with moiré", lambda kit: _changed(kit, _moire), "pattern|nois|tone|colour"),
    Case("after burnt out", lambda kit: _changed(kit, _burnt), "burnt"),
    Case("after damaged", _damaged, "cut off|damaged|truncated"),
)  # fmt: skip
