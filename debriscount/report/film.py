"""What a measured film leaves behind: record, tables and pictures, written all of them or none."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .. import __version__
from ..columns import TERMINAL_WIDTH, aligned, csv_text, header_mark, wrapped
from ..film.left import LeftOver
from ..film.records import MeasuredFilm
from ..film.track import Outing
from ..flags import remarks, sentences
from ..serialize import AREA_DECIMALS, LENGTH_DECIMALS, PERCENT_DECIMALS, JsonObject, picked, plain, rounded
from .folder import RECORD_MARK, ResultFiles, picture_bytes, record_bytes, write_files
from .lookup import base_name
from .record import grid_json, kind_json, patch_json
from .rounding import interval_text, percent_text
from .run_words import plural

FORMAT = "debriscount/film/1"
CURVE_HEADER = (
    "t_s", "hidden_percent", "kind", "zone", "left_percent", "low95", "high95", "low_percent", "high_percent",
    "area_mm2",
)  # fmt: skip
TRACK_HEADER = ("t_s", "x_mm", "y_mm", "heading_deg", "speed_mm_s")
MARKS = {
    "film.json": RECORD_MARK,
    "film.csv": header_mark(CURVE_HEADER),
    "track.csv": header_mark(TRACK_HEADER),
}
_PICTURE = re.compile(r"(curve|track)\.jpg")
_SECONDS_DECIMALS = 3


def film_json(film: MeasuredFilm) -> JsonObject:
    """Return a measured film as plain JSON values.

    Parameters
    ----------
    film : MeasuredFilm
        The film.

    Returns
    -------
    dict
        The record of format "debriscount/film/1". Seconds of the film, millimetres of the patch, percent of what lay
        there at first, with 95 % intervals; headings in degrees from x towards y. A figure that is unknown is None.
    """
    photos = {"film": {"file": base_name(film.film.name), "sha256": film.film.sha256}}
    if film.blank_sha256:
        photos["blank"] = {"file": base_name(film.blank_file), "sha256": film.blank_sha256}
    return {
        "format": FORMAT,
        "version": __version__,
        "patch": patch_json(film.patch),
        "photos": photos,
        "film": {
            "size_px": list(film.film.size_px),
            "codec": film.film.codec,
            "rate": rounded(film.film.rate, 4),
            "claimed_s": rounded(film.film.seconds, _SECONDS_DECIMALS),
            "read_s": rounded(film.read_s, _SECONDS_DECIMALS),
        },
        "grid": grid_json(film.grid),
        "kinds": [kind_json(kind) for kind in film.kinds],
        "every_s": rounded(film.every_s, _SECONDS_DECIMALS),
        "passes": [_pass(film, number, outing) for number, outing in enumerate(film.outings, start=1)],
        "curve": [_sample(film, k) for k in range(len(film.times_s))],
        "machine": {"width_mm": plain(film.track.width_mm, "_mm"), "height_mm": plain(film.machine_height_mm, "_mm")},
        "lanes": plain(film.lanes),
        "turns": plain(film.turns),
        "camera_moves": plain(film.moves),
        "warnings": list(sentences(film.flags)),
        "flags": [picked(flag, "code severity sentence") for flag in film.flags],
    }


def _pass(film: MeasuredFilm, number: int, outing: Outing) -> JsonObject:
    """A pass in the words of a measurement's: against what lay there at first."""
    end = sample_after(film, number)
    record = {"pass": number, **plain(outing), "zones": _pass_zones(film.left, end)}
    if film.left_by_kind:
        record["kinds"] = {name: _pass_zones(left, end) for name, left in film.left_by_kind.items()}
    return record


def _pass_zones(left: Mapping[str, LeftOver], end: int) -> JsonObject:
    return {
        name: {
            "pickup_percent": rounded(100 - float(one.percent[end]), PERCENT_DECIMALS),
            "interval95": _ends(100 - float(one.high95_percent[end]), 100 - float(one.low95_percent[end])),
            "before": {"area_mm2": rounded(float(one.area_mm2[0]), AREA_DECIMALS)},
            "after": {"area_mm2": rounded(float(one.area_mm2[end]), AREA_DECIMALS)},
        }
        for name, one in left.items()
    }


def sample_after(film: MeasuredFilm, number: int) -> int:
    """The sample that shows the patch after a pass, counted from 1: that with the least hidden before the next one."""
    end = film.outings[number - 1].end_s
    following = film.outings[number].start_s if number < len(film.outings) else np.inf
    between = np.nonzero((film.times_s >= end) & (film.times_s < following))[0]
    if not len(between):
        return int(np.searchsorted(film.times_s, end, side="right")) - 1
    return int(between[np.argmin(film.hidden_percent[between])])


def _sample(film: MeasuredFilm, k: int) -> JsonObject:
    record = {
        "t_s": rounded(float(film.times_s[k]), _SECONDS_DECIMALS),
        "hidden_percent": rounded(float(film.hidden_percent[k]), PERCENT_DECIMALS),
        "zones": _sample_zones(film.left, k),
    }
    if film.left_by_kind:
        record["kinds"] = {name: _sample_zones(left, k) for name, left in film.left_by_kind.items()}
    return record


def _sample_zones(left: Mapping[str, LeftOver], k: int) -> JsonObject:
    return {
        name: {
            "left_percent": rounded(float(one.percent[k]), PERCENT_DECIMALS),
            "interval95": _ends(float(one.low95_percent[k]), float(one.high95_percent[k])),
            "bounds_percent": _ends(float(one.low_percent[k]), float(one.high_percent[k])),
            "area_mm2": rounded(float(one.area_mm2[k]), AREA_DECIMALS),
        }
        for name, one in left.items()
    }


def _ends(low: float, high: float) -> list[float] | None:
    ends = [value for end in (low, high) if (value := rounded(end, PERCENT_DECIMALS)) is not None]
    return ends if len(ends) == 2 else None


def film_csv(film: MeasuredFilm) -> str:
    """Return one line a sample, kind and zone; kind "all" comes first, an unknown figure is empty."""
    rows: list[tuple[object, ...]] = [CURVE_HEADER]
    for k, t in enumerate(film.times_s):
        hidden = rounded(float(film.hidden_percent[k]), PERCENT_DECIMALS)
        for kind, zones in {"all": film.left, **film.left_by_kind}.items():
            for name, left in zones.items():
                percents = (left.percent, left.low95_percent, left.high95_percent, left.low_percent, left.high_percent)
                figures = (rounded(float(one[k]), PERCENT_DECIMALS) for one in percents)
                area = rounded(float(left.area_mm2[k]), AREA_DECIMALS)
                rows.append((rounded(float(t), _SECONDS_DECIMALS), hidden, kind, name, *figures, area))
    return csv_text(rows)


def track_csv(film: MeasuredFilm) -> str:
    """Return one line a look at the machine; places, headings and speeds that are not known are empty."""
    track = film.track
    columns = (
        (track.times_s, _SECONDS_DECIMALS),
        (track.x_mm, LENGTH_DECIMALS),
        (track.y_mm, LENGTH_DECIMALS),
        (track.heading_deg, 2),
        (track.speed_mm_s, 2),
    )
    rows = [tuple(rounded(float(values[k]), digits) for values, digits in columns) for k in range(len(track.times_s))]
    return csv_text([TRACK_HEADER, *rows])


def film_text(film: MeasuredFilm, width: int = TERMINAL_WIDTH) -> str:
    """Return what was found in a film for the terminal, at most ``width`` columns wide."""
    kinds = ", ".join(kind.name for kind in film.kinds)
    patch = film.patch
    size = f"{patch.name}, {patch.width_mm:g} x {patch.height_mm:g} mm"
    heading = wrapped(f"{base_name(film.film.name)}: {film.read_s:.0f} s; {size}; debris: {kinds}", "  ", width)
    lines = [heading, f"left at the end: {_end_text(film.left['patch'])}"]
    lines += [f"  {name}: {_end_text(left['patch'])}" for name, left in film.left_by_kind.items()]
    if film.outings:
        lines += ["", *aligned(list(_pass_rows(film)), width)]
    if film.track.width_mm is not None:
        cleaned = [lane.cleaned_mm for lane in film.lanes if lane.cleaned_mm is not None]
        strip = f"; strips cleaned {np.median(cleaned):.0f} mm wide in the middle" if cleaned else ""
        driven = f"{plural(len(film.lanes), 'lane')}, {plural(len(film.turns), 'turn')}"
        said = f"machine {film.track.width_mm:.0f} mm wide; {driven}{strip}"
        lines += ["", wrapped(said, "  ", width)]
    lines += [wrapped(remark, "  ", width) for remark in remarks(film.flags)]
    return "\n".join(lines) + "\n"


def _end_text(left: LeftOver) -> str:
    ends = float(left.low95_percent[-1]), float(left.high95_percent[-1])
    if not np.isfinite(ends).all():
        return percent_text(float(left.percent[-1]))
    interval = interval_text(ends)
    return f"{percent_text(float(left.percent[-1]))} (95 % interval {interval})"


def _pass_rows(film: MeasuredFilm) -> Iterator[list[str]]:
    yield ["pass", "from", "to", "on the patch", *(f"left {name}" for name in film.left)]
    for number, outing in enumerate(film.outings, start=1):
        end = sample_after(film, number)
        left = [percent_text(float(one.percent[end])) for one in film.left.values()]
        yield [str(number), f"{outing.start_s:.0f} s", f"{outing.end_s:.0f} s", f"{outing.on_patch_s:.0f} s", *left]


def write_film_result(film: MeasuredFilm, out_dir: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Write record, tables and pictures of a measured film into a folder.

    Parameters
    ----------
    film : MeasuredFilm
        The film.
    out_dir : str or Path
        The folder; made, with those above it, if it is not there. An earlier film's result in it is replaced.
    overwrite : bool
        Whether the result of another film may be replaced too.

    Returns
    -------
    list of Path
        film.json, film.csv, track.csv, curve.jpg and track.jpg.

    Raises
    ------
    OutputError
        As `write_files`.
    """
    from .film_pictures import draw_curve, draw_track

    def picture(draw: NDArray[np.uint8]) -> bytes:
        return picture_bytes(draw)

    contents = {
        "film.json": lambda: record_bytes(film_json(film)),
        "film.csv": lambda: film_csv(film).encode("utf-8", "replace"),
        "track.csv": lambda: track_csv(film).encode(),
        "curve.jpg": lambda: picture(draw_curve(film)),
        "track.jpg": lambda: picture(draw_track(film)),
    }
    photos = frozenset(sha for sha in (film.film.sha256, film.blank_sha256) if sha)
    return write_files(ResultFiles(contents, MARKS, _PICTURE, photos), out_dir, overwrite=overwrite)
