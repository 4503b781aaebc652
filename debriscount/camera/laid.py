"""Where squares lie that were laid anyhow, told by one photo of them: their sides are the scale.

References
----------
.. [1] R. Hartley and A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., Cambridge 2004, chapter 18:
   adjusting view and places together to what is seen.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares

from ..arrays import Floats
from ..errors import MarkerError, SheetError
from ..inputs.patch import Marker
from ..markers.find_markers import SeenMarker

#: Fewest squares: three fix a patch.
LEAST_SQUARES = 3
#: How much a phone's picture may be bent at its corners, as a share of the way from the middle (standard): most phones
#: straighten their pictures (common practice, no source).
_BENT = 0.01
#: Farther off than that from where all corners together have it, px, no corner of a square that lies flat is seen.
MOST_OFF_PX = 3.0
#: Shares by which a tape measure and the printed sides may differ: a printer scales by that at most, as for the ruler.
MOST_SCALED = 0.1


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LaidSquares:
    """Squares where they lie, seen from the first of them: it lies at 0, and x goes to the right of the photo.

    ``u_mm`` is the standard uncertainty of a place by number, from the corners alone; ``off_px`` how far corners are
    seen from where they should be, root mean square. ``to_photo`` projects places, shape (N, 2), mm, into the photo.
    """

    markers: tuple[Marker, ...]
    u_mm: Mapping[int, float]
    off_px: float
    view: Floats
    bent: float
    size_px: tuple[int, int]

    def to_photo(self, places_mm: Floats) -> Floats:
        """Column and row of floor places, shape (N, 2)."""
        return _project(self.view, self.bent, self.size_px, places_mm)


def lay_by_photo(seen: Mapping[int, SeenMarker], side_mm: float, size_px: tuple[int, int]) -> LaidSquares:
    """Tell where squares lie from the corners that a photo shows.

    Parameters
    ----------
    seen : mapping of int to SeenMarker
        By number.
    side_mm : float
        Side of all black squares, mm.
    size_px : (int, int)
        Width and height of the photo.

    Returns
    -------
    LaidSquares

    Raises
    ------
    MarkerError
        Fewer than three are seen, or one does not lie flat with the others.

    Notes
    -----
    View (a homography and one term of bending) and places are adjusted together to all corners [1]_; the first square
    is the origin, since a photo tells where things lie among one another alone.
    """
    numbers = sorted(seen)
    if len(numbers) < LEAST_SQUARES:
        raise MarkerError(
            f"{len(numbers)} of at least {LEAST_SQUARES} squares are seen. Lay three or more flat, and photograph them"
            " all at once."
        )
    half = side_mm / 2
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    corners = np.array([seen[number].corners_px for number in numbers])
    sigma = np.array([max(seen[number].sigma_px, 0.05) for number in numbers])[:, None, None]
    # The largest square sees the plane best, and gives the beginning.
    areas = [cv2.contourArea(quad.astype(np.float32)) for quad in corners]
    largest = int(np.argmax(areas))
    onto = cv2.getPerspectiveTransform(corners[largest].astype(np.float32), square.astype(np.float32))
    floor = cv2.perspectiveTransform(corners.reshape(1, -1, 2), onto).reshape(corners.shape)
    first = _poses(np.asarray(floor, float))
    view = np.linalg.inv(onto)
    view /= view[2, 2]

    def model(values: Floats) -> tuple[Floats, float, Floats]:
        poses = np.vstack([first[:1], values[9:].reshape(-1, 3)])
        return np.append(values[:8], 1.0).reshape(3, 3), float(values[8]), poses

    def residuals(values: Floats) -> Floats:
        matrix, bent, poses = model(values)
        places = np.array([_placed(square, pose) for pose in poses])
        projected = _project(matrix, bent, size_px, places.reshape(-1, 2)).reshape(corners.shape)
        return np.append(((projected - corners) / sigma).ravel(), bent / _BENT)

    start = np.concatenate([view.ravel()[:8], [0.0], first[1:].ravel()])
    scale = np.concatenate(
        [np.maximum(np.abs(view.ravel()[:8]), 1e-6), [_BENT], np.tile([side_mm, side_mm, 1], len(numbers) - 1)]
    )
    # A corner under a grain or a fold must not pull all others along.
    found = least_squares(residuals, start, x_scale=scale, loss="soft_l1", f_scale=3.0, max_nfev=400)
    matrix, bent, poses = model(found.x)
    off = residuals(found.x)[:-1].reshape(corners.shape) * sigma
    worst = np.abs(off).max(axis=(1, 2))
    if worst.max() > MOST_OFF_PX:
        number = numbers[int(worst.argmax())]
        raise MarkerError(
            f"square {number} does not lie as the others say, by {worst.max():.1f} px: it is not flat, or of another"
            " size. Lay it flat, and photograph all again."
        )
    u = _uncertainty(np.asarray(found.jac, float), found.fun, len(numbers))
    poses, matrix = _upright(poses, matrix, size_px)
    return LaidSquares(
        markers=tuple(_as_markers(poses, numbers, side_mm)),
        u_mm=dict(zip(numbers, u, strict=True)),
        off_px=float(np.sqrt(np.mean(off**2))),
        view=matrix,
        bent=bent,
        size_px=size_px,
    )


def scaled_by_tape(laid: LaidSquares, first: int, second: int, tape_mm: float) -> LaidSquares:
    """Return the squares as a tape measure between two of their centres has them.

    Parameters
    ----------
    laid : LaidSquares
        As the photo tells.
    first, second : int
        Numbers of the two.
    tape_mm : float
        What the tape says, mm.

    Raises
    ------
    SheetError
        It is off by more than a printer scales: something else is wrong.
    """
    by_number = {marker.id: marker for marker in laid.markers}
    a, b = (np.array(by_number[number].center_mm) for number in (first, second))
    seen_mm = float(np.linalg.norm(a - b))
    factor = tape_mm / seen_mm
    if not abs(factor - 1) <= MOST_SCALED:
        raise SheetError(
            f"by the photo, the centres of squares {first} and {second} lie {seen_mm:.0f} mm apart, by the tape"
            f" {tape_mm:g} mm. Look whether the side of the squares is right, and measure again."
        )
    markers = tuple(
        Marker(m.id, (m.center_mm[0] * factor, m.center_mm[1] * factor), m.side_mm * factor, m.turned_deg)
        for m in laid.markers
    )
    return LaidSquares(
        markers=markers,
        u_mm={number: u * factor for number, u in laid.u_mm.items()},
        off_px=laid.off_px,
        view=laid.view @ np.diag([1 / factor, 1 / factor, 1.0]),
        bent=laid.bent,
        size_px=laid.size_px,
    )


def farthest_pair(laid: LaidSquares) -> tuple[int, int, float]:
    """Numbers of the two squares that lie farthest apart, and how far, mm: where a tape measure tells most."""
    pairs = [
        (a.id, b.id, float(np.hypot(a.center_mm[0] - b.center_mm[0], a.center_mm[1] - b.center_mm[1])))
        for number, a in enumerate(laid.markers)
        for b in laid.markers[number + 1 :]
    ]
    return max(pairs, key=lambda pair: pair[2])


def _poses(floor: Floats) -> Floats:
    """Centre and turn of squares from their corners, shape (N, 4, 2): x, y and radians clockwise, shape (N, 3)."""
    centers = floor.mean(axis=1)
    along = (floor[:, 1] - floor[:, 0]) + (floor[:, 2] - floor[:, 3])
    return np.column_stack([centers, np.arctan2(along[:, 1], along[:, 0])])


def _placed(square: Floats, pose: Floats) -> Floats:
    c, s = np.cos(pose[2]), np.sin(pose[2])
    return np.asarray(square @ np.array([[c, s], [-s, c]]) + pose[:2])


def _project(view: Floats, bent: float, size_px: tuple[int, int], places_mm: Floats) -> Floats:
    """Places in the photo: by the homography, then bent away from the middle by a share that grows with distance²."""
    ahead = np.column_stack([places_mm, np.ones(len(places_mm))]) @ view.T
    straight = ahead[:, :2] / ahead[:, 2:]
    middle = (np.array(size_px, float) - 1) / 2
    away = straight - middle
    share = (away**2).sum(axis=1, keepdims=True) / (middle**2).sum()
    return np.asarray(middle + away * (1 + bent * share))


def _upright(poses: Floats, view: Floats, size_px: tuple[int, int]) -> tuple[Floats, Floats]:
    """Poses about the first square with x to the right of the photo, and the view of such places."""
    middle = np.array(size_px, float) / 2
    ends = np.array([[*middle, 1], [middle[0] + middle[0] / 10, middle[1], 1]]) @ np.linalg.inv(view).T
    (x0, y0), (x1, y1) = ends[:, :2] / ends[:, 2:]
    turn = np.arctan2(y1 - y0, x1 - x0)
    c, s = np.cos(turn), np.sin(turn)
    turned = np.array([[c, -s], [s, c]])
    upright = np.column_stack([(poses[:, :2] - poses[0, :2]) @ turned, poses[:, 2] - turn])
    back = np.eye(3)
    back[:2, :2], back[:2, 2] = turned, poses[0, :2]
    return upright, view @ back


def _as_markers(poses: Floats, numbers: list[int], side_mm: float) -> list[Marker]:
    return [
        Marker(number, (float(x), float(y)), side_mm, float((np.rad2deg(turn) + 180) % 360 - 180))
        for number, (x, y, turn) in zip(numbers, poses, strict=True)
    ]


def _uncertainty(jacobian: Floats, residuals: Floats, count: int) -> list[float]:
    """Standard uncertainty of each place, mm; 0 of the first, which is the origin."""
    freedom = max(len(residuals) - jacobian.shape[1], 1)
    # The corners' own sigma is what is known of them; what scatters more than that says so.
    factor = max(1.0, float((residuals**2).sum() / freedom))
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * factor
    u = [0.0]
    for number in range(count - 1):
        k = 9 + 3 * number
        u.append(float(np.sqrt(covariance[k, k] + covariance[k + 1, k + 1])))
    return u
