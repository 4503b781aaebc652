import sys
from typing import Any

import pytest
from typer.testing import CliRunner

import debriscount
from debriscount import opencv
from debriscount.errors import MissingLibraryError
from debriscount.opencv import missing_library, require_opencv
from debriscount_cli.app import app

MISSING = "libGL.so.1: cannot open shared object file: No such file or directory"


@pytest.fixture
def without_libgl(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(name: str) -> Any:
        raise ImportError(MISSING)

    monkeypatch.setattr(opencv, "import_module", fail)


def test_opencv_loads_here() -> None:
    require_opencv()
    assert "cv2" in sys.modules


@pytest.mark.usefixtures("without_libgl")
def test_a_missing_system_library_is_named_with_what_to_install() -> None:
    expected = (
        r"^OpenCV needs the system library libGL\.so\.1, which is not installed\. Debian or Ubuntu:"
        r" apt install libgl1 libglib2\.0-0\. Fedora: dnf install mesa-libGL glib2\.$"
    )
    with pytest.raises(MissingLibraryError, match=expected):
        require_opencv()


def test_another_failure_keeps_its_reason() -> None:
    error = missing_library(ModuleNotFoundError("No module named 'cv2'"))
    assert str(error) == (
        "OpenCV cannot be loaded (No module named 'cv2'). Install it with: pip install --force-reinstall opencv-python"
    )


@pytest.mark.usefixtures("without_libgl")
@pytest.mark.parametrize(
    "arguments",
    [["measure", "--patch", "p", "--out", "o", "b.jpg", "a.jpg"], ["count", "--patch", "p", "a.jpg"]],
)
def test_the_command_line_says_it_in_one_line(arguments: list[str]) -> None:
    result = CliRunner().invoke(app, arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("OpenCV needs the system library libGL.so.1")
    assert result.stderr.count("\n") == 1


@pytest.mark.usefixtures("without_libgl")
@pytest.mark.parametrize("name", ["count", "measure"])
def test_python_says_it_too(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.delitem(vars(debriscount), name, raising=False)
    with pytest.raises(MissingLibraryError, match="needs the system library"):
        getattr(debriscount, name)
