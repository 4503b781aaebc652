"""What a measurement or a count leaves behind: record, tables and pictures.

The names below load their module when first used, so that importing this folder costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .count import count_grains_csv, count_json, count_text, count_zones_csv, draw_count, write_counts
    from .left_picture import draw_leftovers
    from .pictures import draw_overlay
    from .plots import draw_passes, draw_walls
    from .reach_picture import draw_reach
    from .record import measurement_json, read_record
    from .tables import grains_csv, table_text, zones_csv
    from .write import write_measurement

__all__ = [
    "count_grains_csv",
    "count_json",
    "count_text",
    "count_zones_csv",
    "draw_count",
    "draw_leftovers",
    "draw_overlay",
    "draw_passes",
    "draw_reach",
    "draw_walls",
    "grains_csv",
    "measurement_json",
    "read_record",
    "table_text",
    "write_counts",
    "write_measurement",
    "zones_csv",
]

_HOMES = {
    "count_grains_csv": ".count",
    "count_json": ".count",
    "count_text": ".count",
    "count_zones_csv": ".count",
    "draw_count": ".count",
    "write_counts": ".count",
    "draw_leftovers": ".left_picture",
    "draw_overlay": ".pictures",
    "draw_passes": ".plots",
    "draw_reach": ".reach_picture",
    "draw_walls": ".plots",
    "measurement_json": ".record",
    "read_record": ".record",
    "grains_csv": ".tables",
    "table_text": ".tables",
    "zones_csv": ".tables",
    "write_measurement": ".write",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name], __name__), name)
