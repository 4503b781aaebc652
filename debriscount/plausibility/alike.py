"""Hands the shots of a run to the checks that hold them against one another."""

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..flags import Flag
from ..grains.find import FoundGrains
from ..markers.find_markers import SeenMarker
from ..photo.read import Photo
from ..shot_check.compare import floor_noise, marker_tones, moire_flags, noise_flags, tone_flags

#: How far from debris floor is bare, px: blur and sharpening reach that far.
RIM_PX = 3


#: By marker, what `marker_tones` says of it.
Tones = dict[int, Floats]


def shot_tones(photos: Mapping[str, Photo], seen: Mapping[str, Mapping[int, SeenMarker]]) -> dict[str, Tones]:
    """Tones of the markers that were found in photos, by shot."""
    return {name: marker_tones(photo.pixels, seen[name]) for name, photo in photos.items()}


def alike_flags(
    tones: Mapping[str, Tones],
    matched: Mapping[str, NDArray[np.float32]],
    found: Mapping[str, FoundGrains],
    usable: Mask,
) -> list[Flag]:
    """A flag for everything in which a shot was not taken like the others.

    Parameters
    ----------
    tones : mapping
        Of the markers, by shot, as `shot_tones` gives them.
    matched : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Floor views in one light.
    found : mapping of str to FoundGrains
    usable : ndarray of bool, shape (H, W)
        Floor that all shots show.
    """
    debris = np.logical_or.reduce([f.kind_map > 0 for f in found.values()]).astype(np.uint8)
    side = 2 * RIM_PX + 1
    bare = usable & (cv2.dilate(debris, np.ones((side, side), np.uint8)) == 0)
    noise = {name: floor_noise(view, bare) for name, view in matched.items()}
    return [*tone_flags(tones), *noise_flags(noise), *moire_flags(matched, bare)]
