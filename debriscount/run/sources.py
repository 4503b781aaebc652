"""What callers give: photos and kinds of debris, and how callers are told what is going on."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..cover.colours import LearnedColour
from ..cover.kinds import KindHint
from ..inputs.debris import DebrisKind
from ..inputs.debris_file import read_debris_files
from ..photo.colour import linear_to_srgb, luminance, srgb_to_linear
from ..photo.files import photos_in
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo, photo_from_array, read_photo
from .records import KindColor

#: A photo: a file or sRGB pixels of shape (H, W, 3), 8 bits a channel.
PhotoSource = str | PathLike[str] | NDArray[np.uint8]
#: A shot: a photo or, of a room, several that overlap: a folder of them, or each by itself.
ShotSource = PhotoSource | Sequence[PhotoSource]
Given = TypeVar("Given")
#: Told the share done, 0 to 1, and what is being done.
Progress = Callable[[float, str], None]


def loaded(given: Given | str | PathLike[str], read: Callable[[str | PathLike[str]], Given]) -> Given:
    """What was given, read if it is the path of a file."""
    return read(given) if isinstance(given, str | PathLike) else given


def load_photo(source: PhotoSource, name: str, most_megapixels: float = MOST_MEGAPIXELS) -> Photo:
    """Read a photo, or take an array for one.

    Parameters
    ----------
    source : path or ndarray of uint8, shape (H, W, 3)
        The photo.
    name : str
        What messages call an array.
    most_megapixels : float
        Larger photo files are refused.

    Returns
    -------
    Photo

    Raises
    ------
    PhotoFileError
        As `read_photo`.
    ValueError
        As `photo_from_array`.
    """
    if isinstance(source, np.ndarray):
        return photo_from_array(source, name)
    return read_photo(source, most_megapixels=most_megapixels)


def photos_of(source: ShotSource) -> tuple[PhotoSource, ...]:
    """The photos of a shot: itself, those of its folder by name, or those that are given.

    Raises
    ------
    PhotoFileError
        The folder holds no photos.
    """
    if isinstance(source, np.ndarray):
        return (source,)
    if not isinstance(source, str | PathLike):
        return tuple(source)
    return photos_in(Path(source)) if Path(source).is_dir() else (source,)


#: Name of debris of which no file tells.
UNNAMED = "debris"
#: Grain size that is allowed for before any is known, mm: coarse test debris (common practice, no source).
UNNAMED_SIZE_MM = 6.0
#: Reflectance of white office paper (from memory: 0.8 to 0.9), and how dark it may look before it is not believed.
PAPER, DARKEST_PAPER = 0.85, 0.05


def read_kinds(debris: Sequence[DebrisKind | str | PathLike[str]]) -> tuple[DebrisKind, ...]:
    """Kinds given as such, then those of the files; InputFileError as `read_debris_files`."""
    paths = [d for d in debris if not isinstance(d, DebrisKind)]
    given = [d for d in debris if isinstance(d, DebrisKind)]
    return (*given, *read_debris_files(paths))


def without_colour(kinds: Sequence[DebrisKind]) -> tuple[DebrisKind, ...]:
    """The kinds as grey photos show them."""

    def grey(kind: DebrisKind) -> tuple[int, int, int]:
        return _as_srgb(np.repeat(luminance(srgb_to_linear(np.array(kind.color_srgb) / 255)), 3))

    return tuple(replace(kind, color_srgb=grey(kind)) for kind in kinds)


def rim_mm(kinds: Sequence[DebrisKind]) -> float:
    """How far beyond margin and walls grains may reach: one grain."""
    return max((kind.size_mm[1] for kind in kinds), default=UNNAMED_SIZE_MM)


def smallest_mm(kinds: Sequence[DebrisKind]) -> float | None:
    """Diameter of a small grain of the smallest kind; None where no file tells it."""
    return min((kind.size_mm[0] for kind in kinds), default=None)


def kind_hints(kinds: Sequence[DebrisKind], mm_per_px: float, paper: Floats | None = None) -> tuple[KindHint, ...]:
    """What the kinds' files tell the cover stage about a floor view of that raster.

    ``paper`` is the linear colour of the markers' paper in the photos, whose light and white balance the kinds share.
    """
    light = np.ones(3) if paper is None else np.maximum(paper, DARKEST_PAPER) / PAPER
    return tuple(
        KindHint(
            srgb_to_linear(np.array(kind.color_srgb) / 255) * light,
            (kind.size_mm[0] / mm_per_px, kind.size_mm[1] / mm_per_px),
        )
        for kind in kinds
    )


def named_kinds(kinds: Sequence[DebrisKind], hints: Sequence[KindHint]) -> tuple[DebrisKind, ...]:
    """The kinds themselves or, where no file tells of any, names for the hints."""
    if kinds:
        return tuple(kinds)
    names = [UNNAMED] if len(hints) == 1 else [f"{UNNAMED} {k + 1}" for k in range(len(hints))]
    return tuple(DebrisKind(name, _as_srgb(hint.colour), (0.0, 0.0)) for name, hint in zip(names, hints, strict=True))


def seen_colours(kinds: Sequence[DebrisKind], colours: Sequence[LearnedColour]) -> tuple[KindColor, ...]:
    """The kinds with their colours as the photos show them."""
    return tuple(KindColor(kind.name, _as_srgb(c.mean)) for kind, c in zip(kinds, colours, strict=True))


def _as_srgb(linear: Floats) -> tuple[int, int, int]:
    r, g, b = (int(v) for v in np.round(255 * linear_to_srgb(linear)))
    return r, g, b
