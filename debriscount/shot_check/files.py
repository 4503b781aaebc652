"""The check of shots as files: what it needs is read once, then any number of photos is checked."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

from ..errors import ShotOptionsError
from ..inputs.debris import DebrisKind
from ..inputs.debris_file import read_debris_files
from ..inputs.lens import CameraLens
from ..inputs.lens_file import read_lens
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..photo.files import photos_in
from ..photo.limits import MOST_MEGAPIXELS
from ..photo.read import Photo, read_photo
from ..printable import printable
from .records import USUAL_WANT, Fitness
from .shot import check_shot


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ShotCheck:
    """What photos are checked by."""

    patch: Patch
    kinds: tuple[DebrisKind, ...]
    against: Photo | None
    want_percent: float
    lens: CameraLens | None
    most_megapixels: float

    def check(self, photo: str | PathLike[str]) -> Fitness:
        """Check a photo, or a folder of photos that overlap; errors as `read_shot`."""
        return check_shot(
            read_shot(photo, self.patch, self.lens, self.most_megapixels),
            self.patch,
            self.kinds,
            against=self.against,
            want_percent=self.want_percent,
            lens=self.lens,
        )


def read_shot(photo: str | PathLike[str], patch: Patch, lens: CameraLens | None, most_megapixels: float) -> Photo:
    """A shot as one photo: itself, or that joined of those in a folder.

    Raises
    ------
    PhotoFileError
        A file cannot be read, or the folder holds no photos.
    MarkerError, PhotoUnfitError, LensError
        The photos of a folder cannot be joined.
    """
    if not Path(photo).is_dir():
        return read_photo(photo, most_megapixels=most_megapixels)
    from ..mosaic.join import one_photo_each

    name = Path(photo).name
    parts = [read_photo(part, most_megapixels=most_megapixels) for part in photos_in(Path(photo))]
    return replace(one_photo_each({name: parts}, patch, lens=lens)[0][name], name=printable(name))


def shot_check(
    patch: str | PathLike[str],
    debris: Sequence[str | PathLike[str]] = (),
    *,
    against: str | PathLike[str] | None = None,
    want_percent: float = USUAL_WANT,
    lens: str | PathLike[str] | None = None,
    most_megapixels: float = MOST_MEGAPIXELS,
) -> ShotCheck:
    """Read what photos are to be checked by.

    Parameters
    ----------
    patch : path
        patch.toml.
    debris : sequence of paths
        debris.toml of every kind.
    against : path, optional
        Another shot of the same run; a folder where it is several photos that overlap.
    want_percent : float
        Accuracy wanted, percentage points of pickup.
    lens : path, optional
        lens.toml of the camera.
    most_megapixels : float
        Larger photo files are refused before they are decoded.

    Raises
    ------
    InputFileError, PhotoFileError
        A file cannot be used.
    ShotOptionsError
        The accuracy wanted cannot be.
    """
    if not (math.isfinite(want_percent) and 0 < want_percent <= 100):
        raise ShotOptionsError(f"--want must be above 0 and at most 100 points, got {want_percent:g}.")
    laid, known = read_patch(patch), None if lens is None else read_lens(lens)
    return ShotCheck(
        patch=laid,
        kinds=read_debris_files(debris),
        against=None if against is None else read_shot(against, laid, known, most_megapixels),
        want_percent=want_percent,
        lens=known,
        most_megapixels=most_megapixels,
    )
