"""A film of the machine at work, frame by frame, with its truth."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..errors import SceneError
from .check import check_spec
from .develop import develop
from .grains import Grains, draw_grains
from .machine import REST_S, Drive, Machine, Taken, drive, take
from .pose import Pose, pose_shots
from .scatter import scatter_grains
from .scene import clean_floor, shot_light
from .spec import Light, Rgb, SceneSpec
from .truth import SceneTruth, chance

#: Streams of chance that no photo uses.
_WAY, _CAMERA, _NOISE = 2000, 2001, 2002
#: Pictures of noise that frames take in turns, each shifted anew.
_NOISES = 4
#: Fractions of a pixel in which OpenCV draws outlines: 1/16.
_FINE_BITS = 4
_SIZES_PX = (160, 4096)
#: A hand, as films show it.
_SKIN: Rgb = (196, 148, 120)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmSpec:
    """What a film is to be.

    ``scene`` tells patch, debris, floor, camera and light; its passes and what differs from shot to shot do not count.
    ``rate`` is frames a second. At ``knock_s`` the camera is knocked: it then stands ``knock_mm`` beside its place and
    looks as much elsewhere. ``hand_s`` is from when to when a hand reaches in from below; ``shadow`` the light that the
    machine's shadow takes; ``flicker`` how much the exposure wanders, as a share; ``noise_levels`` the
    standard deviation of a frame's noise, of 255 levels.
    """

    scene: SceneSpec
    machine: Machine = field(default_factory=Machine)
    size_px: tuple[int, int] = (1920, 1080)
    rate: float = 10.0
    passes: int = 1
    knock_s: float | None = None
    knock_mm: float = 15.0
    hand_s: tuple[float, float] | None = None
    shadow: float = 0.5
    flicker: float = 0.02
    noise_levels: float = 1.5


def film_spec(scene: SceneSpec, size: str, rate: float) -> FilmSpec:
    """A film of a scene as the command line asks for it: ``size`` as "1920x1080", and frames a second.

    Raises
    ------
    SceneError
        The size is written otherwise.
    """
    found = re.fullmatch(r"(\d{1,5})[xX](\d{1,5})", size.strip())
    if found is None:
        raise SceneError(f'film size must be written "1920x1080", in pixels, got "{size}".')
    pass_ = scene.passes[0]
    machine = Machine(pickup=pass_.pickup, displaced_share=pass_.displaced_share, displaced_mm=pass_.displaced_mm)
    return FilmSpec(
        scene=scene, machine=machine, size_px=(int(found[1]), int(found[2])), rate=rate, passes=len(scene.passes)
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FilmTruth:
    """What is so in a film: the way, what became of the grains, and the camera's place before and after the knock."""

    spec: FilmSpec
    way: Drive
    grains: Grains
    taken: Taken
    poses: tuple[Pose, ...]

    @property
    def times_s(self) -> Floats:
        """When each frame is taken, shape (F,)."""
        return np.arange(round((self.way.end_s + REST_S) * self.spec.rate)) / self.spec.rate

    def left_percent(self, t_s: float, kind: int | None = None) -> float:
        """Debris left, percent of what was strewn; of one kind by its number, or of all."""
        return self.taken.left_percent(self.spec.scene.patch, self.grains, t_s, kind)

    def pose(self, t_s: float) -> Pose:
        """The camera at a time."""
        knocked = self.spec.knock_s is not None and t_s >= self.spec.knock_s
        return self.poses[1 if knocked else 0]


def draw_film(spec: FilmSpec) -> FilmTruth:
    """Draw a film's truth from its scene's seed.

    Raises
    ------
    SceneError
        The scene, or the machine in it, cannot be.
    """
    scene = spec.scene
    check_spec(scene)
    if not all(_SIZES_PX[0] <= side <= _SIZES_PX[1] and side % 2 == 0 for side in spec.size_px):
        raise SceneError(
            f"film size {spec.size_px[0]} x {spec.size_px[1]}: sides must be even and from {_SIZES_PX[0]} to "
            f"{_SIZES_PX[1]} px. Give a size such as 1920 x 1080."
        )
    if not 1 <= spec.rate <= 120:
        raise SceneError(f"film rate must be from 1 to 120 frames a second, got {spec.rate:g}.")
    patch = scene.patch
    way = drive(patch, spec.machine, spec.passes)
    grains = draw_grains(scene.portions, patch.width_mm * patch.height_mm, chance(scene, 0))
    places = scatter_grains(patch, grains, scene.scatter, chance(scene, 1))
    taken = take(patch, spec.machine, way, places, chance(scene, _WAY))
    rng = chance(scene, _CAMERA)
    camera = replace(scene.camera, hand_held=False)
    (pose,) = pose_shots(patch, camera, 1, rng, spec.size_px)
    knocked = _knocked(pose, spec.knock_mm)
    return FilmTruth(spec=spec, way=way, grains=grains, taken=taken, poses=(pose, knocked))


def _knocked(pose: Pose, knock_mm: float) -> Pose:
    """The camera pushed aside and a little up: the floor slides and shrinks in the picture."""
    x, y, height = pose.eye_mm
    grown = 1 + 0.3 * knock_mm / height
    middle = np.array([x, y])
    slide = np.array([[grown, 0, 0], [0, grown, 0], [0, 0, 1.0]])
    slide[:2, 2] = middle + knock_mm * np.array([0.8, -0.6]) - grown * middle
    view = replace(pose.view, homography=pose.view.homography @ np.linalg.inv(slide))
    return replace(pose, view=view, eye_mm=(x + 0.8 * knock_mm, y - 0.6 * knock_mm, height * grown))


@dataclass(frozen=True, slots=True, eq=False)
class _Layer:
    """Grains on the bare floor as sRGB, shape (H, W, 3), and at every pixel the number of the grain next to it."""

    pixels: NDArray[np.uint8]
    nearest: NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class _Stage:
    """What one place of the camera shows: bare floor, grains in their first places, and where they were thrown to."""

    pose: Pose
    bare: NDArray[np.uint8]
    first: _Layer
    moved: _Layer


def bare_floor(truth: FilmTruth) -> NDArray[np.uint8]:
    """The floor before anything was strewn, as the camera shows it first, shape (H, W, 3)."""
    spec = truth.spec
    return _noisy(_stage(truth, truth.poses[0]).bare, _noises(spec), chance(spec.scene, _NOISE + 1))


def film_frames(truth: FilmTruth) -> Iterator[NDArray[np.uint8]]:
    """The frames of a film one by one, sRGB of shape (H, W, 3)."""
    spec, rng = truth.spec, chance(truth.spec.scene, _NOISE)
    noises = _noises(spec)
    stage: _Stage | None = None
    for t in truth.times_s:
        pose = truth.pose(float(t))
        if stage is None or stage.pose is not pose:
            stage = _stage(truth, pose)
        image = _strewn(stage, truth.taken, float(t))
        _draw_machine(image, truth, pose, float(t))
        if spec.hand_s is not None and spec.hand_s[0] <= t < spec.hand_s[1]:
            _draw_hand(image, truth, pose)
        exposure = 1 + spec.flicker * np.sin(2 * np.pi * t / 7.0)
        levels = np.clip(np.arange(256) * exposure ** (1 / 2.2), 0, 255).astype(np.uint8)
        yield _noisy(np.asarray(cv2.LUT(image, levels), np.uint8), noises, rng)


def _noises(spec: FilmSpec) -> list[NDArray[np.int16]]:
    rng = chance(spec.scene, _NOISE + 2)
    shape = (spec.size_px[1], spec.size_px[0], 3)
    return [np.round(spec.noise_levels * rng.standard_normal(shape)).astype(np.int16) for _ in range(_NOISES)]


def _noisy(image: NDArray[np.uint8], noises: list[NDArray[np.int16]], rng: np.random.Generator) -> NDArray[np.uint8]:
    noise = np.roll(noises[int(rng.integers(len(noises)))], int(rng.integers(len(image))), axis=0)
    return np.asarray(cv2.add(image, noise, dtype=cv2.CV_8U), np.uint8)


def _stage(truth: FilmTruth, pose: Pose) -> _Stage:
    scene, taken = truth.spec.scene, truth.taken
    # One light for all frames; noise is added to each of them.
    steady = replace(scene.imaging, exposure_drift=0.0, white_drift=0.0, full_well=1e9, read=0.0, denoise=0.0)
    spec = replace(scene, passes=scene.passes[:1], blank=True, imaging=steady, light=replace(scene.light, person=0.0))
    count = len(truth.grains)
    everywhere, thrown = np.ones(count, bool), np.isfinite(taken.moved_s)
    drawn = SceneTruth(
        patch=scene.patch,
        kinds=tuple(portion.kind.name for portion in scene.portions),
        grains=truth.grains,
        places_mm=np.stack([taken.first_mm, taken.moved_mm]),
        angle_rad=np.stack(
            [chance(scene, _WAY + 500).uniform(0, 2 * np.pi, count), chance(scene, _WAY + 501).uniform(0, 6, count)]
        ),
        lying=np.stack([everywhere, thrown]),
        fate=np.zeros((1, count), np.int8),
        reached=np.zeros((1, count), bool),
        lanes=(),
        routes=(),
        poses=dict.fromkeys(("blank", "before", "after"), pose),
    )
    floor, grid = clean_floor(spec, replace(drawn, poses=dict(enumerate(truth.poses))))  # type: ignore[arg-type]

    def developed(shot: str) -> NDArray[np.uint8]:
        return develop(shot_light(spec, drawn, shot, floor, grid), steady, chance(scene, _NOISE + 3))

    bare, first, moved = (developed(shot) for shot in ("blank", "before", "after"))
    beside = _nearest(pose, taken.moved_mm, thrown)
    # Around a thrown grain lie others, which its layer does not have: of that layer only grains and shade are shown.
    beside[cv2.absdiff(moved, bare).max(axis=2) <= 2] = count
    return _Stage(pose, bare, _Layer(first, _nearest(pose, taken.first_mm, everywhere)), _Layer(moved, beside))


def _nearest(pose: Pose, places_mm: Floats, lying: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Number of the lying grain whose middle is nearest to each pixel; one beyond the last where there are none."""
    width, height = pose.size_px
    numbers = np.nonzero(lying)[0]
    pixels = np.round(pose.view.project(places_mm[numbers])).astype(int).reshape(-1, 2)
    seen = ((pixels >= 0) & (pixels < (width, height))).all(axis=1)
    if not seen.any():
        return np.full((height, width), len(places_mm), np.int32)
    numbers, (columns, rows) = numbers[seen], pixels[seen].T
    free = np.ones((height, width), np.uint8)
    free[rows, columns] = 0
    _, labels = cv2.distanceTransformWithLabels(free, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    named = np.full(int(labels.max()) + 1, len(places_mm), np.int32)
    named[labels[rows, columns]] = numbers
    return np.asarray(named[labels])


def _strewn(stage: _Stage, taken: Taken, t_s: float) -> NDArray[np.uint8]:
    """The floor with the grains that lie there at a time."""
    image = stage.bare.copy()
    for layer, lying in zip((stage.first, stage.moved), taken.lying(t_s), strict=True):
        shown = np.append(lying, False).astype(np.uint8).take(layer.nearest)
        cv2.copyTo(layer.pixels, shown, image)
    return image


def _outline(pose: Pose, middle_mm: Floats, radius_mm: float, height_mm: float) -> Floats:
    """Where the rim of a level disc is seen, shape (72, 2), px."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    rim = middle_mm + radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    foot, eye = np.array(pose.eye_mm[:2]), pose.eye_mm[2]
    return pose.view.project(foot + (rim - foot) * eye / (eye - height_mm))


def _fill(image: NDArray[np.uint8], outline_px: Floats, color: tuple[int, ...]) -> None:
    hull = cv2.convexHull(np.round(np.clip(outline_px, -8e3, 8e3) * 2**_FINE_BITS).astype(np.int32))
    cv2.fillConvexPoly(image, hull, color, cv2.LINE_AA, _FINE_BITS)


def _draw_machine(image: NDArray[np.uint8], truth: FilmTruth, pose: Pose, t_s: float) -> None:
    machine = truth.spec.machine
    middle, radius, top = truth.way.place_mm(t_s), machine.diameter_mm / 2, machine.height_mm
    foot, crown = (_outline(pose, middle, radius, height) for height in (0.0, top))
    _shade(image, _thrown_shadow(pose, truth.spec.scene.light, middle, machine), truth.spec.shadow)
    side = tuple(round(0.7 * v) for v in machine.color_srgb)
    _fill(image, np.concatenate([foot, crown]), side)
    _fill(image, crown, machine.color_srgb)
    heading = np.deg2rad(truth.way.heading_deg(t_s))
    ahead = middle + 0.55 * radius * np.array([np.cos(heading), np.sin(heading)])
    _fill(image, _outline(pose, ahead, 0.12 * radius, top), tuple(min(255, v + 120) for v in machine.color_srgb))


def _thrown_shadow(pose: Pose, light: Light, middle_mm: Floats, machine: Machine) -> Floats:
    azimuth, elevation = np.deg2rad([light.azimuth_deg, light.elevation_deg])
    throw = -machine.height_mm / np.tan(elevation) * np.array([np.cos(azimuth), np.sin(azimuth)])
    radius = machine.diameter_mm / 2
    return np.concatenate([_outline(pose, middle_mm, radius, 0.0), _outline(pose, middle_mm + throw, radius, 0.0)])


def _shade(image: NDArray[np.uint8], outline_px: Floats, depth: float) -> None:
    """Take ``depth`` of the light inside an outline with a soft rim, in place."""
    height, width = image.shape[:2]
    small = np.zeros((-(-height // 4), -(-width // 4)), np.uint8)
    _fill(small, (outline_px - 1.5) / 4, (255,))
    soft = cv2.resize(cv2.GaussianBlur(small, (0, 0), 3), (width, height))
    rows, columns = (np.nonzero(soft.any(axis=axis))[0] for axis in (1, 0))
    if not len(rows):
        return
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    left = ((1 - depth * np.arange(256) / 255) ** (1 / 2.2)).astype(np.float32)[soft[box]]
    image[box] = (image[box] * left[..., None]).astype(np.uint8)


def _draw_hand(image: NDArray[np.uint8], truth: FilmTruth, pose: Pose) -> None:
    """A hand that reaches in over the patch's lower side, a hand's height above the floor."""
    patch = truth.spec.scene.patch
    middle = np.array([0.7 * patch.width_mm, 0.8 * patch.height_mm])
    arm = np.concatenate(
        [
            _outline(pose, middle + np.array([0.0, far]), size, 60.0)
            for far, size in ((0.0, 45.0), (2 * patch.height_mm, 60.0))
        ]
    )
    _fill(image, arm, _SKIN)
