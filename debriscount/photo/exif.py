"""What of a photo's EXIF block is kept: how the camera was set and held, nothing of who, where and with what.

References
----------
.. [1] CIPA DC-008-2023 (EXIF 3.0): names, numbers and values of the tags.
"""

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal

from PIL import ExifTags, Image

from .settings import CameraSettings

_Tag = ExifTags.Base
#: Ranges beyond which a value is nonsense, wide enough for any camera.
_EXPOSURE_S = (1e-7, 1e5)
_F_NUMBER = (0.1, 1000.0)
_ISO = (1.0, 1e8)
_FOCAL_MM = (0.1, 1e4)
_BIAS_EV = (-30.0, 30.0)
#: What a 16-bit ISO speed says when the speed does not fit.
_ISO_OVERFLOW = 65535
#: Where the speed then stands: recommended exposure index, standard output sensitivity, ISO speed.
_ISO_LONG = (0x8832, 0x8831, 0x8833)


def camera_settings(exif: Image.Exif) -> CameraSettings:
    """Return the settings that an EXIF block holds, whatever state it is in."""
    tags = _tags(exif)
    return CameraSettings(
        taken=_time(tags.get(_Tag.DateTimeOriginal)) or _time(tags.get(_Tag.DateTimeDigitized)),
        exposure_s=_number(tags.get(_Tag.ExposureTime), *_EXPOSURE_S),
        f_number=_number(tags.get(_Tag.FNumber), *_F_NUMBER),
        iso=_iso(tags),
        focal_mm=_number(tags.get(_Tag.FocalLength), *_FOCAL_MM),
        focal_35mm=_number(tags.get(_Tag.FocalLengthIn35mmFilm), *_FOCAL_MM),
        exposure_bias_ev=_number(tags.get(_Tag.ExposureBiasValue), *_BIAS_EV),
        white_balance=_white_balance(tags.get(_Tag.WhiteBalance)),
        flash=_fired(tags.get(_Tag.Flash)),
    )


def orientation(exif: Image.Exif) -> int:
    """Return the orientation, 1 to 8, and 1 where it is unknown."""
    try:
        value = int(exif.get(_Tag.Orientation, 1))
    except Exception:  # a spoilt block does not spoil the pixels, and markers are found either way up
        return 1
    return value if 1 <= value <= 8 else 1


def _tags(exif: Image.Exif) -> Mapping[int, Any]:
    """Tags of the main directory and, before those, of the one for the taking."""
    try:
        main = dict(exif)
    except Exception:
        return {}
    try:
        return {**main, **exif.get_ifd(ExifTags.IFD.Exif)}
    except Exception:
        return main


def _number(value: Any, least: float, most: float) -> float | None:
    if isinstance(value, tuple) and len(value) == 1:
        value = value[0]
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) and least <= number <= most else None


def _iso(tags: Mapping[int, Any]) -> float | None:
    speed = tags.get(_Tag.ISOSpeedRatings)
    if isinstance(speed, tuple) and speed:
        speed = speed[0]
    found = _number(speed, *_ISO)
    if found != _ISO_OVERFLOW:
        return found
    return next((long for tag in _ISO_LONG if (long := _number(tags.get(tag), *_ISO)) is not None), None)


def _time(value: Any) -> str | None:
    """ISO 8601 of a tag like "2026:05:01 10:30:00"; without the zone, which tells of the place."""
    try:
        return datetime.strptime(str(value).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None


def _white_balance(value: Any) -> Literal["auto", "manual"] | None:
    if value == 0:
        return "auto"
    return "manual" if value == 1 else None


def _fired(value: Any) -> bool | None:
    """Bit 0 of the tag; the others tell of the flash's mode."""
    return bool(value & 1) if isinstance(value, int) and 0 <= value <= 0x7F else None
