"""lens.toml: read, checked, and handed on as a ``CameraLens``; and written."""

from dataclasses import asdict
from os import PathLike
from pathlib import Path
from typing import Annotated

from pydantic import Field

from ..errors import InputFileError, LensError, OutputError
from .faults import Name, Number, Remark, Table, shown, validated
from .lens import CameraLens, LensCalibration
from .names import name_fault
from .save import save_files
from .toml_text import read_toml

_Length = Annotated[Number, Field(gt=0, le=1e6)]
_Term = Annotated[Number, Field(ge=-100, le=100)]
_Share = Annotated[Number, Field(ge=0, le=100)]
_Doubt = Annotated[Number, Field(ge=0, le=1e9)]
_Pixels = Annotated[int, Field(strict=True, ge=64, le=100_000)]
_TERMS = ("k1", "k2", "k3", "p1", "p2")
#: Focal lengths of some thousand pixels to a ten-thousandth.
_DIGITS = 8


class _LensTable(Table):
    name: Name = Field(description="Give the lens a name.")
    size_px: tuple[_Pixels, _Pixels] = Field(description="Give width and height of the camera's photos in pixels.")
    focal_px: tuple[_Length, _Length] = Field(description="Give the focal length in pixels, along width and height.")
    center_px: tuple[_Length, _Length] = Field(description="Give the principal point in pixels, column and row.")
    k1: _Term = Field(default=0.0, description="Give the radial terms k1, k2, k3 of OpenCV's model.")
    k2: _Term = Field(default=0.0, description="Give the radial terms k1, k2, k3 of OpenCV's model.")
    k3: _Term = Field(default=0.0, description="Give the radial terms k1, k2, k3 of OpenCV's model.")
    p1: _Term = Field(default=0.0, description="Give the tangential terms p1, p2 of OpenCV's model.")
    p2: _Term = Field(default=0.0, description="Give the tangential terms p1, p2 of OpenCV's model.")
    focal_length_mm: _Length | None = Field(
        default=None, description="Give the focal length that the camera states in EXIF, or leave it out."
    )


class _CalibrationTable(Table):
    date: str = Field(pattern=r"^\d{4}-\d\d-\d\d$", description='Give the day as "2026-11-25".')
    photos: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = Field(
        description="Give the number of photos used."
    )
    rms_px: _Doubt = Field(description="Give the residual of the corners in pixels.")
    coverage_percent: _Share = Field(description="Give the share of the frame that corners reached.")
    reach_percent: _Share = Field(description="Give how far out corners lay, in percent of the way to the corner.")
    verdict: str = Field(pattern="^(good|usable|not usable)$", description='Give "good", "usable" or "not usable".')
    reasons: tuple[Remark, ...] = Field(default=(), max_length=100, description="Give sentences.")
    u_focal_px: tuple[_Doubt, _Doubt] = Field(description="Give the standard uncertainty of focal_px.")
    u_center_px: tuple[_Doubt, _Doubt] = Field(description="Give the standard uncertainty of center_px.")
    u_k1: _Doubt = Field(description="Give the standard uncertainty of k1.")
    u_k2: _Doubt = Field(description="Give the standard uncertainty of k2.")
    u_k3: _Doubt = Field(description="Give the standard uncertainty of k3.")
    u_p1: _Doubt = Field(description="Give the standard uncertainty of p1.")
    u_p2: _Doubt = Field(description="Give the standard uncertainty of p2.")


class LensFile(Table):
    """lens.toml as it is written."""

    lens: _LensTable = Field(description="Describe the lens under [lens].")
    calibration: _CalibrationTable | None = Field(
        default=None, description="Say under [calibration] how the lens was learnt, or leave that out."
    )


def read_lens(path: str | PathLike[str]) -> CameraLens:
    r"""Read a lens file.

    Parameters
    ----------
    path : path-like
        TOML file: ``[lens]`` and, from ``debriscount lens``, ``[calibration]``.

    Returns
    -------
    CameraLens

    Raises
    ------
    InputFileError
        With file, line, key and value, for whatever is wrong.

    Examples
    --------
    >>> from pathlib import Path
    >>> size = "size_px = [4032, 3024]\nfocal_px = [3010.0, 3010.0]\ncenter_px = [2016.0, 1512.0]"
    >>> _ = Path("desk.toml").write_text(f'[lens]\nname = "desk"\n{size}\n')
    >>> read_lens("desk.toml").focal_px
    (3010.0, 3010.0)
    """
    toml = read_toml(Path(path), "lens file")
    content = validated(LensFile, toml)
    lens, how = content.lens, content.calibration
    for side, center, size in zip(("width", "height"), lens.center_px, lens.size_px, strict=True):
        if center >= size:
            raise toml.error(
                ("lens", "center_px"),
                f"[lens] center_px lies outside of the photo, whose {side} is {size} px, got {center:g}. "
                "Give the principal point in pixels, column and row.",
            )
    return CameraLens(
        name=lens.name,
        size_px=lens.size_px,
        focal_px=lens.focal_px,
        center_px=lens.center_px,
        radial=(lens.k1, lens.k2, lens.k3),
        tangential=(lens.p1, lens.p2),
        focal_length_mm=lens.focal_length_mm,
        calibration=None
        if how is None
        else LensCalibration(
            date=how.date,
            photos=how.photos,
            rms_px=how.rms_px,
            coverage_percent=how.coverage_percent,
            reach_percent=how.reach_percent,
            verdict=how.verdict,
            reasons=how.reasons,
            u_focal_px=how.u_focal_px,
            u_center_px=how.u_center_px,
            u_radial=(how.u_k1, how.u_k2, how.u_k3),
            u_tangential=(how.u_p1, how.u_p2),
        ),
    )


def lens_toml(lens: CameraLens, remark: str = "") -> str:
    """Return a lens as a lens file; each line of ``remark`` becomes a comment at its head."""
    from .toml_write import toml_text

    told = {"name": lens.name, "size_px": lens.size_px, "focal_px": lens.focal_px, "center_px": lens.center_px}
    terms = dict(zip(_TERMS, (*lens.radial, *lens.tangential), strict=True))
    content = {"lens": {**told, **terms, "focal_length_mm": lens.focal_length_mm}}
    if lens.calibration is not None:
        how = asdict(lens.calibration)
        doubts = zip(_TERMS, (*how.pop("u_radial"), *how.pop("u_tangential")), strict=True)
        how |= {name: float(f"{how[name]:.4g}") for name in ("rms_px", "coverage_percent", "reach_percent")}
        content["calibration"] = how | {f"u_{term}": float(f"{doubt:.3g}") for term, doubt in doubts}
    return toml_text(content, {}, head=remark, digits=_DIGITS)


def write_lens(lens: CameraLens, path: str | PathLike[str], remark: str = "") -> Path:
    """Write a lens file; one that is there is replaced, anything else is not.

    Parameters
    ----------
    lens : CameraLens
        What to write.
    path : path-like
        Where to; folders above are made.
    remark : str
        Where the lens comes from; a comment at the file's head.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Something else is there, or the file cannot be written.
    """
    path = Path(path)
    refuse_other_files(path)
    return save_files({path: lens_toml(lens, remark).encode()}, overwrite=True)[0]


def check_lens_name(name: str) -> None:
    """Refuse a name with which the lens file could not be read again.

    Raises
    ------
    LensError
        The name cannot be.
    """
    if fault := name_fault(name.strip()):
        raise LensError(f"the name of the lens {fault}, got {shown(name)}. Give another with --name.")


def refuse_other_files(path: Path) -> None:
    """Refuse to write a lens over anything but a lens file.

    Raises
    ------
    OutputError
        Something else is there.
    """
    if not path.exists():
        return
    try:
        read_lens(path)
    except InputFileError:
        raise OutputError(f"{path}: is there already and is no lens file. Choose another name.") from None
