from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from typer.testing import CliRunner

from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.lay_patch import lay_patch
from debriscount_cli.app import app

RUNNER = CliRunner()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "patch.toml"
    path.write_text(patch_toml(lay_patch(600, 400, ("top",), name="bench")))
    return path


def markers(*options: object) -> Any:
    return RUNNER.invoke(app, ["markers", *map(str, options)])


@pytest.mark.parametrize(("paper", "height_pt"), [("a4", 841.89), ("letter", 792.0)])
def test_a_sheet_is_written(file: Path, paper: str, height_pt: float) -> None:
    out = file.with_name("sheet.pdf")
    result = markers("--patch", file, "--out", out, "--paper", paper)
    assert (result.exit_code, result.stdout, result.stderr) == (0, "", f"wrote {out}\n")
    with pdfplumber.open(out) as pdf:
        assert [page.height for page in pdf.pages] == pytest.approx([height_pt] * 2, abs=0.01)


def test_pages_of_pictures_are_numbered(file: Path) -> None:
    result = markers("--patch", file, "--out", file.with_name("sheet.svg"))
    assert result.exit_code == 0
    assert result.stderr == f"wrote {file.with_name('sheet-1.svg')}, {file.with_name('sheet-2.svg')}\n"


def test_a_printed_ruler_corrects_the_file_itself_once(file: Path) -> None:
    options = ("--patch", file, "--printed-ruler-mm", 97.5, "--out", file)
    result = markers(*options)
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == f"wrote {file}: every side_mm times 0.975\n"
    assert {marker.side_mm for marker in read_patch(file).markers} == {48.75}
    again = markers(*options)
    assert again.exit_code == 2
    assert "its side_mm are corrected already, for a ruler that measured 97.5 mm." in again.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--out", "sheet.doc"], "sheet.doc: a sheet must end in .pdf, .svg or .png."),
        (["--out", "sheet.toml"], "A .toml file is written with --printed-ruler-mm alone."),
        (["--out", "sheet.pdf", "--paper", "legal"], 'paper "legal" is unknown. Known are: a4, letter, a3, tabloid.'),
        (["--out", "sheet.pdf", "--megapixels", "0.2"], "too small to be read: in a photo of 0.2 megapixels"),
        (["--out", "sheet.pdf", "--printed-ruler-mm", "97"], "a printed ruler corrects the patch file."),
        (["--out", "new.toml", "--printed-ruler-mm", "9.7"], "printed ruler of 9.7 mm: that is more than 10 % off."),
    ],
)
def test_what_cannot_be_is_one_line_and_exit_code_2(
    file: Path, monkeypatch: pytest.MonkeyPatch, options: list[str], words: str
) -> None:
    monkeypatch.chdir(file.parent)
    result = markers("--patch", file, *options)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in result.stderr
    assert result.stderr.count("\n") == 1
    assert list(file.parent.iterdir()) == [file]


def test_a_sheet_that_is_there_stays_unless_told(file: Path) -> None:
    out = file.with_name("sheet.pdf")
    out.write_text("mine")
    assert markers("--patch", file, "--out", out).exit_code == 2
    assert out.read_text() == "mine"
    assert markers("--patch", file, "--out", out, "--overwrite").exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")
