"""Which of several photos shows each place of the floor: the one that sees it best, with seams where they agree."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..camera.view import FloorToPhoto, camera_place

#: Share of a photo's long side that is its rim, where lenses are least sharp and least known, and what that costs.
RIM, RIM_COST = 0.04, 0.5
#: What a place seen at 45 degrees costs, beside the logarithm of the length of floor that a pixel spans: a grain's
#: flanks then show as wide as its top.
SLANT_COST = 0.7
#: Pixels of the raster between places whose cost is computed.
SPARSE = 16
#: Photos whose costs differ by less see a place about as well; between them the seam goes where they agree.
ALIKE = 0.12


def cost_of(view: FloorToPhoto, size_px: tuple[int, int], x_mm: Floats, y_mm: Floats) -> NDArray[np.float32]:
    """What it costs to take each place from a photo: little where it is seen finely, from above, and not at the rim.

    Parameters
    ----------
    view : FloorToPhoto
        Where the photo was taken from.
    size_px : (int, int)
        Its width and height.
    x_mm, y_mm : ndarray of shape (W,) and (H,)
        Places of the raster.

    Returns
    -------
    ndarray of float32, shape (H, W)
        Infinite where the photo does not show the place.
    """
    # What a pixel spans changes slowly; in between it is linear.
    sparse = [np.append(v[: -1 : SPARSE if len(v) > 4 * SPARSE else 1], v[-1]) for v in (x_mm, y_mm)]
    places = np.stack(np.meshgrid(*sparse), axis=-1).reshape(-1, 2)
    x, y, height = camera_place(view)
    slow = np.log(view.mm_per_px(places)) + SLANT_COST * np.hypot(*(places - (x, y)).T) / height
    across, down = view.project(places).T
    shape = len(sparse[1]), len(sparse[0])
    cost, across, down = (_between(v.reshape(shape), sparse, x_mm, y_mm) for v in (slow, across, down))
    to_rim = np.minimum.reduce([across, down, size_px[0] - 1 - across, size_px[1] - 1 - down])
    cost += RIM_COST * np.clip(1 - to_rim / (RIM * max(size_px)), 0, 1)
    cost[to_rim < 0] = np.inf
    return np.asarray(cost, np.float32)


def _between(values: Floats, sparse: Sequence[Floats], x_mm: Floats, y_mm: Floats) -> Floats:
    """Values known at sparse places, linear in between; shape (len(y_mm), len(x_mm))."""
    along = np.array([np.interp(x_mm, sparse[0], row) for row in values])
    row = np.interp(y_mm, sparse[1], np.arange(len(sparse[1])))
    above = np.minimum(row.astype(int), max(len(sparse[1]) - 2, 0))
    share = (row - above)[:, None]
    below = np.minimum(above + 1, len(sparse[1]) - 1)
    return np.asarray((1 - share) * along[above] + share * along[below], float)


def choose_photos(
    costs: Sequence[NDArray[np.float32]], views: Sequence[NDArray[np.float32]], seen: Sequence[Mask]
) -> NDArray[np.int32]:
    """Number of the photo that each place is taken from, counted from 1; 0 where none shows it.

    Parameters
    ----------
    costs : sequence of ndarray of float32, shape (H, W)
        As `cost_of` gives them.
    views : sequence of ndarray of float32, shape (H, W, 3)
        Linear light of each photo, matched.
    seen : sequence of ndarray of bool, shape (H, W)
        Where each shows the floor.

    Returns
    -------
    ndarray of int32, shape (H, W)

    Notes
    -----
    Where one photo is clearly the best it is taken. Between, a watershed [1]_ of how much the two best agree floods
    from there; places that differ, such as grains seen from two sides, are flooded first and so fall whole to one
    photo, and the seam comes to lie where both show the same.

    References
    ----------
    .. [1] F. Meyer, Color image segmentation, Int. Conf. on Image Processing and its Applications 1992, 303-306.
    """
    stacked = np.stack([np.where(shows, cost, np.inf) for cost, shows in zip(costs, seen, strict=True)])
    order = np.argsort(stacked, axis=0)
    best = order[0]
    first = np.take_along_axis(stacked, order[:1], axis=0)[0]
    shown = np.isfinite(first)
    if len(stacked) == 1:
        return np.where(shown, 1, 0).astype(np.int32)
    second = np.take_along_axis(stacked, order[1:2], axis=0)[0]
    other = np.where(np.isfinite(second), order[1], best)
    apart = np.zeros(best.shape, np.float32)
    for number, view in enumerate(views):
        light = np.log(np.maximum(view, np.float32(0.01))).sum(axis=2)
        apart += np.where(best == number, light, 0) - np.where(other == number, light, 0)
    differ = cv2.GaussianBlur(np.abs(apart), (0, 0), 1.0)
    sure = shown & (second - np.where(shown, first, 0) > ALIKE)
    from skimage.segmentation import watershed

    markers = np.where(sure, best + 1, 0).astype(np.int32)
    flooded = watershed(-differ, markers, mask=shown)  # type: ignore[no-untyped-call]
    # Where no photo is ever clearly the best, nothing floods.
    flooded = np.where(flooded > 0, flooded, best + 1)
    unseen = ~np.take_along_axis(np.isfinite(stacked), flooded[None] - 1, axis=0)[0]
    flooded[unseen] = best[unseen] + 1
    return np.where(shown, flooded, 0).astype(np.int32)
