"""What a measurement was made with: versions of Python and of the libraries that figures depend on."""

import platform
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version

from .flags import listed

#: Names as their makers write them, and the packages that bring them; the first that is installed counts.
LIBRARIES = {
    "numpy": ("numpy",),
    "OpenCV": ("opencv-python", "opencv-python-headless", "opencv-contrib-python", "opencv-contrib-python-headless"),
    "scikit-image": ("scikit-image",),
    "scipy": ("scipy",),
}


def made_with() -> dict[str, str]:
    """Versions by name, Python's first."""
    found = {"Python": platform.python_version()}
    for name, packages in LIBRARIES.items():
        known = (_version(package) for package in packages)
        found[name] = next((one for one in known if one), "unknown")
    return found


def made_with_text(versions: Mapping[str, str]) -> str:
    """Versions in a line: "Python 3.11.2, numpy 2.4.6 and OpenCV 5.0.0"."""
    return listed([f"{name} {number}" for name, number in versions.items()])


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""
