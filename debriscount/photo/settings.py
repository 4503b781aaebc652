"""How a camera was set, and whether the shots of a run were taken alike."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSettings:
    """How a photo was taken; what its file does not say, or says nonsense of, is None.

    ``taken`` is local time in ISO 8601 without a zone, which would tell of the place; ``focal_35mm`` the focal length
    that sees the same on a frame of 36 x 24 mm, mm; ``flash`` whether it fired.
    """

    taken: str | None = None
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    exposure_bias_ev: float | None = None
    white_balance: Literal["auto", "manual"] | None = None
    flash: bool | None = None


UNKNOWN_SETTINGS = CameraSettings()

#: Share by which two numbers may differ and still be the same setting: cameras round what they write.
_SAME = 0.01

_EXPOSURE = "fix the exposure for all shots of a run"
_WHITE_BALANCE = "fix the white balance for all shots of a run"
_LENS = "take all shots of a run with the same lens and without zoom"
_FLASH = "take all shots of a run in the same light"


def _seconds(exposure_s: float) -> str:
    return f"1/{1 / exposure_s:.0f} s" if exposure_s < 0.3 else f"{exposure_s:g} s"


#: Field, what it is called, how a value is written and what to do where it differs.
_COMPARED: tuple[tuple[str, str, Callable[[Any], str], str], ...] = (
    ("exposure_s", "exposure time", _seconds, _EXPOSURE),
    ("f_number", "aperture", lambda number: f"f/{number:.3g}", _EXPOSURE),
    ("iso", "sensitivity", lambda iso: f"ISO {iso:.0f}", _EXPOSURE),
    ("white_balance", "white balance", str, _WHITE_BALANCE),
    ("focal_mm", "focal length", lambda mm: f"{mm:.3g} mm", _LENS),
    ("flash", "flash", lambda fired: "on" if fired else "off", _FLASH),
)


def differing_settings(shots: Mapping[str, CameraSettings]) -> list[str]:
    """Return a sentence for every setting that differs between the shots of a run, as far as they tell.

    Parameters
    ----------
    shots : mapping of str to CameraSettings
        By name of the shot.
    """
    warnings = []
    for field, called, written, advice in _COMPARED:
        known = {name: value for name, s in shots.items() if (value := getattr(s, field)) is not None}
        values = list(known.values())
        if any(not _same(value, values[0]) for value in values):
            told = ", ".join(f"{name} {written(value)}" for name, value in known.items())
            warnings.append(f"{called} differs between the shots ({told}); {advice}")
    return warnings


def _same(a: object, b: object) -> bool:
    return math.isclose(a, b, rel_tol=_SAME) if isinstance(a, float) and isinstance(b, float) else a == b
