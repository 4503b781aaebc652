import platform
from importlib.metadata import version

import cv2
import pytest

from debriscount import made_with as module
from debriscount.made_with import made_with, made_with_text


def test_versions_are_those_that_are_loaded() -> None:
    found = made_with()
    assert list(found) == ["Python", "numpy", "OpenCV", "scikit-image", "scipy"]
    assert found["Python"] == platform.python_version()
    assert {name: found[name] for name in ("numpy", "scikit-image", "scipy")} == {
        name: version(name) for name in ("numpy", "scikit-image", "scipy")
    }
    assert found["OpenCV"].startswith(cv2.__version__)  # the package adds a number of its own


def test_a_library_that_no_package_names_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LIBRARIES", {"OpenCV": ("no-such-package", "none-either")})
    assert made_with()["OpenCV"] == "unknown"


def test_versions_in_a_line() -> None:
    assert made_with_text({"Python": "3.11.2", "numpy": "2.4.6", "OpenCV": "5.0.0"}) == (
        "Python 3.11.2, numpy 2.4.6 and OpenCV 5.0.0"
    )
    assert made_with_text({}) == ""
