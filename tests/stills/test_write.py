import shutil
from pathlib import Path

import pytest
from PIL import Image

from debriscount.errors import InputFileError, OutputError
from debriscount.page.sources import read_sources
from debriscount.stills.frame import Frame
from debriscount.stills.write import frame_of, plain_name, write_stills

FRAME = Frame(320, 240)


def test_stills_of_several_runs_bear_their_names_and_stand_beside_each_other(
    result: Path, second: Path, tmp_path: Path
) -> None:
    written = write_stills(read_sources([result, second]).runs, tmp_path / "stills", FRAME)
    names = {path.name for path in written}
    assert {"kitchen-before.png", "kitchen-after2.png", "hall-after.png", "beside.png"} <= names
    for path in written:
        with Image.open(path) as image:
            assert image.size == (320, 240)
            assert set(image.info) <= {"Comment"}


def test_earlier_stills_are_replaced_and_other_files_stay(result: Path, tmp_path: Path) -> None:
    runs = read_sources([result]).runs
    (tmp_path / "notes.txt").write_text("mine")
    first = write_stills(runs, tmp_path, FRAME)
    again = write_stills(runs, tmp_path, FRAME, text=False)
    assert "bars-after.png" in {path.name for path in first} - {path.name for path in again}
    assert not (tmp_path / "bars-after.png").exists()
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_picture_of_ones_own_is_not_overwritten(result: Path, tmp_path: Path) -> None:
    Image.new("RGB", (9, 9)).save(tmp_path / "before.png")
    with pytest.raises(OutputError, match=r"before\.png: is no result of debriscount"):
        write_stills(read_sources([result]).runs, tmp_path, FRAME)
    assert [path.name for path in tmp_path.iterdir()] == ["before.png"]


def test_a_result_without_bare_views_says_what_to_do(result: Path, tmp_path: Path) -> None:
    older = tmp_path / "older"
    shutil.copytree(result, older)
    (older / "floor-before.jpg").unlink()
    with pytest.raises(InputFileError, match=r"holds no floor-before\.jpg\. Measure the photos again"):
        write_stills(read_sources([older]).runs, tmp_path / "stills", FRAME)
    (older / "floor-before.jpg").write_bytes(b"no picture")
    with pytest.raises(InputFileError, match=r"floor-before\.jpg: is damaged"):
        write_stills(read_sources([older]).runs, tmp_path / "stills", FRAME)


@pytest.mark.parametrize(
    ("text", "size"), [("1920x1080", (1920, 1080)), (" 1080X1920 ", (1080, 1920)), ("7680x4320", (7680, 4320))]
)
def test_sizes_are_read(text: str, size: tuple[int, int]) -> None:
    assert (frame_of(text).width, frame_of(text).height) == size


@pytest.mark.parametrize("text", ["", "1920", "1920 by 1080", "1920x", "100x100", "99999x1080", "-5x1080"])
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(InputFileError, match="--size"):
        frame_of(text)


@pytest.mark.parametrize(("name", "plain"), [("run 12", "run-12"), ("Küche/../x", "k-che-x"), ("\u202e", "run")])
def test_names_of_runs_are_safe_in_file_names(name: str, plain: str) -> None:
    assert plain_name(name) == plain
