"""One photo given for two shots of a run, and shots whose camera times contradict their order."""

from collections.abc import Mapping
from itertools import combinations, pairwise

import numpy as np

from ..errors import PhotoFileError
from ..flags import Flag
from ..geometry.markers import SeenMarker
from ..photo.read import Photo
from ..photo.saved_again import saved_again

#: How far markers may lie apart in two copies of one photo, px of the smaller: they are found to some hundredths, a
#: copy of another size to half. A hand moves the camera by dozens, a stand may hold it: so this alone says nothing.
SAME_PLACE_PX = 0.75


def check_distinct(photos: Mapping[str, Photo]) -> None:
    """Raise PhotoFileError if one photo is given for two shots, as one file or as equal pixels."""
    for (first, one), (second, other) in combinations(photos.items(), 2):
        if (one.sha256 and one.sha256 == other.sha256) or _equal(one, other):
            _refuse(first, one, second, other, "is the same photo as")


def check_saved_again(photos: Mapping[str, Photo], seen: Mapping[str, Mapping[int, SeenMarker]]) -> None:
    """Raise PhotoFileError if a shot's photo is another's, saved again in other compression or size.

    Parameters
    ----------
    photos : mapping of str to Photo
        By shot name.
    seen : mapping of str to mapping of int to SeenMarker
        Markers found in each shot.
    """
    for (first, one), (second, other) in combinations(photos.items(), 2):
        apart = corners_apart_px(one, seen[first], other, seen[second])
        if apart is not None and apart < SAME_PLACE_PX and saved_again(one, other):
            _refuse(first, one, second, other, "is the same picture, saved again, as")


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


def time_flags(photos: Mapping[str, Photo]) -> list[Flag]:
    """A flag for every shot that the camera says was taken before the one it follows.

    The blank may be taken at any time: some clean the floor and photograph it last.
    """
    taken = [(name, p.settings.taken) for name, p in photos.items() if name != "blank" and p.settings.taken is not None]
    return [
        Flag(
            code="taken-backwards",
            severity="doubtful",
            sentence=f"by the camera's clock {name} was taken at {_clock(time)} and {earlier}, which came first, at "
            f"{_clock(then)}. Were the two exchanged, or was the clock set in between?",
            shot=name,
        )
        for (earlier, then), (name, time) in pairwise(taken)
        if time < then  # ISO 8601 sorts as text
    ]


def _clock(taken: str) -> str:
    return taken.replace("T", " ")


def _equal(one: Photo, other: Photo) -> bool:
    return one.pixels.shape == other.pixels.shape and np.array_equal(one.pixels, other.pixels)


def _refuse(first: str, one: Photo, second: str, other: Photo, what: str) -> None:
    later, name, earlier = (one, first, second) if first == "blank" else (other, second, first)
    raise PhotoFileError(f"{later.name}: given as {name}, {what} *{earlier}*. {_WANTED.get(name, _LATER)}")


_WANTED = {"blank": "Give the photo of the clean floor, or leave --blank out."}
_LATER = "Give the photo taken after the pass."
