import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from debriscount.camera.boards import Board, find_board, parse_size
from debriscount.errors import LensError

Floats = NDArray[np.float64]
SIZE_PX = (900, 700)
CHESS = Board(7, 5, 20.0)
CHARUCO = Board(8, 6, 20.0, "DICT_5X5_100", 14.0)
#: Printed dots a millimetre.
DOTS = 10


def printed(board: Board) -> NDArray[np.uint8]:
    """A board as OpenCV and numpy draw it, with a white rim of a square; the first inner corner is two squares in."""
    side = int(board.square_mm * DOTS)
    if board.dictionary is None:
        checks = np.indices((board.rows + 1, board.columns + 1)).sum(axis=0) % 2
        sheet = np.kron(255 * checks, np.ones((side, side))).astype(np.uint8)
    else:
        assert board.marker_mm is not None
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, board.dictionary))
        drawn = cv2.aruco.CharucoBoard((board.columns, board.rows), board.square_mm, board.marker_mm, dictionary)
        sheet = np.asarray(drawn.generateImage((side * board.columns, side * board.rows)), np.uint8)
    return np.pad(sheet, side, constant_values=255)


def photo(board: Board, quad: Floats, size_px: tuple[int, int] = SIZE_PX) -> tuple[NDArray[np.uint8], Floats]:
    """A grey photo of a board whose sheet's corners lie at ``quad``; and the plane, from board mm to pixels."""
    sheet = printed(board)
    height, width = sheet.shape
    rim = np.array([[0, 0], [width, 0], [width, height], [0, height]]) - 0.5
    plane = cv2.getPerspectiveTransform(rim.astype(np.float32), quad.astype(np.float32))
    finer = np.array([[4, 0, 1.5], [0, 4, 1.5], [0, 0, 1.0]]) @ plane
    large = cv2.warpPerspective(sheet, finer, (4 * size_px[0], 4 * size_px[1]), borderValue=(140, 0, 0, 0))
    seen = cv2.GaussianBlur(cv2.resize(large, size_px, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    # Board places count from the first inner corner of a chessboard, from the first square's corner of the other.
    first = board.square_mm * (2 if board.dictionary is None else 1)
    to_dots = np.array([[DOTS, 0, first * DOTS - 0.5], [0, DOTS, first * DOTS - 0.5], [0, 0, 1.0]])
    return np.asarray(seen, np.uint8), plane @ to_dots


QUAD = np.array([[90.0, 80.0], [800.0, 120.0], [760.0, 640.0], [130.0, 600.0]])


@pytest.mark.parametrize(("board", "count"), [(CHESS, 35), (CHARUCO, 35)], ids=["chessboard", "charuco"])
def test_corners_are_found_to_a_tenth_of_a_pixel(board: Board, count: int) -> None:
    pixels, plane = photo(board, QUAD)
    seen = find_board(pixels, board)
    assert seen is not None
    assert seen.board_mm.shape == seen.photo_px.shape == (count, 2)
    truth = cv2.perspectiveTransform(seen.board_mm[None], plane)[0]
    off = np.hypot(*(seen.photo_px - truth).T)
    # A chessboard may be taken for one turned by half a circle.
    turned = cv2.perspectiveTransform(seen.board_mm[::-1][None], plane)[0]
    off = min(off, np.hypot(*(seen.photo_px - turned).T), key=np.max)
    assert off.max() < 0.1


def test_small_squares_far_away_keep_their_corners_apart() -> None:
    """Squares of 9 px: a window made for large ones would reach over the next corner."""
    quad = np.array([[300.0, 300.0], [390.0, 305.0], [385.0, 375.0], [305.0, 370.0]])
    seen = find_board(photo(CHESS, quad)[0], CHESS)
    assert seen is not None
    plane, _ = cv2.findHomography(seen.board_mm, seen.photo_px)
    off = np.hypot(*(cv2.perspectiveTransform(seen.board_mm[None], plane)[0] - seen.photo_px).T)
    assert off.max() < 0.3


def test_a_large_photo_is_searched_small_and_refined_large() -> None:
    pixels, plane = photo(CHESS, 3 * QUAD, (2700, 2100))
    seen = find_board(pixels, CHESS)
    assert seen is not None
    there = cv2.perspectiveTransform(seen.board_mm[None], plane)[0]
    assert min(np.abs(seen.photo_px - there).max(), np.abs(seen.photo_px - there[::-1]).max()) < 0.1


def test_part_of_a_charuco_board_is_enough() -> None:
    pixels, plane = photo(CHARUCO, QUAD)
    pixels[:, 450:] = 140
    seen = find_board(pixels, CHARUCO)
    assert seen is not None
    assert 6 <= len(seen.board_mm) < 30
    np.testing.assert_allclose(cv2.perspectiveTransform(seen.board_mm[None], plane)[0], seen.photo_px, atol=0.15)


def test_one_row_of_a_charuco_board_is_not() -> None:
    pixels, plane = photo(CHARUCO, QUAD)
    row = cv2.perspectiveTransform(np.array([[[0.0, 41.0], [160.0, 41.0]]]), plane)[0]
    pixels[int(row[:, 1].max()) :] = 140
    assert find_board(pixels, CHARUCO) is None


@pytest.mark.parametrize("board", [CHESS, CHARUCO], ids=["chessboard", "charuco"])
def test_where_there_is_no_board_none_is_found(board: Board) -> None:
    noise = np.random.default_rng(0).integers(0, 255, (700, 900)).astype(np.uint8)
    assert find_board(noise, board) is None
    assert find_board(photo(Board(4, 3, 20.0), QUAD)[0], board) is None


def test_sizes_are_read() -> None:
    assert parse_size("9x6") == (9, 6)
    assert parse_size(" 11 X 8 ") == (11, 8)


@pytest.mark.parametrize("text", ["9", "9x", "9*6", "nine x six", "9x6x2", ""])
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(
        LensError, match=f'--board must be columns and rows such as 9x6, got "{"" if not text else text[0]}'
    ):
        parse_size(text)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((2, 6, 25.0), r"a board has from 3 to 100 columns and rows, got 2x6\. Give inner corners"),
        ((9, 0, 25.0), r"a board has from 3 to 100 columns and rows, got 9x0\."),
        ((9, 6, 0.0), r"the board's squares must be above 0 mm, got 0\. Measure the board\."),
        ((9, 6, float("nan")), r"the board's squares must be above 0 mm, got nan\."),
        ((9, 6, 25.0, None, 10.0), r"a ChArUco board needs its dictionary \(--charuco\) and its markers' side"),
        ((9, 6, 25.0, "DICT_5X5_100"), r"a ChArUco board needs its dictionary \(--charuco\) and its markers' side"),
        ((9, 6, 25.0, "DICT_5X5_100", 25.0), r"markers must be smaller than its squares of 25 mm, got 25\."),
        ((9, 6, 25.0, "DICT_5X5_1000", 10.0), None),
        ((9, 6, 25.0, "DICT_5x5_100", 10.0), r'no dictionary is called "DICT_5x5_100"\. Did you mean "DICT_5X5_100"\?'),
    ],
)
def test_what_cannot_be_a_board_is_refused(arguments: tuple[object, ...], message: str | None) -> None:
    if message is None:
        Board(*arguments)  # type: ignore[arg-type]
        return
    with pytest.raises(LensError, match=message):
        Board(*arguments)  # type: ignore[arg-type]


def test_a_board_is_named_in_words() -> None:
    assert CHESS.text == "chessboard of 7 x 5 inner corners, squares of 20 mm"
    assert CHARUCO.text == "ChArUco board of 8 x 6 squares of 20 mm, DICT_5X5_100"
