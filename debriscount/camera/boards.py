"""Printed boards of known squares, and their corners in a photo."""

import re
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats
from ..errors import LensError
from ..inputs.faults import closest

#: Long sides of the copies in which a board is looked for, px: squares of a fiftieth of it are still seen, and larger
#: ones are found sooner.
COPIES_PX = (1000, 2000)
#: Corners are refined in a window that reaches this share of a square to every side. The next corner and, by
#: perspective, another edge must stay out of it: with more than half, the published photos of a chessboard leave
#: 0.41 px instead of 0.18 (tests/published/test_chessboard.py).
WINDOW = 0.25
#: Corners that a board seen in part must show, and not all in one row: with fewer its plane is hardly known.
LEAST_CORNERS = 6
_MOST = 100


@dataclass(frozen=True, slots=True)
class Board:
    """A chessboard of ``columns`` by ``rows`` inner corners, or a ChArUco board of as many squares.

    The latter has a ``dictionary``, OpenCV's name of the markers in its light squares, and ``marker_mm``, their side.
    """

    columns: int
    rows: int
    square_mm: float
    dictionary: str | None = None
    marker_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a board.

        Raises
        ------
        LensError
            With what to give instead.
        """
        least = 3 if self.dictionary is None else 2
        if not (least <= self.columns <= _MOST and least <= self.rows <= _MOST):
            raise LensError(
                f"a board has from {least} to {_MOST} columns and rows, got {self.columns}x{self.rows}. Give inner "
                "corners of a chessboard, squares of a ChArUco board."
            )
        if not 0 < self.square_mm <= 1e4:
            raise LensError(f"the board's squares must be above 0 mm, got {self.square_mm:g}. Measure the board.")
        if (self.dictionary is None) != (self.marker_mm is None):
            raise LensError("a ChArUco board needs its dictionary (--charuco) and its markers' side (--marker-mm).")
        if self.marker_mm is not None and not 0 < self.marker_mm < self.square_mm:
            raise LensError(
                f"the board's markers must be smaller than its squares of {self.square_mm:g} mm, got "
                f"{self.marker_mm:g}. Measure the printed board."
            )
        if self.dictionary is not None and self.dictionary not in _dictionaries():
            raise LensError(f'no dictionary is called "{self.dictionary}". {closest(self.dictionary, _dictionaries())}')

    @property
    def text(self) -> str:
        """What it is, in words."""
        what = f"{self.columns} x {self.rows}"
        if self.dictionary is None:
            return f"chessboard of {what} inner corners, squares of {self.square_mm:g} mm"
        return f"ChArUco board of {what} squares of {self.square_mm:g} mm, {self.dictionary}"


@dataclass(frozen=True, slots=True, eq=False)
class SeenBoard:
    """Corners of a board in a photo: places on the board, mm, and pixels, both of shape (N, 2)."""

    board_mm: Floats
    photo_px: Floats


def parse_size(text: str) -> tuple[int, int]:
    """Return columns and rows out of text such as "9x6".

    Raises
    ------
    LensError
        The text is something else.
    """
    found = re.fullmatch(r"\s*(\d{1,3})\s*[xX]\s*(\d{1,3})\s*", text)
    if found is None:
        raise LensError(f'--board must be columns and rows such as 9x6, got "{text}".')
    return int(found[1]), int(found[2])


def find_board(grey: NDArray[np.uint8], board: Board) -> SeenBoard | None:
    """Find a board and place its corners to a fraction of a pixel.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The photo.
    board : Board
        What to look for.

    Returns
    -------
    SeenBoard or None
        None where the board, or too little of it, is seen.
    """
    look = _chessboard if board.dictionary is None else _charuco
    for long_px in COPIES_PX:
        share = min(long_px / max(grey.shape), 1.0)
        copy = grey if share == 1.0 else cv2.resize(grey, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        found = look(np.asarray(copy, np.uint8), board)
        if found is not None and _spread_out(found, board):
            # A pixel of the copy is centred between pixels of the photo.
            photo_px = (found.photo_px + 0.5) * np.divide(grey.shape[::-1], copy.shape[::-1]) - 0.5
            return _refined(grey, SeenBoard(found.board_mm, photo_px), board)
        if share == 1.0:
            return None
    return None


def _dictionaries() -> list[str]:
    return [name for name in dir(cv2.aruco) if name.startswith("DICT_")]


def _chessboard(grey: NDArray[np.uint8], board: Board) -> SeenBoard | None:
    found, corners = cv2.findChessboardCorners(grey, (board.columns, board.rows))
    if not found:
        return None
    row, column = np.divmod(np.arange(board.columns * board.rows), board.columns)
    places = board.square_mm * np.stack([column, row], axis=-1).astype(float)
    return SeenBoard(places, np.reshape(corners, (-1, 2)).astype(float))


def _charuco(grey: NDArray[np.uint8], board: Board) -> SeenBoard | None:
    assert board.dictionary is not None
    assert board.marker_mm is not None
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.dictionary))
    printed = cv2.aruco.CharucoBoard((board.columns, board.rows), board.square_mm, board.marker_mm, dictionary)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(printed).detectBoard(grey)
    if ids is None or len(np.ravel(ids)) < LEAST_CORNERS:
        return None
    places = np.reshape(printed.getChessboardCorners(), (-1, 3))[np.ravel(ids), :2].astype(float)
    return SeenBoard(places, np.reshape(corners, (-1, 2)).astype(float))


def _spread_out(seen: SeenBoard, board: Board) -> bool:
    """Whether corners lie in more than one row, whichever way rows are drawn."""
    across = np.linalg.svd(seen.board_mm - seen.board_mm.mean(axis=0), compute_uv=False)
    return bool(across[1] / np.sqrt(len(seen.board_mm)) > 0.3 * board.square_mm)


def _refined(grey: NDArray[np.uint8], seen: SeenBoard, board: Board) -> SeenBoard:
    plane, _ = cv2.findHomography(seen.board_mm, seen.photo_px)
    aside = [cv2.perspectiveTransform((seen.board_mm + step)[None], plane)[0] for step in board.square_mm * np.eye(2)]
    square_px = min(float(np.linalg.norm(one - seen.photo_px, axis=1).min()) for one in aside)
    reach = WINDOW
    if board.marker_mm is not None:  # the markers' own edges stay out of the window as well
        reach = min(reach, 0.45 * (1 - board.marker_mm / board.square_mm))
    half = max(int(reach * square_px), 2)
    criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 60, 1e-4)
    start = np.ascontiguousarray(seen.photo_px, np.float32).reshape(-1, 1, 2)
    corners = cv2.cornerSubPix(grey, start, (half, half), (-1, -1), criteria)
    return SeenBoard(seen.board_mm, np.reshape(corners, (-1, 2)).astype(float))
