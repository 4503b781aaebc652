"""Make a scene: truth first, then the photos of it. ``NOT_MODELLED`` says what the photos leave out."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Image
from ..registration.grid import FloorGrid
from .check import check_spec
from .develop import decode_jpeg, develop, encode_jpeg
from .floors import floor_raster
from .illuminate import Room, draw_room, light_field
from .paint import paint_grains
from .pose import Pose
from .spec import SceneSpec
from .squares import draw_markers
from .things import draw_things
from .truth import SceneTruth, chance, draw_truth
from .walls import draw_walls

#: What the photos leave out, for whoever reads figures that rest on them.
NOT_MODELLED = (
    "grains that let light through or hide each other by their height (they are drawn flat and shaded)",
    "light thrown between grains and floor",
    "wet or crushed debris, dust film, hair, wheel marks",
    "pile that hides grains on carpet",
    "motion blur, colour fringes and a phone's tone mapping",
    "markers laid or printed wrongly",
)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A made scene: what was asked for, what is so, and the photos as JPEG files, keyed by photo name."""

    spec: SceneSpec
    truth: SceneTruth
    jpegs: dict[str, bytes]

    def pixels(self, photo: str) -> NDArray[np.uint8]:
        """One photo as sRGB pixels of shape (H, W, 3)."""
        return decode_jpeg(self.jpegs[photo])


def make_scene(spec: SceneSpec) -> Scene:
    """Make a scene.

    Parameters
    ----------
    spec : SceneSpec
        What it is to be.

    Returns
    -------
    Scene
        The same for the same spec.

    Raises
    ------
    SceneError
        The spec cannot be.
    """
    check_spec(spec)
    truth = draw_truth(spec)
    floor, grid = clean_floor(spec, truth)
    jpegs = {}
    for number, name in enumerate(spec.shot_of):
        light = shot_light(spec, truth, name, floor, grid)
        jpegs[name] = encode_jpeg(develop(light, spec.imaging, chance(spec, 100 + number)), spec.imaging)
    return Scene(spec, truth, jpegs)


def clean_floor(spec: SceneSpec, truth: SceneTruth) -> tuple[Image, FloorGrid]:
    """Make the floor that all shots see, at about one raster pixel a photo pixel.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        Linear light.
    FloorGrid
        Where it lies.
    """
    poses = tuple(truth.poses.values())
    seen = np.concatenate([_frame_mm(pose) for pose in poses])
    patch = spec.patch
    left, top, right, bottom = (-np.inf, -np.inf, np.inf, np.inf)
    # Behind a wall nothing is seen of the floor, but the lens' blur and the camera's tilt need a little.
    if "left" in patch.walls:
        left = -5.0
    if "top" in patch.walls:
        top = -5.0
    if "right" in patch.walls:
        right = patch.width_mm + 5
    if "bottom" in patch.walls:
        bottom = patch.height_mm + 5
    low = np.maximum(seen.min(axis=0), (left, top))
    high = np.minimum(seen.max(axis=0), (right, bottom))
    middles = [(patch.width_mm / 2, patch.height_mm / 2)] * len(poses)
    if len(poses) > len(spec.shot_names):
        middles = [tuple(pose.floor_mm(np.array([pose.size_px]) / 2)[0].tolist()) for pose in poses]
    step = float(np.median([pose.mm_per_px(middle) for pose, middle in zip(poses, middles, strict=True)]))
    size = np.ceil((high - low) / step).astype(int) + 3
    grid = FloorGrid(float(low[0]) - step, float(low[1]) - step, step, int(size[1]), int(size[0]))
    colors = [portion.kind.color_srgb for portion in spec.portions]
    return floor_raster(spec.floor, grid, colors, chance(spec, 3)), grid


def _frame_mm(pose: Pose) -> Floats:
    width, height = pose.size_px
    t = np.linspace(0, 1, 17)[:, None]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    frame = [a + t * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    return pose.floor_mm(np.concatenate(frame))


def shot_light(spec: SceneSpec, truth: SceneTruth, name: str, floor: Image, grid: FloorGrid) -> Image:
    """Light on the sensor in one photo, before blur and noise.

    Parameters
    ----------
    spec : SceneSpec
        The scene.
    truth : SceneTruth
        Its truth.
    name : str
        Name of the photo.
    floor : ndarray of float32, shape (H, W, 3)
        The clean floor, as `clean_floor` makes it.
    grid : FloorGrid
        Where it lies.

    Returns
    -------
    ndarray of float32, shape (rows, columns, 3)
        Linear light; 1 is white.
    """
    pose = truth.poses[name]
    coarse = pose.coarse_floor_mm()
    x, y = (pose.refine(coarse[..., axis]) for axis in (0, 1))
    columns = (x - np.float32(grid.x0_mm)) / np.float32(grid.mm_per_px)
    rows = (y - np.float32(grid.y0_mm)) / np.float32(grid.mm_per_px)
    light = np.asarray(cv2.remap(floor, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)
    draw_markers(light, spec.patch, pose, x, y)
    shot = spec.shot_of[name]
    if shot != "blank":
        state = 0 if shot == "before" else int(shot.removeprefix("after") or 1)
        paint_grains(light, truth, state, pose, spec.light)
    draw_things(light, spec.patch, pose)
    room = draw_room(spec, chance(spec, 50 + list(spec.shot_of).index(name)))
    draw_walls(light, spec.patch, pose, x, y)
    return _lit(light, spec, room, pose, coarse)


def _lit(light: Image, spec: SceneSpec, room: Room, pose: Pose, coarse: Floats) -> Image:
    field, shine = light_field(spec, room, pose, coarse)
    light *= pose.refine(field)[..., None]
    if shine is not None:
        light += pose.refine(shine)[..., None]
    light *= np.array(room.gains, np.float32)
    return light
