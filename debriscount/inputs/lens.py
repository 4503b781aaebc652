"""A camera's lens as a lens file tells it."""

from dataclasses import dataclass

#: What a lens that was learnt from photos of a board is good for.
VERDICTS = ("good", "usable", "not usable")


@dataclass(frozen=True, slots=True, kw_only=True)
class LensCalibration:
    """How a lens was learnt.

    ``date`` is in ISO 8601; ``rms_px`` what is left between model and corners, root mean square; ``coverage_percent``
    the share of the frame's cells in which corners lay, ``reach_percent`` how far out they lay on the way from the
    middle to the corner. ``verdict`` is one of ``VERDICTS``, ``reasons`` are sentences. The rest are standard
    uncertainties.
    """

    date: str
    photos: int
    rms_px: float
    coverage_percent: float
    reach_percent: float
    verdict: str
    reasons: tuple[str, ...]
    u_focal_px: tuple[float, float]
    u_center_px: tuple[float, float]
    u_radial: tuple[float, float, float]
    u_tangential: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraLens:
    """A lens in the frame of the sensor, before a photo is turned upright.

    Width and height ``size_px``, focal lengths ``focal_px`` and principal point ``center_px`` belong together; pixel
    centres lie at whole numbers. ``radial`` is k1, k2, k3 and ``tangential`` p1, p2 of OpenCV's model;
    ``focal_length_mm`` what the photos say in EXIF.
    """

    name: str
    size_px: tuple[int, int]
    focal_px: tuple[float, float]
    center_px: tuple[float, float]
    radial: tuple[float, float, float]
    tangential: tuple[float, float]
    focal_length_mm: float | None = None
    calibration: LensCalibration | None = None
