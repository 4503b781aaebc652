"""A camera's lens, as its file tells it, in the pixels of a photo."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ..errors import LensError
from ..flags import Flag
from ..inputs.lens import VERDICTS, CameraLens
from ..photo.read import Photo
from .fit import FittedViews
from .lens import Lens

#: A stated focal length differs from the lens file's if by more than this share: EXIF rounds it to a tenth of a
#: millimetre or less, a tenth of what other lenses of one phone differ by.
SAME_FOCAL = 0.02
#: How much worse than without a lens file the markers may fit with it: without one three more numbers follow them,
#: which explains a tenth; and corners are seldom known to better than that many millimetres.
WORSE, WORSE_MM = 1.5, 0.1


def sensor_pixels(photo: Photo) -> NDArray[np.uint8]:
    """Pixels as they lay on the sensor: the photo before it was turned upright."""
    return np.ascontiguousarray(np.rot90(photo.pixels, photo.turned_deg // 90))


def sensor_lens(lens: CameraLens) -> Lens:
    """The lens in the pixels of the sensor."""
    return Lens(lens.center_px, lens.focal_px, lens.radial, lens.tangential)


def fold_percent(lens: CameraLens) -> float | None:
    """How far out the lens' polynomial folds over, in percent of the way from the principal point to the corners.

    None where it holds all over the photo.
    """
    own = sensor_lens(lens)
    if not np.isfinite(own.reach):
        return None
    rim_px = own.distort(np.array([own.center_px[0] + own.reach * own.focal_px[0], own.center_px[1]]))
    width, height = lens.size_px
    corners_px = np.array([[0, 0], [width, 0], [width, height], [0, height]]) - 0.5
    rim, corners = ((np.atleast_2d(px) - own.center_px) / own.focal_px for px in (rim_px, corners_px))
    percent = float(100 * np.hypot(*rim[0]) / np.hypot(*corners.T).max())
    return percent if percent < 100 else None


def lens_of_photo(lens: CameraLens, photo: Photo) -> Lens:
    """The lens in the pixels of an upright photo.

    Parameters
    ----------
    lens : CameraLens
        Of the camera that took it.
    photo : Photo
        Of the lens file's size, or the same frame made larger or smaller.

    Returns
    -------
    Lens

    Raises
    ------
    LensError
        If the photo shows another frame than the lens file's, or the lens is none.
    """
    folds = fold_percent(lens)
    if folds is not None:
        raise LensError(
            f'lens "{lens.name}": its radial terms fold over at {folds:.0f} % of the way from the middle to the '
            "photo's corners. Calibrate it again, with the board held into all four corners."
        )
    height, width = photo.pixels.shape[:2]
    size = (width, height) if photo.turned_deg % 180 == 0 else (height, width)
    share = max(size) / max(lens.size_px)
    # Scaling rounds either side to whole pixels.
    if any(abs(own - share * known) > 1 for own, known in zip(size, lens.size_px, strict=True)):
        raise LensError(
            f"{photo.name}: has {size[0]} x {size[1]} px on the sensor, which is not an enlarged or reduced copy of "
            f'the {lens.size_px[0]} x {lens.size_px[1]} px of lens "{lens.name}". Give the photo as the camera made '
            "it, not cropped or turned, or calibrate the lens at this size."
        )
    return sensor_lens(lens).scaled(share).turned(photo.turned_deg, size)


def check_lens_fits(lens: CameraLens, known: FittedViews, free: FittedViews) -> None:
    """Raise LensError if the markers fit worse with a lens than with one that is told from them alone.

    ``known`` is the fit with the lens of the file, ``free`` that without any, to the same corners.
    """
    off, own = (float(np.sqrt(np.mean(np.square(fit.residual_mm)))) for fit in (known, free))
    if off > WORSE * own + WORSE_MM:
        raise LensError(
            f'lens "{lens.name}": the markers lie {off:.2f} mm off their places with it, and {own:.2f} mm without any '
            "lens file. It is another camera's, or was calibrated at another zoom: give the right one, or none."
        )


def lens_warnings(lens: CameraLens, photos: Mapping[str, Photo]) -> list[Flag]:
    """Return a flag for everything that speaks against a lens for photos, keyed by shot."""
    warnings = []
    if lens.calibration is not None and lens.calibration.verdict == VERDICTS[-1]:
        sentence = f'lens "{lens.name}" is not usable, as its file says: {"; ".join(lens.calibration.reasons)}'
        warnings.append(Flag(code="lens-unusable", severity="doubtful", sentence=sentence))
    for name, photo in photos.items():
        stated, known = photo.settings.focal_mm, lens.focal_length_mm
        if stated is not None and known is not None and abs(stated - known) > SAME_FOCAL * known:
            sentence = (
                f'was taken at a focal length of {stated:g} mm, lens "{lens.name}" is one of {known:g} mm; '
                "places on the floor are doubtful. Give the lens that the photo was taken with"
            )
            warnings.append(Flag(code="other-lens", severity="doubtful", sentence=sentence, shot=name))
    return warnings
