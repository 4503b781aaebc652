"""Photographs before and after a floor cleaner ran, turned into a pickup percentage with its uncertainty.

Everything public is here; it loads when it is first used, so that ``import debriscount`` is quick.
"""

from typing import TYPE_CHECKING

__version__ = "0.1.0"

__all__ = [
    "CameraLens",
    "Counted",
    "DebrisKind",
    "Measurement",
    "Patch",
    "__version__",
    "count",
    "errors",
    "measure",
    "read_debris",
    "read_lens",
    "read_patch",
]

if TYPE_CHECKING:
    from . import errors
    from .inputs.debris import DebrisKind
    from .inputs.debris_file import read_debris
    from .inputs.lens import CameraLens
    from .inputs.lens_file import read_lens
    from .inputs.patch import Patch
    from .inputs.patch_file import read_patch
    from .run.count import count
    from .run.measure import measure
    from .run.records import Counted, Measurement
else:
    _HOME = {
        "CameraLens": "inputs.lens",
        "Counted": "run.records",
        "DebrisKind": "inputs.debris",
        "Measurement": "run.records",
        "Patch": "inputs.patch",
        "count": "run.count",
        "measure": "run.measure",
        "read_debris": "inputs.debris_file",
        "read_lens": "inputs.lens_file",
        "read_patch": "inputs.patch_file",
    }

    def __getattr__(name):
        from importlib import import_module

        if name == "errors":
            return import_module(f"{__name__}.errors")
        if name not in _HOME:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        if name in ("count", "measure"):
            from .opencv import require_opencv

            require_opencv()
        value = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
        globals()[name] = value
        return value

    def __dir__():
        return sorted(set(globals()) | set(__all__))
