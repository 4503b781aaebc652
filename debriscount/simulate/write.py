"""A scene as files: photos, what measuring needs beside them, and the truth."""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from functools import partial
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from ..columns import aligned, csv_text
from ..errors import OutputError
from ..inputs.debris_write import debris_toml
from ..inputs.exchange import is_work_folder, put_files, settle
from ..inputs.patch import OUTSIDE, ZONES
from ..inputs.patch_write import patch_toml
from ..serialize import picked
from .lanes import DrivenLanes
from .route import Route
from .scene import NOT_MODELLED, Scene
from .spec import Portion
from .spiral import Spiral
from .truth import DISPLACED, FATES, GONE, UNTOUCHED, SceneTruth, TrueAmount
from .wander import Wander

#: Format of truth.json, as the shipped reference pictures have it.
FORMAT = "debriscount/truth/1"
#: What debris files of simulated scenes say of themselves.
REMARK = "Of a simulated scene: the drawn grains' own colour and sizes."


def write_scene(scene: Scene, folder: str | PathLike[str]) -> list[Path]:
    """Write a scene's files, all or none.

    Parameters
    ----------
    scene : Scene
        As `make_scene` makes it.
    folder : path-like
        New or empty.

    Returns
    -------
    list of Path
        One JPEG a shot or a folder of them, patch.toml, one debris file a kind, truth.json and particles.csv.

    Raises
    ------
    OutputError
        The folder holds something already, is a file, or cannot be written.
    """
    return put_scene({name: partial(bytes, data) for name, data in scene_files(scene).items()}, Path(folder))


def put_scene(contents: Mapping[str, Callable[[], bytes]], folder: Path) -> list[Path]:
    """Put files, by name and what makes their content, into a new or empty folder, all or none.

    Raises
    ------
    OutputError
        As `write_scene`.
    """

    def refuse_full() -> list[str]:
        if folder.exists() and (
            not folder.is_dir() or any(not is_work_folder(path, folder.resolve().name) for path in folder.iterdir())
        ):
            what = "holds files already" if folder.is_dir() else "is a file"
            raise OutputError(f"{folder}: {what}. Give a new or empty folder for the scene.")
        return []

    try:
        place = folder.resolve()
        settle(place, place.name)
        refuse_full()
        put_files(place, contents, refuse_full, place.name)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            f"{folder}: cannot be written ({error.strerror or error}). Give a folder that can be written."
        ) from None
    return [folder / name for name in contents]


def scene_files(scene: Scene) -> dict[str, bytes]:
    """Return what `write_scene` writes, keyed by file name."""
    files = {f"{name}.jpg": data for name, data in scene.jpegs.items()}
    texts = {"patch.toml": patch_toml(replace(scene.spec.patch, rendered=True))}
    for portion in scene.spec.portions:
        texts[debris_name(portion, texts)] = debris_toml(portion.kind, REMARK)
    texts["truth.json"] = json.dumps(truth_json(scene), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    texts["particles.csv"] = particles_csv(scene.truth)
    return files | {name: text.encode("utf-8", "replace") for name, text in texts.items()}


def debris_name(portion: Portion, taken: Collection[str]) -> str:
    """Name of a portion's debris file, unlike those taken."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in portion.kind.name.lower()).strip("-")
    name, number = f"{plain or 'debris'}.toml", 2
    while name in taken:
        name, number = f"{plain or 'debris'}-{number}.toml", number + 1
    return name


def truth_json(scene: Scene) -> dict[str, Any]:
    """Return the truth as truth.json holds it.

    ``passes`` has the form of the shipped reference pictures, and tells for each zone how much of the debris that lay
    there before the pass it went over, and how much of what is left since *before* was never moved; ``photos`` holds
    for each shot the homography (floor mm to undistorted px, row by row), centre, focal length and k1 as
    `debriscount.camera.view.FloorToPhoto` and its lens have them.
    """
    truth = scene.truth
    passes = []
    for number in range(1, truth.passes + 1):
        left = truth.leftovers_percent(number)
        passes.append(
            {
                "pass": number,
                "zones": _zones_json(truth, number, None),
                "kinds": {name: {"zones": _zones_json(truth, number, k)} for k, name in enumerate(truth.kinds)},
                "leftovers": None
                if left is None
                else {"untouched_percent": round(left[0], 3), "shifted_percent": round(left[1], 3)},
                **_way_json(truth.routes[number - 1]),
            }
        )
    return {
        "format": FORMAT,
        "scene": truth.patch.name,
        "origin": "simulated; areas are the summed silhouettes of the grains from straight above",
        "seed": scene.spec.seed,
        "before": {"zones": {name: _amount_json(amount) for name, amount in truth.amounts(0).items()}},
        "passes": passes,
        "photos": {name: _pose_json(truth, name) for name in truth.poses},
    }


def _way_json(route: Route) -> dict[str, Any]:
    """``lanes`` as the reference pictures have it, null on another path; ``path`` holds what any path has."""
    cleaning, course = route.cleaning, route.course
    path: dict[str, Any] = {"name": cleaning.path}
    lanes: dict[str, Any] | None = None
    if isinstance(course, DrivenLanes):
        lanes = {
            "heading_deg": cleaning.heading_deg % 180,
            "pitch_mm": cleaning.pitch_mm,
            "strip_mm": max(cleaning.pitch_mm - cleaning.width_mm, 0.0),
            "width_mm": cleaning.width_mm,
            "offset_mm": cleaning.offset_mm,
            "wobble_mm": cleaning.wobble_mm,
            "pitch_spread_mm": cleaning.pitch_spread_mm,
            "straight_middles_mm": [round(float(v), 3) for v in course.straight_middles_mm()],
        }
    elif isinstance(course, Wander):
        path |= {"width_mm": cleaning.width_mm, "reach_share": cleaning.reach_share}
        path |= {"turns_mm": np.round(course.turns_mm, 3).tolist()}
    elif isinstance(course, Spiral):
        path |= {"width_mm": cleaning.width_mm, "reach_share": cleaning.reach_share, "pitch_mm": cleaning.pitch_mm}
        path |= {"center_mm": np.round(course.center_mm, 3).tolist(), "end_mm": round(course.end_mm, 3)}
        path |= {"start_deg": round(float(np.rad2deg(course.start_rad)), 3), "turn": course.turn}
    path |= {"wall_gap_mm": cleaning.wall_gap_mm, "corner_radius_mm": cleaning.corner_radius_mm}
    path |= {"missed_mm": [[list(point) for point in polygon] for polygon in cleaning.missed_mm]}
    return {"lanes": lanes, "path": path | {"flung_side": cleaning.flung_side}}


def _zones_json(truth: SceneTruth, number: int, kind: int | None) -> dict[str, Any]:
    before, after = truth.amounts(0, kind), truth.amounts(number, kind)
    by = {
        label: truth.pickup_percent(number, kind, field)
        for label, field in (("area", "area_mm2"), ("count", "grains"), ("mass", "mass_g"))
    }
    reached = truth.reached_percent(number, kind)
    left = {zone: truth.leftovers_percent(number, zone, kind) or (None, None) for zone in before}
    return {
        zone: {"before": _amount_json(before[zone]), "after": _amount_json(after[zone])}
        | {f"pickup_by_{label}_percent": _rounded(figures[zone], 3) for label, figures in by.items()}
        | {
            "reached_percent": _rounded(reached[zone], 3),
            "untouched_percent": _rounded(left[zone][0], 3),
            "shifted_percent": _rounded(left[zone][1], 3),
        }
        for zone in before
    }


def _amount_json(amount: TrueAmount) -> dict[str, Any]:
    return picked(amount, "area_mm2 grains mass_g")


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _pose_json(truth: SceneTruth, name: str) -> dict[str, Any]:
    pose = truth.poses[name]
    return {
        "size_px": list(pose.size_px),
        "homography": [[float(v) for v in row] for row in pose.view.homography],
        "center_px": list(pose.view.lens.center_px),
        "focal_px": pose.view.lens.focal_px[0],
        "k1": pose.view.lens.k1,
        "eye_mm": [round(v, 3) for v in pose.eye_mm],
        "tilt_deg": round(pose.tilt_deg, 4),
    }


def truth_text(scene: Scene) -> str:
    """Return the true figures as a table for people, and what the photos leave out."""
    truth = scene.truth
    rows = [["pass", "zone", "true pickup", "reached", "grains before", "after"]]
    for number in range(1, truth.passes + 1):
        before, after, figures = truth.amounts(0), truth.amounts(number), truth.pickup_percent(number)
        reached = truth.reached_percent(number)
        for zone, value in figures.items():
            shown, met = ("-" if share is None else f"{share:.2f} %" for share in (value, reached[zone]))
            rows.append([str(number), zone, shown, met, str(before[zone].grains), str(after[zone].grains)])
    lines = [*aligned(rows), "Not modelled:", *(f"- {what}" for what in NOT_MODELLED)]
    return "\n".join(lines) + "\n"


def particles_csv(truth: SceneTruth) -> str:
    """Return one row a grain: first place, size, mass, and for every pass whether it was met, its fate and place.

    ``reached_pass1`` is 1 where that pass went over the place where the grain lay, otherwise 0; empty for grains gone
    before.
    """
    header = ["id", "kind", "x_mm", "y_mm", "z_mm", "area_mm2", "mass_mg", "zone_before"]
    for p in range(1, truth.passes + 1):
        header += [f"reached_pass{p}", f"fate_pass{p}", f"x{p}_mm", f"y{p}_mm", f"z{p}_mm", f"zone_pass{p}"]
    grains = truth.grains
    zones = [truth.zone_codes(state) for state in range(truth.passes + 1)]
    rows: list[list[object]] = [list(header)]
    for n in range(len(grains)):
        height = f"{grains.height_mm[n] / 2:.3f}"
        mass = grains.mass_mg[n]
        row: list[object] = [n, truth.kinds[grains.kind[n]], *_place(truth, 0, n), height, f"{grains.area_mm2[n]:.4f}"]
        row += ["" if np.isnan(mass) else f"{mass:.4f}", _zone_name(int(zones[0][n]))]
        for p in range(1, truth.passes + 1):
            fate = int(truth.fate[p - 1, n])
            there = fate in (UNTOUCHED, DISPLACED)
            row += ["" if fate == GONE else int(truth.reached[p - 1, n]), FATES[fate]]
            row += [*_place(truth, p, n), height, _zone_name(int(zones[p][n]))] if there else [""] * 4
        rows.append(row)
    return csv_text(rows)


def _place(truth: SceneTruth, state: int, n: int) -> tuple[str, str]:
    x, y = truth.places_mm[state, n]
    return f"{x:.3f}", f"{y:.3f}"


def _zone_name(code: int) -> str:
    return "outside" if code == OUTSIDE else ZONES[code]
