"""Whether OpenCV can be loaded, said in words where it cannot.

``opencv-python`` installs without the system's OpenGL and GLib libraries and then fails at import.
"""

import re
from importlib import import_module

from .errors import MissingLibraryError

_SHARED_OBJECT = re.compile(r"(?P<file>lib[\w.+-]+\.so[\w.]*)")


def require_opencv() -> None:
    """Load OpenCV.

    Raises
    ------
    MissingLibraryError
        OpenCV, or a system library that it needs, is not installed; the message says what to install.
    """
    try:
        import_module("cv2")
    except ImportError as error:
        raise missing_library(error) from None


def missing_library(error: ImportError) -> MissingLibraryError:
    """Return the one-line error for OpenCV's failure to load.

    Parameters
    ----------
    error : ImportError
        What ``import cv2`` raised.

    Returns
    -------
    MissingLibraryError
    """
    reason = " ".join(str(error).split())
    missing = _SHARED_OBJECT.search(reason)
    if missing:
        return MissingLibraryError(
            f"OpenCV needs the system library {missing['file']}, which is not installed."
            " Debian or Ubuntu: apt install libgl1 libglib2.0-0. Fedora: dnf install mesa-libGL glib2."
        )
    return MissingLibraryError(
        f"OpenCV cannot be loaded ({reason}). Install it with: pip install --force-reinstall opencv-python"
    )
