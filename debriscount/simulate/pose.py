"""The simulated camera: where it stands, and which photo pixel shows which floor place."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..camera.lens import Lens
from ..camera.view import FloorToPhoto
from ..errors import SceneError
from ..inputs.patch import Patch
from ..layout.paper import MODULES, QUIET_MODULES
from .spec import Camera

#: Share of the photo left free around what must be seen.
_BORDER = {True: 0.05, False: 0.02}
#: Floor places are computed every so many pixels and interpolated between.
_STEP = 8
_HIGHEST_MM = 20_000.0
#: Left, top, right and bottom, mm.
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """A camera in one shot.

    ``view`` is what `debriscount.camera.fit` would fit, with the true principal point and focal length.
    ``eye_mm`` is the camera's place: x, y and height above the floor.
    """

    view: FloorToPhoto
    eye_mm: tuple[float, float, float]
    size_px: tuple[int, int]
    tilt_deg: float
    step_px: int = _STEP

    def mm_per_px(self, xy_mm: tuple[float, float]) -> float:
        """Floor length that a pixel spans at a place, mm."""
        return float(self.view.mm_per_px(np.array([xy_mm]))[0])

    def jacobian_px_per_mm(self, xy_mm: Floats) -> Floats:
        """Return the derivative of pixel by floor place at places of shape (N, 2), shape (N, 2, 2)."""
        return self.view.px_per_mm(xy_mm)

    def floor_mm(self, pixels: Floats) -> Floats:
        """Floor places of pixels of shape (N, 2) (column, row), shape (N, 2), mm."""
        return self.view.floor_mm(pixels)

    def coarse_floor_mm(self) -> Floats:
        """Floor places of every eighth pixel, shape (rows, columns, 2), for `refine`."""
        width, height = self.size_px
        columns = _STEP * np.arange(-1, -(-width // _STEP) + 1) + (_STEP - 1) / 2
        rows = _STEP * np.arange(-1, -(-height // _STEP) + 1) + (_STEP - 1) / 2
        grid = np.stack(np.meshgrid(columns, rows), axis=-1)
        return self.floor_mm(grid.reshape(-1, 2)).reshape(grid.shape)

    def refine(self, coarse: NDArray[np.floating]) -> NDArray[np.float32]:
        """Interpolate a grid as `coarse_floor_mm` makes it to full size, float32.

        Bilinear; what perspective bends within eight pixels is thousandths of a pixel.
        """
        import cv2

        width, height = self.size_px
        rows, columns = coarse.shape[:2]
        full = cv2.resize(coarse.astype(np.float32), (columns * _STEP, rows * _STEP), interpolation=cv2.INTER_LINEAR)
        return np.asarray(full[_STEP : _STEP + height, _STEP : _STEP + width], np.float32)


def photo_size_px(patch: Patch, camera: Camera) -> tuple[int, int]:
    """Width and height of a 4:3 photo, lying or standing as what it must show."""
    return _size_px(seen_box_mm(patch), camera)


def _size_px(box: Box, camera: Camera) -> tuple[int, int]:
    long = 2 * round(np.sqrt(camera.megapixels * 1e6 * 4 / 3) / 2)
    short = 2 * round(long * 3 / 8)
    wide = box[2] - box[0] >= box[3] - box[1]
    return (long, short) if wide else (short, long)


def seen_box_mm(patch: Patch) -> Box:
    """Left, top, right and bottom of what a photo must show: patch, margin, markers and a strip of wall."""
    left, top, right, bottom = patch.outer_box_mm()
    paper = [m.side_mm * (0.5 + QUIET_MODULES / MODULES) for m in patch.markers]
    x = [m.center_mm[0] for m in patch.markers]
    y = [m.center_mm[1] for m in patch.markers]
    strip = 20.0
    return (
        min(left - strip * ("left" in patch.walls), *(a - p for a, p in zip(x, paper, strict=True))),
        min(top - strip * ("top" in patch.walls), *(a - p for a, p in zip(y, paper, strict=True))),
        max(right + strip * ("right" in patch.walls), *(a + p for a, p in zip(x, paper, strict=True))),
        max(bottom + strip * ("bottom" in patch.walls), *(a + p for a, p in zip(y, paper, strict=True))),
    )


def _photo_boxes_mm(patch: Patch, camera: Camera) -> list[Box]:
    """What each photo of a shot must show, row by row: equal parts that overlap."""
    left, top, right, bottom = seen_box_mm(patch)
    # Of n photos as wide as w that share o of it, all show n w - (n - 1) o w.
    wide = (right - left) / (camera.across - (camera.across - 1) * camera.overlap)
    high = (bottom - top) / (camera.down - (camera.down - 1) * camera.overlap)
    step = 1 - camera.overlap
    return [
        (left + i * step * wide, top + k * step * high, left + (i * step + 1) * wide, top + (k * step + 1) * high)
        for k in range(camera.down)
        for i in range(camera.across)
    ]


def pose_shots(
    patch: Patch, camera: Camera, shots: int, rng: np.random.Generator, size_px: tuple[int, int] | None = None
) -> tuple[Pose, ...]:
    """Stand the camera for every photo, shot by shot.

    Parameters
    ----------
    patch : Patch
        The camera aims at the middle of patch and markers.
    camera : Camera
        Checked by `check_spec`.
    shots : int
        Number of shots; each takes as many photos as the camera needs.
    rng : Generator
        Source of chance.
    size_px : (int, int), optional
        Width and height of the picture; a photo of the camera's megapixels unless given.

    Returns
    -------
    tuple of Pose

    Raises
    ------
    SceneError
        The given height is too low to see all markers, or too tilted.
    """
    stands = [_stand(patch, camera, box, size_px) for box in _photo_boxes_mm(patch, camera)]
    poses = []
    for size, height, aim in stands * shots:
        shift, turn = rng.standard_normal(3), rng.standard_normal(3)
        span, angle = (0.01 * height, 0.6) if camera.hand_held else (0.2, 0.01)
        poses.append(
            _pose(
                camera,
                height + span * float(np.clip(shift[2], -2, 2)),
                aim + span * np.clip(shift[:2], -2, 2) * 0.7,
                size,
                angle * np.clip(turn, -2, 2),
            )
        )
    for pose in poses:
        _check_seen(patch, camera, pose, markers=len(stands) == 1)
    return tuple(poses)


def _stand(
    patch: Patch, camera: Camera, box: Box, size_px: tuple[int, int] | None
) -> tuple[tuple[int, int], float, Floats]:
    """Size of a photo of a box, the camera's height over it, and what it aims at."""
    size = size_px or _size_px(box, camera)
    if camera.height_mm is None:
        return size, *_lowest(patch, camera, size, box)
    return size, camera.height_mm, _aimed(camera, camera.height_mm, size, box)[1]


def _pose(camera: Camera, height: float, aim: Floats, size: tuple[int, int], turn_deg: Floats) -> Pose:
    tilt, azimuth = (
        np.deg2rad(camera.tilt_deg + turn_deg[0]),
        np.deg2rad(camera.azimuth_deg + 4 * turn_deg[1]),
    )
    roll = np.deg2rad(camera.roll_deg + turn_deg[2])
    lean = height * np.tan(tilt) * np.array([np.cos(azimuth), np.sin(azimuth)])
    eye = np.array([aim[0] + lean[0], aim[1] + lean[1], -height])
    forward = np.array([aim[0], aim[1], 0.0]) - eye
    forward /= np.linalg.norm(forward)
    right = np.array([1.0, 0.0, 0.0]) - forward[0] * forward
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    rotation = np.array(
        [np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right, forward]
    )
    focal = camera.focal_share * max(size)
    center = ((size[0] - 1) / 2 + camera.center_offset_px[0], (size[1] - 1) / 2 + camera.center_offset_px[1])
    intrinsic = np.array([[focal, 0, center[0]], [0, focal, center[1]], [0, 0, 1]])
    homography = intrinsic @ np.column_stack([rotation[:, 0], rotation[:, 1], -rotation @ eye])
    lens = Lens(center, (float(focal), float(focal)), (camera.k1, 0.0, 0.0))
    view = FloorToPhoto(homography / homography[2, 2], lens)
    real_tilt = float(np.rad2deg(np.arccos(np.clip(forward[2], -1, 1))))
    return Pose(view, (float(eye[0]), float(eye[1]), float(height)), size, real_tilt)


def _outline(box: Box) -> Floats:
    left, top, right, bottom = box
    steps = np.linspace(0, 1, 9)[:, None]
    corners = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    return np.concatenate([a + steps * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])


def _aimed(camera: Camera, height: float, size: tuple[int, int], box: Box) -> tuple[bool, Floats]:
    """Whether everything fits at this height, and the aim that centres it."""
    outline = _outline(box)
    aim = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    middle = (np.array(size) - 1) / 2
    fits = False
    for _ in range(6):
        pose = _pose(camera, height, aim, size, np.zeros(3))
        seen = pose.view.project(outline)
        low, high = seen.min(axis=0), seen.max(axis=0)
        fits = bool((high - low <= (1 - 2 * _BORDER[camera.hand_held]) * np.array(size)).all())
        step = (low + high) / 2 - middle
        aim = aim + pose.mm_per_px((float(aim[0]), float(aim[1]))) * _unroll(step, camera.roll_deg)
    return fits, aim


def _unroll(step: Floats, roll_deg: float) -> Floats:
    roll = np.deg2rad(roll_deg)
    return np.array([np.cos(roll) * step[0] - np.sin(roll) * step[1], np.sin(roll) * step[0] + np.cos(roll) * step[1]])


def _lowest(patch: Patch, camera: Camera, size: tuple[int, int], box: Box) -> tuple[float, Floats]:
    low, high = 50.0, _HIGHEST_MM
    if not _aimed(camera, high, size, box)[0]:
        raise SceneError(
            f"the patch of {patch.width_mm:g} by {patch.height_mm:g} mm does not fit into a photo from"
            f" {_HIGHEST_MM / 1000:g} m. Give a smaller camera.focal_share or tilt_deg."
        )
    for _ in range(30):
        middle = (low + high) / 2
        if _aimed(camera, middle, size, box)[0]:
            high = middle
        else:
            low = middle
    return high, _aimed(camera, high, size, box)[1]


def _check_seen(patch: Patch, camera: Camera, pose: Pose, *, markers: bool) -> None:
    for marker in patch.markers if markers else ():
        seen = pose.view.project(marker.corners_mm())
        if (seen < 3).any() or (seen > np.array(pose.size_px) - 4).any():
            lowest = _lowest(patch, camera, pose.size_px, seen_box_mm(patch))[0]
            raise SceneError(
                f"camera.height_mm {pose.eye_mm[2]:.0f}: marker {marker.id} lies outside of the photo."
                f" Raise the camera to {np.ceil(lowest / 10) * 10:.0f} mm, or leave the height out."
            )
    width, height = pose.size_px
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    flat = pose.view.lens.undistort(corners)
    inverse = np.linalg.inv(pose.view.homography)
    depth = flat @ inverse[2, :2] + inverse[2, 2]
    if (depth <= 0.05 * depth.max()).any():
        raise SceneError(f"camera.tilt_deg {camera.tilt_deg:g} lets the photo see the horizon. Tilt the camera less.")
    x, y, _ = pose.eye_mm
    behind = [wall for wall in patch.walls if patch.to_side_mm(wall, x, y) <= 1]
    if behind:
        raise SceneError(
            f'the camera would stand behind the wall "{behind[0]}". Lower camera.tilt_deg or turn camera.azimuth_deg.'
        )
