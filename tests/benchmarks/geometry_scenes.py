"""Scenes of `geometry.py`: every factor is drawn from the part and the seed alone."""

import math
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np

from debriscount.errors import SceneError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.develop import develop, encode_jpeg
from debriscount.simulate.pose import photo_size_px, pose_shots
from debriscount.simulate.scene import clean_floor, shot_light
from debriscount.simulate.spec import (
    FLOORS,
    Camera,
    Cleaning,
    Floor,
    Imaging,
    Light,
    Portion,
    Rgb,
    SceneSpec,
    Strewing,
)
from debriscount.simulate.truth import SceneTruth, chance

Record = TypeVar("Record", Imaging, Light)

#: Width of an edge blurred by a Gaussian, from 10 to 90 % of its step, over the Gaussian's standard deviation.
SPREAD_PER_SIGMA = 2.563
#: Most that the lens of a photo without a lens file bends, and most that its principal point is off, share of the width.
MOST_K1, MOST_OFFSET = 0.06, 0.01
#: Focal length over the photo's long side of main cameras from 24 to 29 mm (35 mm equivalent; common practice, no source).
FOCAL_SHARES = (0.67, 0.8)

WALLS: tuple[tuple[str, ...], ...] = (
    (),
    ("top",),
    ("right",),
    ("top", "left"),
    ("top", "right"),
    ("top", "left", "right"),
)
#: Colours of debris and floors, all of them invented.
DEBRIS_COLORS: tuple[Rgb, ...] = (
    (205, 100, 55),
    (226, 214, 190),
    (60, 38, 25),
    (45, 75, 185),
    (214, 178, 92),
    (96, 128, 62),
)
FLOOR_COLORS: tuple[Rgb | None, ...] = (None, (205, 205, 200), (120, 122, 124), (84, 88, 98), (58, 48, 42))
SHAPES = ("round", "long", "irregular")
#: Grains of a scene: more make the painting slow and say no more.
MOST_GRAINS = 8000
#: Chance of each factor to be anything, and of one shot of a run to be worse than the others.
WORSE, ONE_SHOT = 0.3, 0.4


def source(part: str, seed: int, attempt: int = 0) -> np.random.Generator:
    """Return the source of chance of one scene of a part."""
    return np.random.default_rng([2026, *part.encode(), seed, attempt])


def feasible(part: str, seed: int) -> SceneSpec:
    """Draw the scene of a part; one whose camera would stand behind a wall or see the horizon is drawn again."""
    for attempt in range(50):
        try:
            spec = SPECS[part](source(part, seed, attempt), seed)
            pose_shots(spec.patch, spec.camera, len(spec.shot_names), chance(spec, 2))
        except SceneError:
            continue
        return spec
    raise RuntimeError(f"part {part}, seed {seed}: no scene can be made")


def leaning(r: np.random.Generator, walls: tuple[str, ...], tilt_deg: float, **changes: object) -> Camera:
    """Draw a hand-held camera that leans away from the walls, of a lens that nobody has measured."""
    away = {"top": (0, 1), "bottom": (0, -1), "left": (1, 0), "right": (-1, 0)}
    x, y = np.sum([away[wall] for wall in walls], axis=0) if walls else (0, 0)
    spread = 180.0 if (x, y) == (0, 0) else 40.0
    azimuth = math.degrees(math.atan2(y, x)) + float(r.uniform(-spread, spread))
    camera = Camera(
        tilt_deg=tilt_deg,
        azimuth_deg=azimuth,
        roll_deg=float(r.uniform(-5, 5)),
        focal_share=float(r.uniform(*FOCAL_SHARES)),
        k1=float(r.uniform(-MOST_K1, MOST_K1)),
    )
    return replace(camera, **changes)  # type: ignore[arg-type]


def off_center(r: np.random.Generator, patch: Patch, camera: Camera) -> Camera:
    """Move the principal point by up to ``MOST_OFFSET`` of the width, either way in both directions."""
    width = photo_size_px(patch, camera)[0]
    x, y = r.uniform(-MOST_OFFSET, MOST_OFFSET, 2) * width
    return replace(camera, center_offset_px=(float(x), float(y)))


def at_scale(patch: Patch, camera: Camera, mm_per_px: float) -> Camera:
    """Give a camera the megapixels at which a photo pixel spans ``mm_per_px`` at the patch's middle."""
    pose = pose_shots(patch, replace(camera, megapixels=4.0), 1, np.random.default_rng(0))[0]
    coarse = pose.mm_per_px((patch.width_mm / 2, patch.height_mm / 2))
    return replace(camera, megapixels=4.0 * (coarse / mm_per_px) ** 2)


def place_spec(r: np.random.Generator, seed: int) -> SceneSpec:
    """Few large grains on a photo of 0.2 mm a pixel: small and larger patches, all layouts, a corner with three markers."""
    walls = WALLS[int(r.integers(len(WALLS)))]
    width, height = ((240, 180), (300, 220), (400, 300), (300, 420), (500, 350), (600, 400))[int(r.integers(6))]
    patch = lay_patch(width, height, walls, margin_mm=float(r.choice([20.0, 40.0])))
    if len(walls) == 2 and r.random() < 0.5:
        patch = replace(patch, markers=patch.markers[:3])
    camera = off_center(r, patch, at_scale(patch, leaning(r, walls, float(r.uniform(0, 15))), 0.2))
    color = DEBRIS_COLORS[int(r.choice([0, 3]))]  # orange and blue stand out on every floor
    portion = Portion(DebrisKind("grains", color, (3.2, 4.8)), 80 * np.pi * 4 / (width * height))
    return SceneSpec(
        patch,
        (portion,),
        floor=Floor(str(r.choice(FLOORS)), contrast=float(r.uniform(0.5, 1.3)), debris_specks=0.0),
        scatter=Strewing(clumped_share=0.0, wall_share=0.15),
        passes=(Cleaning(pickup=0.5, edge_pickup=0.4, corner_pickup=0.3, flung_share=0.0),),
        camera=camera,
        light=Light(azimuth_deg=float(r.uniform(0, 360)), shadow=float(r.uniform(0.1, 0.45))),
        imaging=usual_imaging(r, blur_px=float(r.uniform(0.5, 1.0))),
        blank=bool(r.random() < 0.5),
        seed=seed,
    )


def usual_imaging(r: np.random.Generator, blur_px: float) -> Imaging:
    """Draw what cameras do to photos that nothing is wrong with."""
    return Imaging(
        exposure=float(r.uniform(0.7, 1.15)),
        blur_px=blur_px,
        full_well=float(r.uniform(2000, 6000)),
        bayer=bool(r.random() < 0.3),
        denoise=float(r.uniform(0, 0.6)),
        sharpen=float(r.uniform(0, 0.5)),
        jpeg_quality=int(r.integers(80, 97)),
    )


def marker_spec(r: np.random.Generator, seed: int) -> SceneSpec:
    """One photo with markers of 20 to 60 mm, tilted by up to 30°, edges spread over up to 3 px."""
    walls = WALLS[int(r.integers(len(WALLS)))]
    width, height = int(r.choice([300, 400, 600])), int(r.choice([220, 300, 400]))
    side = None if r.random() < 0.5 else float(r.uniform(20, 60))
    patch = lay_patch(width, height, walls, margin_mm=float(r.choice([20.0, 60.0])), marker_side_mm=side)
    camera = leaning(r, walls, float(r.uniform(0, 30)), megapixels=float(np.exp(r.uniform(*np.log([1.5, 6])))))
    kind = DebrisKind("grains", DEBRIS_COLORS[int(r.integers(len(DEBRIS_COLORS)))], (2.5, 5.0))
    return SceneSpec(
        patch,
        (Portion(kind, 0.03, shape=str(r.choice(SHAPES))),),
        floor=any_floor(r),
        passes=(),
        camera=off_center(r, patch, camera),
        light=Light(gradient=float(r.uniform(0, 0.4)), person=float(r.uniform(0, 0.3))),
        imaging=usual_imaging(r, blur_px=float(r.uniform(0.3, 3 / SPREAD_PER_SIGMA))),
        blank=False,
        seed=seed,
    )


def any_floor(r: np.random.Generator) -> Floor:
    """Draw any floor that can be made: kind, colours, contrast, unit."""
    kind = str(r.choice(FLOORS))
    units = {"plain": (1, 2), "planks": (40, 200), "tile": (20, 300), "terrazzo": (3, 20), "carpet": (1, 6)}
    colors = [FLOOR_COLORS[int(i)] for i in r.integers(len(FLOOR_COLORS), size=2)]
    unit = float(np.exp(r.uniform(*np.log(units[kind]))))
    return Floor(kind, colors[0], colors[1], contrast=float(r.uniform(0, 3)), unit_mm=unit)


def bare_spec(r: np.random.Generator, seed: int) -> SceneSpec:
    """Any floor and any debris strewn on it in any quality; the photo is made without the markers."""
    walls = WALLS[int(r.integers(len(WALLS)))]
    patch = lay_patch(int(r.choice([120, 240, 400])), int(r.choice([120, 240, 400])), walls, margin_mm=20)
    small = float(np.exp(r.uniform(*np.log([1.5, 20]))))
    return SceneSpec(
        patch,
        (portion(r, patch, small, covers=(0.01, 0.3), most_grains=700),),
        floor=replace(any_floor(r), gloss=float(r.choice([0.0, 0.3]))),
        passes=(),
        camera=leaning(r, walls, float(r.uniform(0, 30)), megapixels=float(r.uniform(0.5, 1.4))),
        light=any_light(r),
        imaging=any_imaging(r),
        blank=False,
        seed=seed,
    )


def portion(
    r: np.random.Generator, patch: Patch, small_mm: float, *, covers: tuple[float, float], most_grains: int
) -> Portion:
    """Draw any debris whose small grains are of this diameter, not more of it than ``most_grains``."""
    large = small_mm * float(r.uniform(1.2, 1.8))
    room = most_grains * np.pi / 4 * small_mm * large / (patch.width_mm * patch.height_mm)
    cover = min(float(np.exp(r.uniform(*np.log(covers)))), room)
    color = DEBRIS_COLORS[int(r.integers(len(DEBRIS_COLORS)))]
    return Portion(DebrisKind("grains", color, (small_mm, large)), cover, shape=str(r.choice(SHAPES)))


def any_light(r: np.random.Generator) -> Light:
    """Draw light from even to hopeless."""
    return Light(
        azimuth_deg=float(r.uniform(0, 360)),
        shadow=float(r.uniform(0.1, 0.5)),
        gradient=float(r.uniform(0, 0.8)),
        person=float(r.uniform(0, 0.6)),
    )


def any_imaging(r: np.random.Generator) -> Imaging:
    """Draw a camera's work from flawless to hopeless."""
    return Imaging(
        exposure=float(np.exp(r.uniform(*np.log([0.25, 2.5])))),
        white_drift=float(r.uniform(0, 0.1)),
        blur_px=float(np.exp(r.uniform(*np.log([0.4, 3.0])))),
        full_well=float(np.exp(r.uniform(*np.log([300, 6000])))),
        bayer=bool(r.random() < 0.5),
        denoise=float(r.uniform(0, 0.8)),
        sharpen=float(r.uniform(0, 0.8)),
        jpeg_quality=int(r.integers(20, 98)),
    )


def verdict_spec(r: np.random.Generator, seed: int) -> SceneSpec:
    """A run of which most factors are as they should be and the others anything."""
    walls = WALLS[int(r.integers(len(WALLS)))]
    patch = lay_patch(int(r.choice([240, 300, 400])), int(r.choice([180, 220, 300])), walls, margin_mm=40)
    tilt = float(r.uniform(0, 40) if r.random() < WORSE else r.uniform(0, 10))
    camera = leaning(r, walls, tilt, megapixels=float(np.exp(r.uniform(*np.log([2, 12])))))
    small = float(np.exp(r.uniform(*np.log([0.5, 5.0]))))
    spec = SceneSpec(
        patch,
        (portion(r, patch, small, covers=(0.02, 0.08), most_grains=MOST_GRAINS),),
        floor=replace(any_floor(r), contrast=float(r.uniform(0.3, 1.5))),
        passes=(Cleaning(pickup=float(r.uniform(0.5, 0.98)), heading_deg=float(r.choice([0.0, 90.0]))),),
        camera=off_center(r, patch, camera),
        blank=bool(r.random() < 0.6),
        seed=seed,
    )
    return worsened(r, spec)


def worsened(r: np.random.Generator, spec: SceneSpec) -> SceneSpec:
    """Make each thing that differs between shots anything with the chance ``WORSE``, and else as it should be."""
    imaging, light = any_imaging(r), any_light(r)
    gloss = float(r.uniform(0, 0.5)) if r.random() < WORSE else 0.0
    return replace(
        spec,
        imaging=_mixed(r, Imaging(bayer=True), imaging),
        light=_mixed(r, Light(), light),
        floor=replace(spec.floor, gloss=gloss),
    )


def verdict_shots(seed: int) -> dict[str, SceneSpec]:
    """Draw the run of a seed, shot by shot: in some of them one shot is worse than the others."""
    spec = feasible("verdict", seed)
    r = source("verdict, one shot", seed)
    shots = dict.fromkeys(spec.shot_names, spec)
    if r.random() < ONE_SHOT:
        shots[spec.shot_names[int(r.integers(len(shots)))]] = worsened(r, spec)
    return shots


def _mixed(r: np.random.Generator, good: Record, bad: Record) -> Record:
    return replace(good, **{f.name: getattr(bad, f.name) for f in fields(good) if r.random() < WORSE})


SPECS: dict[str, Callable[[np.random.Generator, int], SceneSpec]] = {
    "places": place_spec,
    "markers": marker_spec,
    "false": bare_spec,
    "verdict": verdict_spec,
}


def photographed(specs: Mapping[str, SceneSpec], truth: SceneTruth) -> dict[str, bytes]:
    """Photograph one scene, each shot by a spec of its own, which may differ in light, imaging, gloss and markers.

    Parameters
    ----------
    specs : mapping of str to SceneSpec
        By shot name; the first one makes the floor.
    truth : SceneTruth
        Of all of them.

    Returns
    -------
    dict of str to bytes
        JPEG files.
    """
    floor, grid = clean_floor(next(iter(specs.values())), truth)
    photos = {}
    for name, spec in specs.items():
        light = shot_light(spec, truth, name, floor, grid)
        pixels = develop(light, spec.imaging, chance(spec, 100 + spec.shot_names.index(name)))
        photos[name] = encode_jpeg(pixels, spec.imaging)
    return photos
