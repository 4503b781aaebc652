"""How far off are areas, counts and pickup by the size of a grain in pixels? Simulated runs over sizes and cameras.

    python tests/benchmarks/grain_size.py [--quick] [--factor NAME]... [--bar PERCENT] [--json FILE]

Every run holds one kind of nearly equal grains, 6 % cover in a single layer, seen at nearly the same millimetres per
pixel, with a photo of the clean floor. Exits with 1 if areas are off by more than the bar: in the photo before, in the
median of the usual camera's runs with grains of a pixel and more.
"""

import argparse
import json
import math
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from itertools import product
from pathlib import Path
from statistics import median

from debriscount.errors import DebriscountError
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.pose import seen_box_mm
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Cleaning, Floor, Imaging, Light, Portion, Rgb, SceneSpec, Strewing

#: Grain diameters, pixels of the floor view, and those of ``--quick``.
SIZES_PX = (0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0, 20.0)
QUICK_PX = (0.7, 1.4, 3.0, 5.0, 8.0)
#: Scale that every photo is laid out for; chance moves the camera and with it the scale by up to 2 %.
MM_PER_PX = 0.25
COVER = 0.06
MOST_GRAINS = 20_000
LARGEST_SIDE_MM = 240.0

#: Floor and debris, all of them invented; the last pair has one CIELAB lightness, 58.
CONTRASTS: dict[str, tuple[Rgb, Rgb]] = {
    "dark on light": ((206, 204, 198), (62, 44, 32)),
    "light on dark": ((70, 64, 60), (214, 196, 160)),
    "hue alone": ((138, 140, 136), (206, 114, 91)),
}

USUAL = "usual"
_IMAGING = Imaging(blur_px=0.65, bayer=True, denoise=0.4, sharpen=0.3, jpeg_quality=92, chroma_420=True)
#: The usual camera and light, and those of which one thing is strongly different.
FACTORS: dict[str, tuple[Imaging, Light]] = {
    USUAL: (_IMAGING, Light()),
    "blurred": (replace(_IMAGING, blur_px=1.5), Light()),
    "sharpened": (replace(_IMAGING, sharpen=1.0), Light()),
    "coarse colour": (replace(_IMAGING, jpeg_quality=60), Light()),
    "full colour": (replace(_IMAGING, bayer=False, chroma_420=False), Light()),
    "no shade": (_IMAGING, Light(shadow=0.0, contact=0.0, shading=0.0)),
}

#: Classes of the medians: name, least and most pixels. From the last one's size on grains have an outline.
CLASSES = (("under 1 px", 0.0, 0.9), ("1 to 5 px", 1.0, 5.0), ("over 5 px", 5.1, math.inf))


@dataclass(frozen=True, slots=True)
class Row:
    """One run, the patch measured over the patch as it is; ``failure`` says why there are no figures."""

    contrast: str
    factor: str
    size_px: float
    true_grains: int = 0
    area_before: float | None = None
    area_after: float | None = None
    pickup_error: float | None = None
    grains: float | None = None
    failure: str | None = None


def patch_side_mm(size_px: float) -> float:
    """Side of a square patch that holds ``MOST_GRAINS`` grains at most, and is ``LARGEST_SIDE_MM`` at most."""
    grain_mm2 = math.pi / 4 * (size_px * MM_PER_PX) ** 2
    return min(LARGEST_SIDE_MM, math.sqrt(MOST_GRAINS * grain_mm2 / COVER))


def run_spec(contrast: str, factor: str, size_px: float) -> SceneSpec:
    """Scene of one run: the photo grows with the patch, so that a pixel spans ``MM_PER_PX``."""
    floor, debris = CONTRASTS[contrast]
    imaging, light = FACTORS[factor]
    size_mm = size_px * MM_PER_PX
    side = patch_side_mm(size_px)
    patch = lay_patch(side, side, margin_mm=10.0)
    left, _, right, _ = seen_box_mm(patch)
    # The square fills a 4:3 photo's short side but for a tenth, which a camera held by hand needs.
    short_px = (right - left) / MM_PER_PX / 0.9
    return SceneSpec(
        patch,
        (Portion(DebrisKind("grains", debris, (0.9 * size_mm, 1.1 * size_mm)), COVER, shape="irregular"),),
        # Twice the usual texture: by less, a floor full of light grains is not known again as the same one.
        floor=Floor("plain", floor, contrast=2.0),
        scatter=Strewing(clumped_share=0.0, wall_share=0.0),
        passes=(Cleaning(pitch_mm=50, width_mm=45, offset_mm=10, pickup=0.85, displaced_mm=4, flung_share=0),),
        camera=Camera(megapixels=4 / 3 * short_px**2 / 1e6),
        light=light,
        imaging=imaging,
        seed=round(10 * size_px),
    )


def one_run(case: tuple[str, str, float]) -> Row:
    """Make a run (contrast, factor, size), measure it, and divide by the truth."""
    from debriscount.run.measure import measure

    spec = run_spec(*case)
    scene = make_scene(spec)
    before, after = (scene.truth.amounts(state)["patch"] for state in (0, 1))
    blank, *shots = (scene.pixels(shot) for shot in spec.shot_names)
    try:
        found = measure(spec.patch, shots[0], shots[1:], blank=blank, debris=[spec.portions[0].kind])
    except DebriscountError as error:
        return Row(*case, before.grains, failure=str(error))
    zone = found.passes[0].zones["patch"]
    true = scene.truth.pickup_percent(1)["patch"]
    return Row(
        *case,
        before.grains,
        zone.before.area_mm2 / before.area_mm2,
        zone.after.area_mm2 / after.area_mm2,
        None if zone.pickup_percent is None or true is None else zone.pickup_percent - true,
        zone.before.grains / before.grains,
    )


def class_medians(rows: Sequence[Row]) -> dict[str, dict[str, float | None]]:
    """Medians by class of size; errors of pickup enter without their sign, percentage points."""
    medians = {}
    for name, least, most in CLASSES:
        members = [row for row in rows if least <= row.size_px <= most]
        errors = [None if row.pickup_error is None else abs(row.pickup_error) for row in members]
        medians[name] = {
            "area before": _median([row.area_before for row in members]),
            "area after": _median([row.area_after for row in members]),
            "pickup error": _median(errors),
            "grains": _median([row.grains for row in members]),
        }
    return medians


def area_off_percent(rows: Sequence[Row]) -> float | None:
    """What ``--bar`` is held against: the median departure of area before from true. A run that failed is off by all.

    None where nothing bears on it.
    """
    areas = [row.area_before for row in rows if row.factor == USUAL and row.size_px >= 1]
    return _median([math.inf if area is None else 100 * abs(area - 1) for area in areas])


def _median(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if known else None


def print_table(rows: Sequence[Row]) -> None:
    """Print a table for each contrast and one of medians: four figures for the first factor, two for every other."""
    factors = list(dict.fromkeys(row.factor for row in rows))
    for contrast in dict.fromkeys(row.contrast for row in rows):
        print(f"\n{contrast}: area over true before | after | pickup error, points | grains found over true")
        print(f"{'':10}{factors[0]:^32}" + "".join(f"{name:^16}" for name in factors[1:]))
        print(f"{'size px':10}{'before':>8}{'after':>8}{'pickup':>8}{'grains':>8}" + _heads(factors))
        own = [row for row in rows if row.contrast == contrast]
        for size in sorted({row.size_px for row in own}):
            cells = {row.factor: asdict(row) for row in own if row.size_px == size}
            print(f"{size:<10g}" + _line(cells, factors, ("area_before", "area_after", "pickup_error", "grains")))
        medians = {f: class_medians([row for row in own if row.factor == f]) for f in factors}
        for name, _, _ in CLASSES:
            cells = {f: medians[f][name] for f in factors}
            print(f"{name:10}" + _line(cells, factors, ("area before", "area after", "pickup error", "grains")))
    for row in rows:
        if row.failure:
            print(f"failed: {row.contrast}, {row.factor}, {row.size_px:g} px: {row.failure}")


def _heads(factors: Sequence[str]) -> str:
    return f"{'before':>8}{'pickup':>8}" * (len(factors) - 1)


def _line(cells: Mapping[str, Mapping[str, float | None]], factors: Sequence[str], keys: Sequence[str]) -> str:
    """Four cells of the first factor, then area before and error of pickup of the others."""
    wanted = [(factors[0], key) for key in keys] + [(f, key) for f in factors[1:] for key in (keys[0], keys[2])]
    values = [(key, cells[factor][key] if factor in cells else None) for factor, key in wanted]
    return "".join(f"{_number(value, signed=key == 'pickup_error'):>8}" for key, value in values)


def _number(value: float | None, *, signed: bool) -> str:
    if value is None:
        return "-"
    return f"{value:+.2f}" if signed else f"{value:.2f}"


def _arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer sizes")
    parser.add_argument("--factor", action="append", choices=list(FACTORS), help="only this camera; may be repeated")
    parser.add_argument("--bar", type=float, metavar="PERCENT", help="how far areas may be off")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all figures into a file")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code."""
    options = _arguments(argv)
    cases = list(product(CONTRASTS, options.factor or FACTORS, QUICK_PX if options.quick else SIZES_PX))
    with ProcessPoolExecutor() as pool:
        rows = list(pool.map(one_run, cases))
    print_table(rows)
    off = area_off_percent(rows)
    if off is not None:
        print(f"\nareas before, {USUAL} camera, from 1 px on: {off:.1f} % off in the median")
    if options.json:
        options.json.write_text(json.dumps([asdict(row) for row in rows], indent=1) + "\n", encoding="utf-8")
    return 1 if options.bar is not None and off is not None and off > options.bar else 0


if __name__ == "__main__":
    sys.exit(main())
