"""Two photos that are one picture, by where they show the markers and by what they show."""

from collections.abc import Mapping

import numpy as np

from ..photo.read import Photo
from ..photo.saved_again import saved_again
from .find_markers import SeenMarker

#: How far markers may lie apart in two copies of one photo, px of the smaller: they are found to some hundredths, a
#: copy of another size to half. A hand moves the camera by dozens, a stand may hold it: so this alone says nothing.
SAME_PLACE_PX = 0.75


def is_copy(one: Photo, seen: Mapping[int, SeenMarker], other: Photo, seen_there: Mapping[int, SeenMarker]) -> bool:
    """Whether a photo is another one, saved again in other compression or size."""
    apart = corners_apart_px(one, seen, other, seen_there)
    return apart is not None and apart < SAME_PLACE_PX and saved_again(one, other)


def corners_apart_px(
    one: Photo, seen: Mapping[int, SeenMarker], other: Photo, seen_there: Mapping[int, SeenMarker]
) -> float | None:
    """Median distance of the corners of two photos' markers, px of the smaller one, once that is as large.

    None where they show no marker in common or differ in shape.
    """
    both = sorted(set(seen) & set(seen_there))
    larger = float(max(other.pixels.shape[:2]) / max(one.pixels.shape[:2]))
    if not both or abs(min(one.pixels.shape[:2]) * larger - min(other.pixels.shape[:2])) > 1 + larger:
        return None
    a, b = (np.concatenate([those[i].corners_px for i in both]) for those in (seen, seen_there))
    # Pixel centres lie at whole numbers, so the picture's corner lies at -0.5.
    apart = float(np.median(np.hypot(*((a + 0.5) * larger - 0.5 - b).T)))
    return apart / float(max(larger, 1.0))
