"""What two photos that overlap show both: by its look alone, and exactly once it is known about where they lie."""

from collections.abc import Sequence
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.fit import Ties
from ..camera.view import FloorToPhoto
from ..registration.grid import FloorGrid
from ..registration.resample import light_near, look_up
from ..stats.robust import robust_sd

#: Long side of the copies whose looks are compared, px: features of a copy that size tell places to a few pixels.
COPY_PX = 1600
#: Features sought in a copy, the strongest first, and the contrast below which there is none: a plain floor has faint
#: ones alone, of which OpenCV's usual 0.04 leaves forty.
FEATURES, FAINTEST = 4000, 0.005
#: A feature is matched if it is that much nearer than the next best [Lowe 2004], and so many matches must agree.
RATIO, LEAST_MATCHES = 0.75, 25
#: Ties of a pair at most, and least distance between them over what would spread them evenly.
MOST_TIES, SPREAD = 700, 0.7
#: Width over which brightness is levelled before places are tied, and the window that is tied, px.
LEVEL_PX, WINDOW_PX = 25, 15
#: Blur by which a photo's noise is taken from what is tied, px.
SMOOTH_PX = 1.0
#: What differs from the floor around it by that many robust standard deviations stands on it, such as a grain, and is
#: seen elsewhere from another side; it is tied as well where fewer than so many ties are found on bare floor:
#: between the chips of a terrazzo a hundred are, half of them false.
STANDS_OUT, LEAST_BARE = 3.0, 150
#: How far a grain's soft rim and its shade reach, px.
HALO_PX = 6
#: A tie that does not come back to where it began is none, px.
BACK_PX = 0.3
#: Least side of what both photos must show, in windows.
LEAST_WINDOWS = 4


def plane_by_looks(placed: NDArray[np.uint8], other: NDArray[np.uint8]) -> tuple[Floats, int]:
    """Homography from one photo's pixels to another's by what looks alike, and how many matches agree.

    Parameters
    ----------
    placed, other : ndarray of uint8, shape (H, W, 3)
        Photos that overlap.

    Returns
    -------
    ndarray of shape (3, 3), int
        A homography that means nothing where fewer than ``LEAST_MATCHES`` agree.

    Notes
    -----
    SIFT [1]_ with the ratio test, and RANSAC, all of OpenCV.

    References
    ----------
    .. [1] D. G. Lowe, Distinctive image features from scale-invariant keypoints, Int. J. Comput. Vision 60 (2004) 91.
    """
    sift = cv2.SIFT.create(FEATURES, contrastThreshold=FAINTEST)
    copies = [_copy(pixels) for pixels in (placed, other)]
    (points, looks), (other_points, other_looks) = (sift.detectAndCompute(copy, None) for copy, _ in copies)
    if looks is None or other_looks is None or min(len(looks), len(other_looks)) < LEAST_MATCHES:
        return np.eye(3), 0
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(looks, other_looks, k=2)
    good = [pair[0] for pair in pairs if len(pair) == 2 and pair[0].distance < RATIO * pair[1].distance]
    if len(good) < LEAST_MATCHES:
        return np.eye(3), len(good)
    here = np.array([points[m.queryIdx].pt for m in good]) / copies[0][1]
    there = np.array([other_points[m.trainIdx].pt for m in good]) / copies[1][1]
    plane, agree = cv2.findHomography(here, there, cv2.RANSAC, 4 / copies[1][1])
    return (np.eye(3), 0) if plane is None else (np.asarray(plane, float), int(agree.sum()))


def _copy(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    share = min(1.0, COPY_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8), share


def tie(
    numbers: tuple[int, int],
    photos: tuple[NDArray[np.uint8], NDArray[np.uint8]],
    views: tuple[FloorToPhoto, FloorToPhoto],
    *,
    coarser: float = 1.0,
    group: int = 0,
) -> tuple[Ties, ...]:
    """Places that two photos show both, to a fraction of a pixel.

    Parameters
    ----------
    numbers : (int, int)
        The photos' numbers.
    photos : pair of ndarray of uint8, shape (H, W, 3)
        sRGB.
    views : pair of FloorToPhoto
        About where they were taken from: places may be off by some tens of pixels.
    coarser : float
        How much coarser than the photos they are compared.
    group : int
        Of the ties where they are not on bare floor.

    Returns
    -------
    tuple of Ties
        Those on bare floor and, where these are few, those of all that both show as a group; none where the photos do
        not overlap, or show nothing in common.

    Notes
    -----
    Both are seen from straight above, without what stands out from the floor; corners of the one [1]_
    are followed into the other [2]_ and back.

    References
    ----------
    .. [1] J. Shi, C. Tomasi, Good features to track, IEEE CVPR 1994, 593-600.
    .. [2] B. D. Lucas, T. Kanade, An iterative image registration technique, IJCAI 1981, 674-679.
    """
    grid = _shared(photos, views, coarser)
    if grid is None:
        return ()
    seen, level = [], []
    for pixels, view in zip(photos, views, strict=True):
        light, there = look_up(light_near(pixels, view, grid).luminance(), view, grid)
        seen.append(there)
        level.append(_levelled(light))
    both = seen[0] & seen[1]
    bare = both & ~_stands_out(level[0], both) & ~_stands_out(level[1], both)
    found: list[tuple[tuple[Floats, Floats], int | None]] = [(_followed(level, bare), None)]
    if len(found[0][0][0]) < LEAST_BARE:
        found.append((_followed(level, both), group))
    made = []
    for places, of in found:
        if len(places[0]) >= LEAST_WINDOWS:
            first_mm, second_mm = (v * grid.mm_per_px + (grid.x0_mm, grid.y0_mm) for v in places)
            made.append(
                Ties(
                    first=numbers[0],
                    second=numbers[1],
                    first_px=views[0].project(first_mm),
                    second_px=views[1].project(second_mm),
                    group=of,
                )
            )
    return tuple(made)


def _stands_out(level: NDArray[np.float32], seen: Mask) -> Mask:
    """Which places of a levelled view are much lighter or darker than the floor around them, or lie close to such."""
    spread = max(robust_sd(level[seen][::7], 0.0) if seen.any() else 0.0, 1e-6)
    far = (np.abs(level) > STANDS_OUT * spread).astype(np.uint8)
    return cv2.dilate(far, np.ones((2 * HALO_PX + 1,) * 2, np.uint8)).astype(bool)


def _followed(level: Sequence[NDArray[np.float32]], where: Mask) -> tuple[Floats, Floats]:
    """Columns and rows of corners in the first view and of the same in the second, both of shape (N, 2)."""
    allowed = cv2.erode(where.astype(np.uint8), np.ones((WINDOW_PX, WINDOW_PX), np.uint8))
    if not allowed.any():
        return np.zeros((0, 2)), np.zeros((0, 2))
    spread = max(float(np.std(level[0][where])), 1e-6)
    first, second = (np.clip(128 + 40 / spread * v, 0, 255).astype(np.uint8) for v in level)
    apart = SPREAD * float(np.sqrt(allowed.sum() / MOST_TIES))
    corners = cv2.goodFeaturesToTrack(first, MOST_TIES, 0.01, max(apart, 1.0), mask=allowed, blockSize=7)
    if corners is None:
        return np.zeros((0, 2)), np.zeros((0, 2))
    window, deep = (WINDOW_PX, WINDOW_PX), 3
    follow = partial(cv2.calcOpticalFlowPyrLK, nextPts=None, winSize=window, maxLevel=deep)
    there, found, _ = follow(first, second, corners)
    back, again, _ = follow(second, first, there)
    here, there, back = (np.asarray(v, float).reshape(-1, 2) for v in (corners, there, back))
    kept = (found.ravel() == 1) & (again.ravel() == 1) & (np.hypot(*(back - here).T) < BACK_PX)
    return here[kept], there[kept]


def _shared(
    photos: tuple[NDArray[np.uint8], NDArray[np.uint8]], views: tuple[FloorToPhoto, FloorToPhoto], coarser: float
) -> FloorGrid | None:
    """A raster over the floor that both photos show, about as fine as the coarser of them."""
    boxes = [floor_box_mm(pixels, view) for pixels, view in zip(photos, views, strict=True)]
    low, high = np.maximum(boxes[0][0], boxes[1][0]), np.minimum(boxes[0][1], boxes[1][1])
    if (high <= low).any():
        return None
    step = coarser * max(float(view.mm_per_px((low + high)[None] / 2)[0]) for view in views)
    width, height = ((high - low) / step).astype(int).tolist()
    if min(width, height) < LEAST_WINDOWS * WINDOW_PX:
        return None
    return FloorGrid(float(low[0]), float(low[1]), step, height, width)


def floor_box_mm(pixels: NDArray[np.uint8], view: FloorToPhoto) -> tuple[Floats, Floats]:
    """Least and most x and y of the floor that a photo shows at its rim, mm."""
    height, width = pixels.shape[:2]
    share = np.linspace(0, 1, 9)[:, None]
    corners = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
    rim = [a + share * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    floor = view.floor_mm(np.concatenate(rim))
    return floor.min(axis=0), floor.max(axis=0)


def _levelled(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logarithm of brightness without its slow changes, shape (H, W)."""
    brightness = cv2.GaussianBlur(np.log(np.maximum(light, np.float32(1e-3))), (0, 0), SMOOTH_PX)
    return np.asarray(brightness - cv2.blur(brightness, (LEVEL_PX, LEVEL_PX)), np.float32)
