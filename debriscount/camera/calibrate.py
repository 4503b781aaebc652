"""Learn a camera's lens from photos of a board."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from os import PathLike
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..errors import CalibrationError
from ..inputs.lens import CameraLens, LensCalibration
from ..photo.read import read_photo
from .boards import Board, SeenBoard, find_board
from .known_lens import fold_percent, sensor_pixels
from .verdict import Facts, judge

#: Three boards in different places fix all of a camera (Zhang, IEEE PAMI 22 (2000) 1330-1334, section 3.1).
LEAST_PHOTOS = 3
#: Cells of the frame along its long and its short side.
CELLS = (8, 6)
#: A focal length beyond this many long sides of the photo comes from boards that leave it open.
LONGEST = 30.0


@dataclass(frozen=True, slots=True)
class LearntLens:
    """A lens learnt from photos: ``used`` ones, by name, and those ``without_board``."""

    lens: CameraLens
    board: Board
    used: tuple[str, ...]
    without_board: tuple[str, ...]

    @property
    def remark(self) -> str:
        """Where the lens comes from, for the head of its file."""
        return f"Lens of a camera, learnt by debriscount from {len(self.used)} photos of a {self.board.text}."


def calibrate_lens(
    photos: Sequence[str | PathLike[str]],
    board: Board,
    name: str,
    *,
    progress: Callable[[float, str], None] | None = None,
) -> LearntLens:
    """Learn focal lengths, principal point and distortion from photos of a board.

    Parameters
    ----------
    photos : sequence of path
        Of one camera at one focal length and size.
    board : Board
        What they show.
    name : str
        What the lens is to be called.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    LearntLens

    Raises
    ------
    PhotoFileError
        If a photo cannot be read.
    CalibrationError
        If the photos differ in size, show the board fewer than three times, or leave the lens open.

    Notes
    -----
    Zhang's method [1]_ as OpenCV has it, with its model of three radial and two tangential terms; uncertainties are the
    standard deviations that it gives from the residuals.

    References
    ----------
    .. [1] Z. Zhang, A flexible new technique for camera calibration, IEEE PAMI 22 (2000) 1330-1334.
    """
    tell = progress if progress is not None else lambda _done, _what: None
    seen: dict[str, SeenBoard] = {}
    without, focal_mm = [], set()
    size: tuple[int, int] | None = None
    for number, path in enumerate(photos):
        tell(number / len(photos), "looking for the board")
        photo = read_photo(path)
        pixels = sensor_pixels(photo)
        own_size = pixels.shape[1], pixels.shape[0]
        size = size or own_size
        if own_size != size:
            raise CalibrationError(
                f"{photo.name}: has {own_size[0]} x {own_size[1]} px, the photos before it {size[0]} x {size[1]}. "
                "Give photos of one camera at one size."
            )
        found = find_board(np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8), board)
        if found is None:
            without.append(photo.name)
        else:
            seen[str(path)] = found
            focal_mm.add(photo.settings.focal_mm)
    if size is None or len(seen) < LEAST_PHOTOS:
        missing = f" (not in {', '.join(without)})" if without else ""
        raise CalibrationError(
            f"the {board.text} was found in {len(seen)} of {len(photos)} photos{missing};"
            f" {LEAST_PHOTOS} are needed at least. Take more photos of the whole board, sharp and "
            "evenly lit, and check columns and rows."
        )
    tell(0.95, "calibrating")
    return lens_from_corners(name, size, board, seen, tuple(without), focal_mm.pop() if len(focal_mm) == 1 else None)


def lens_from_corners(
    name: str,
    size: tuple[int, int],
    board: Board,
    seen: Mapping[str, SeenBoard],
    without: tuple[str, ...] = (),
    focal_mm: float | None = None,
) -> LearntLens:
    """Learn a lens from corners that were found.

    Parameters
    ----------
    name, board
        As for `calibrate_lens`.
    size : (int, int)
        Width and height of the photos as they lay on the sensor.
    seen : mapping of str to SeenBoard
        The board's corners by path of the photo.
    without : tuple of str
        Names of photos without a board.
    focal_mm : float, optional
        What all photos state in EXIF.

    Raises
    ------
    CalibrationError
        If the corners leave the lens open.
    """
    places = [np.column_stack([s.board_mm, np.zeros(len(s.board_mm))]).astype(np.float32) for s in seen.values()]
    corners = [np.ascontiguousarray(s.photo_px, np.float32).reshape(-1, 1, 2) for s in seen.values()]
    open_end = CalibrationError(
        f"the {board.text} in {len(seen)} photos does not tell the lens. Tilt the board one way and another, and show "
        "it in all parts of the frame."
    )
    try:
        # OpenCV's stubs do not know that the matrices may be left to it.
        rms, matrix, terms, turns, _, u, _, each = cv2.calibrateCameraExtended(places, corners, size, None, None)  # type: ignore[call-overload]
    except cv2.error:
        raise open_end from None
    k1, k2, p1, p2, k3 = (float(v) for v in np.ravel(terms)[:5])
    u_fx, u_fy, u_cx, u_cy, u_k1, u_k2, u_p1, u_p2, u_k3 = (float(v) for v in np.ravel(u)[:9])
    fx, fy, cx, cy = (float(matrix[at]) for at in ((0, 0), (1, 1), (0, 2), (1, 2)))
    if not (np.isfinite([*np.ravel(terms), *np.ravel(u)[:9], rms]).all() and 0 < max(fx, fy) < LONGEST * max(size)):
        raise open_end
    lens = CameraLens(
        name=name,
        size_px=size,
        focal_px=(fx, fy),
        center_px=(cx, cy),
        radial=(k1, k2, k3),
        tangential=(p1, p2),
        focal_length_mm=focal_mm,
    )
    coverage, reach = _covered(np.concatenate([s.photo_px for s in seen.values()]), size)
    names = [Path(path).name for path in seen]
    facts = Facts(
        photos=len(seen),
        rms_px=float(rms),
        coverage_percent=coverage,
        reach_percent=reach,
        tilt_deg=_tilted_deg(turns),
        fold_percent=fold_percent(lens),
        worst_photo=names[int(np.argmax(each))],
    )
    verdict, reasons = judge(facts)
    how = LensCalibration(
        date=date.today().isoformat(),
        photos=facts.photos,
        rms_px=facts.rms_px,
        coverage_percent=coverage,
        reach_percent=reach,
        verdict=verdict,
        reasons=reasons,
        u_focal_px=(u_fx, u_fy),
        u_center_px=(u_cx, u_cy),
        u_radial=(u_k1, u_k2, u_k3),
        u_tangential=(u_p1, u_p2),
    )
    return LearntLens(replace(lens, calibration=how), board, tuple(names), without)


def _covered(corners_px: Floats, size: tuple[int, int]) -> tuple[float, float]:
    """Percent of the frame's cells that corners lie in, and of the way from its middle to its corner that they go."""
    cells = np.array(CELLS if size[0] >= size[1] else CELLS[::-1])
    hit = np.clip((corners_px + 0.5) / size * cells, 0, cells - 1).astype(int)
    out = np.hypot(*(2 * (corners_px + 0.5) - size).T) / np.hypot(*size)
    return float(100 * len(np.unique(hit, axis=0)) / cells.prod()), float(100 * min(out.max(), 1.0))


def _tilted_deg(turns: Sequence[NDArray[np.floating]]) -> float:
    """Largest angle between two boards, degrees, from their rotation vectors."""
    upright = np.array([cv2.Rodrigues(np.ravel(turn))[0][:, 2] for turn in turns])
    return float(np.degrees(np.arccos(np.clip(upright @ upright.T, -1, 1).min())))
