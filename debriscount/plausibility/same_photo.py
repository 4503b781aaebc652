"""One photo given for two shots of a run, and shots whose camera times contradict their order."""

from collections.abc import Mapping
from itertools import combinations, pairwise

from ..errors import PhotoFileError
from ..flags import Flag
from ..markers.copies import is_copy
from ..markers.find_markers import SeenMarker
from ..photo.read import Photo
from ..photo.saved_again import same_picture


def check_distinct(photos: Mapping[str, Photo]) -> None:
    """Raise PhotoFileError if one photo is given for two shots, as one file or as equal pixels."""
    for (first, one), (second, other) in combinations(photos.items(), 2):
        if same_picture(one, other):
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
        if is_copy(one, seen[first], other, seen[second]):
            _refuse(first, one, second, other, "is the same picture, saved again, as")


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


def _refuse(first: str, one: Photo, second: str, other: Photo, what: str) -> None:
    later, name, earlier = (one, first, second) if first == "blank" else (other, second, first)
    raise PhotoFileError(f"{later.name}: given as {name}, {what} *{earlier}*. {_WANTED.get(name, _LATER)}")


_WANTED = {"blank": "Give the photo of the clean floor, or leave --blank out."}
_LATER = "Give the photo taken after the pass."
