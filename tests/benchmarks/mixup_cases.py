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
    from tests.benchmarks import mixup_things as things
    from tests.benchmarks.mixup_kit import Kit, Run, mixed
else:  # run as a script, this folder is where Python looks first
    import mixup_things as things
    from mixup_kit import Kit, Run, mixed

Floats = NDArray[np.float64]
DEBRIS = Path(__file__).resolve().parents[2] / "calibration" / "debris"


@dataclass(frozen=True, slots=True)
class Case:
    """A mix-up; ``make`` gives None where the set does not allow it. ``said`` is met by words that fit."""

    name: str
    make: Callable[[Kit], Run | None]
    said: str


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


def _wrong_file(kit: Kit, *, near: bool) -> Run | None:
    """The file of another kind: of the colour least like, or of the colour most alike."""
    if len(kit.scene.debris) != 1:
        return None
    own = kit.scene.debris[0]
    others = [file for name, file in _kind_files(kit).items() if file != own]
    chosen = sorted(others, key=lambda f: float(np.linalg.norm(things.colour_of(f) - things.colour_of(own))))[
        0 if near else -1
    ]
    return replace(kit.run, debris=(chosen,))


def _sized(kit: Kit, factor: float) -> Run:
    files = []
    for file in kit.scene.debris:
        size = tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["size_mm"]
        wrong = f"size_mm = [{size[0] * factor:.3f}, {size[1] * factor:.3f}]"
        text = re.sub(r"size_mm = \[.*\]", wrong, file.read_text(encoding="utf-8"))
        files.append(kit.new_file(file.name, text))
    return replace(kit.run, debris=tuple(files))


def _sizes_unlike(kit: Kit) -> Run:
    """Debris files whose sizes reach from a tenth to ten times the true ones."""
    files = []
    for file in kit.scene.debris:
        low, high = tomllib.loads(file.read_text(encoding="utf-8"))["debris"]["size_mm"]
        wide = f"size_mm = [{low / 10:.3f}, {high * 10:.3f}]"
        files.append(kit.new_file(file.name, re.sub(r"size_mm = \[.*\]", wide, file.read_text(encoding="utf-8"))))
    return replace(kit.run, debris=tuple(files))


def _six_kinds(kit: Kit) -> Run:
    """Files of six kinds, of which no more were strewn than the run's own."""
    others = [file for file in _kind_files(kit).values() if file not in kit.scene.debris]
    return replace(kit.run, debris=(*kit.scene.debris, *others)[:6])


def _one_kind_too_many(kit: Kit) -> Run:
    others = {name: file for name, file in _kind_files(kit).items() if file not in kit.scene.debris}
    own = things.colour_of(kit.scene.debris[0])
    chosen = sorted(others.values(), key=lambda f: float(np.linalg.norm(things.colour_of(f) - own)))[len(others) // 2]
    return replace(kit.run, debris=(*kit.scene.debris, chosen))


def _one_kind_too_few(kit: Kit, index: int) -> Run | None:
    if len(kit.scene.debris) < 2:
        return None
    return replace(kit.run, debris=(kit.scene.debris[index],))


def _times(kit: Kit, before: str, after: str) -> Run:
    """Camera times written into *before* and the last shot."""
    run = kit.with_file("before", kit.save(kit.pixels("before"), like="before", x9003=before))
    return replace(run, shots={**run.shots, kit.last: kit.save(kit.pixels(kit.last), like=kit.last, x9003=after)})


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


def _all_larger(kit: Kit, factor: float) -> Run:
    """Every length of the patch file too large, which nothing in the photos speaks against."""
    text = re.sub(
        r"(?m)^(width_mm|height_mm|side_mm|edge_mm|corner_mm|margin_mm)( = )([\d.]+)",
        lambda m: f"{m[1]}{m[2]}{float(m[3]) * factor:.2f}",
        kit.scene.patch.read_text(encoding="utf-8"),
    )
    text = re.sub(r"center_mm = \[([-\d.]+), ([-\d.]+)\]", _places(factor, factor), text)
    return replace(kit.run, patch=kit.new_file("patch.toml", text))


def _one_place(kit: Kit, off_mm: float) -> Run:
    first = re.search(r"center_mm = \[([-\d.]+), ([-\d.]+)\]", kit.scene.patch.read_text(encoding="utf-8"))
    assert first is not None
    text = kit.scene.patch.read_text(encoding="utf-8")
    moved = f"center_mm = [{float(first[1]) + off_mm:.2f}, {float(first[2]):.2f}]"
    return replace(kit.run, patch=kit.new_file("patch.toml", text.replace(first[0], moved, 1)))


def _second_sheet(kit: Kit) -> Run | None:
    """Over the second marker of *after* lies another print of the first one."""
    one, other, *_ = kit.patch.markers
    shot, step = kit.last, np.array(one.center_mm) - np.array(other.center_mm)
    x0, y0 = other.center_mm
    half = 0.66 * other.side_mm
    alpha = kit.alpha(shot, lambda x, y: (abs(x - x0) < half) & (abs(y - y0) < half))
    return kit.with_shot(shot, mixed(kit.pixels(shot), kit.laid_on(shot, shot, lambda xy: xy + step), alpha))


def _marker_turned(kit: Kit, *, mirrored: bool) -> Run:
    """The first marker of every later shot lies a quarter turn round, or with its back up."""
    shot, marker = kit.last, kit.patch.markers[0]
    centre, half = np.array(marker.center_mm), 0.66 * marker.side_mm
    move = np.array([[-1.0, 0.0], [0.0, 1.0]]) if mirrored else np.array([[0.0, -1.0], [1.0, 0.0]])
    alpha = kit.alpha(shot, lambda x, y: (abs(x - centre[0]) < half) & (abs(y - centre[1]) < half))
    laid = kit.laid_on(shot, shot, lambda xy: (xy - centre) @ move.T + centre)
    return kit.with_shot(shot, mixed(kit.pixels(shot), laid, alpha))


def _without_blank(run: Run | None) -> Run | None:
    """The same without the photo of the clean floor; nothing where the set has none anyway."""
    if run is None or "blank" not in run.shots:
        return None
    return replace(run, shots={name: file for name, file in run.shots.items() if name != "blank"})


def _smaller(kit: Kit, share: float) -> Run | None:
    return _resaved(kit, kit.last, kit.last, 92, share)


def _damaged(kit: Kit) -> Run:
    content = kit.run.shots[kit.last].read_bytes()
    to = kit.folder / "damaged.jpg"
    to.write_bytes(content[: len(content) // 2])
    return kit.with_file(kit.last, to)


#: What has to be said of a run that is right.
NOTHING = r"$^"
BLANK = r"debris-on-blank|exchanged|same (photo|picture)"
SAME = r"same photo|same picture"
FOREIGN = r"foreign-thing|solid-thing|shadow, foot"
TONE = r"tone|colour|contrast|light|exposure|edges"
CASES = (
    Case("right", lambda kit: kit.run, NOTHING),
    Case("blank: debris on a tenth", lambda kit: _debris_on_blank(kit, 0.1), BLANK),
    Case("blank: debris on a half", lambda kit: _debris_on_blank(kit, 0.5), BLANK),
    Case("blank is after", lambda kit: _copy(kit, kit.last, "blank"), SAME),
    Case("blank is after, saved again", lambda kit: _resaved(kit, kit.last, "blank", 80), SAME),
    Case("blank is before", lambda kit: _copy(kit, "before", "blank"), SAME),
    Case("blank is before, saved again", lambda kit: _resaved(kit, "before", "blank", 75), SAME),
    Case("blank and before exchanged", lambda kit: _swap(kit, "blank", "before"), BLANK),
    Case("blank and after exchanged", lambda kit: _swap(kit, "blank", kit.last), BLANK),
    Case("before and after exchanged", lambda kit: _swap(kit, "before", kit.last), "exchanged"),
    Case("after is before, saved again", lambda kit: _resaved(kit, "before", kit.last, 85), SAME),
    Case("the same smaller", lambda kit: _resaved(kit, "before", kit.last, 85, 0.6), SAME),
    Case("after twice", lambda kit: kit.with_file("after2", kit.run.shots["after"]), SAME),
    Case("passes in the wrong order", lambda kit: _swap(kit, "after", "after2"), "order|exchanged"),
    Case("camera times backwards", lambda kit: _times(kit, "2026:05:02 11:00:00", "2026:05:02 10:00:00"), "taken"),
    Case("camera times forwards", lambda kit: _times(kit, "2026:05:02 10:00:00", "2026:05:02 11:00:00"), NOTHING),
    Case("after of another run", _another_run, "another run"),
    Case("debris file of another colour", lambda kit: _wrong_file(kit, near=False), "no file|no .* was found|debris file"),
    Case("debris file of a like colour", lambda kit: _wrong_file(kit, near=True), "no file|size|larger|smaller"),
    Case("sizes three times too large", lambda kit: _sized(kit, 3), "size|larger|smaller"),
    Case("sizes three times too small", lambda kit: _sized(kit, 1 / 3), "size|larger|smaller"),
    Case("sizes five times too large", lambda kit: _sized(kit, 5), "size|larger|smaller"),
    Case("sizes of a tenth to tenfold", _sizes_unlike, "size|larger|smaller"),
    Case("six kinds", _six_kinds, "no .* was found|not there|hardly"),
    Case("a kind that is not there", _one_kind_too_many, "no .* was found|not there|hardly"),
    Case("a kind without a file", lambda kit: _one_kind_too_few(kit, 0), "unnamed-debris"),
    Case("the other kind without a file", lambda kit: _one_kind_too_few(kit, 1), "unnamed-debris"),
    Case("lens of another camera", _foreign_lens, "^lens"),
    Case("patch: squares 3 % too large", lambda kit: _patch(kit, r"(side_mm = )([\d.]+)", _times_number(1.03)), "marker|square"),
    Case("patch: squares 5 % too small", lambda kit: _patch(kit, r"(side_mm = )([\d.]+)", _times_number(0.95)), "marker|square"),
    Case("patch: places 3 % too wide", lambda kit: _patch(kit, r"center_mm = \[([-\d.]+), ([-\d.]+)\]", _places(1.03, 1)), "marker"),
    Case("patch: all of it 4 % too large", lambda kit: _all_larger(kit, 1.04), "patch|marker"),
    Case("patch: 4 % too wide", lambda kit: _patch(kit, r"(width_mm = )([\d.]+)", _times_number(1.04)), "patch|marker"),
    Case("patch: one marker off by 8 mm", lambda kit: _one_place(kit, 8.0), "marker"),
    Case("patch: one marker off by 2.5 mm", lambda kit: _one_place(kit, 2.5), "marker"),
    Case("two sheets with one number", _second_sheet, "marker"),
    Case("a marker turned", lambda kit: _marker_turned(kit, mirrored=False), "marker"),
    Case("a marker mirrored", lambda kit: _marker_turned(kit, mirrored=True), "marker"),
    Case("something over a marker's rim", things.over_rim, "marker"),
    Case("a hand in before", lambda kit: things.hand(kit, "before"), FOREIGN),
    Case("a hand in after", lambda kit: things.hand(kit, kit.last), FOREIGN),
    Case("a hand in the blank", lambda kit: things.hand(kit, "blank"), FOREIGN),
    Case("the machine in after", lambda kit: things.machine(kit, kit.last), FOREIGN),
    Case("a cable in before", lambda kit: things.cable(kit, "before", own_colour=False), FOREIGN),
    Case("a cable of the debris' colour", lambda kit: things.cable(kit, kit.last, own_colour=True), FOREIGN),
    Case("a wet spot", lambda kit: things.stain(kit, 0.7), FOREIGN),
    Case("a smudge of the debris' hue", things.smudge, FOREIGN),
    Case("a lid of the debris' colour", things.lid, FOREIGN),
    Case("a shoe", things.shoe, FOREIGN),
    Case("lanes left wet", things.lanes_wet, FOREIGN),
    Case("glare", things.glare, f"{FOREIGN}|burnt|{TONE}"),
    Case("a rug's edge", things.rug, FOREIGN),
    Case("half in shadow", things.half_shadow, FOREIGN),
    Case("no blank", lambda kit: _without_blank(kit.run), NOTHING),
    Case("no blank, half in shadow", lambda kit: _without_blank(things.half_shadow(kit)), FOREIGN),
    Case("no blank, lanes left wet", lambda kit: _without_blank(things.lanes_wet(kit)), FOREIGN),
    Case("no blank, glare", lambda kit: _without_blank(things.glare(kit)), f"{FOREIGN}|burnt|{TONE}"),
    Case("no blank, shaken", lambda kit: _without_blank(things.changed(kit, things.shaken)), "sharp|edge"),
    Case("after from a smaller camera", lambda kit: _smaller(kit, 0.6), "sharp|pixel|larger|edge"),
    Case("after upside down", lambda kit: things.changed(kit, lambda p: np.ascontiguousarray(np.rot90(p, 2))), NOTHING),
    Case("after mirrored", lambda kit: things.changed(kit, lambda p: np.ascontiguousarray(p[:, ::-1])), "mirrored"),
    Case("after in black and white", lambda kit: things.changed(kit, things.grey), "no colour"),
    Case("after vivid", lambda kit: things.changed(kit, things.vivid), TONE),
    Case("after of harder contrast", lambda kit: things.changed(kit, things.contrast), TONE),
    Case("after tone-mapped", lambda kit: things.changed(kit, things.tone_mapped), TONE),
    Case("after noisy", lambda kit: things.changed(kit, things.noisy), "nois"),
    Case("after shaken", lambda kit: things.changed(kit, things.shaken), "sharp|edge"),
    Case("after with moiré", lambda kit: things.changed(kit, things.moire), "pattern|nois|tone|colour"),
    Case("after burnt out", lambda kit: things.changed(kit, things.burnt), "burnt"),
    Case("after damaged", _damaged, "cut off|damaged|truncated"),
)  # fmt: skip
