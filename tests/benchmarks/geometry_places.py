"""Where grains are found, beside where they lie: parts *places* and *alignment* of `geometry.py`."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from debriscount.errors import DebriscountError
from debriscount.grains.table import GrainTable
from debriscount.simulate.scene import Scene, make_scene
from debriscount.simulate.truth import UNTOUCHED, SceneTruth

if TYPE_CHECKING:
    from tests.benchmarks.geometry_scenes import feasible
else:  # run as a script, this folder is where Python looks first
    from geometry_scenes import feasible

Floats = NDArray[np.float64]
#: A laid shot: the view and the shift on it that floor places were looked up with.
Laid = tuple[Any, Any]

#: A grain is alone if no other lies nearer than this, and found if one is found nearer to it than that, mm.
ALONE_MM, MATCH_MM = 12.0, 2.0
#: Places along width and height at which the mapping is compared.
NODES = (13, 10)
#: A floor that shots are aligned on: the others have next to no texture.
TEXTURED = ("planks", "tile", "terrazzo", "carpet")


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One run. ``error_mm`` is a lone grain's found place less its true one, infinite where none was found.

    ``mapping_mm`` is what floor places without height are off by in the reference shot and ``laid_mm`` in the
    others; ``apart_mm`` the difference of the places found for one untouched grain in both shots,
    ``laid_apart_mm`` what the mappings of both shots differ by; ``failure`` says why there are none.
    """

    seed: int
    floor: str = ""
    layout: str = ""
    patch_mm: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0
    k1: float = 0.0
    blank: bool = False
    mm_per_px: float = 0.0
    error_mm: tuple[float, ...] = ()
    mapping_mm: tuple[float, ...] = ()
    laid_mm: tuple[float, ...] = ()
    apart_mm: tuple[float, ...] = ()
    laid_apart_mm: tuple[float, ...] = ()
    residual_mm: float | None = None
    failure: str | None = None


def place_run(seed: int) -> PlaceRow:
    """Make a run, measure it, and lay places beside the truth."""
    from debriscount.run.measure import measure

    spec = feasible("places", seed)
    scene = make_scene(spec)
    walls = "+".join(spec.patch.walls) or "free"
    facts: dict[str, Any] = {
        "seed": seed, "floor": spec.floor.kind, "layout": f"{walls}, {len(spec.patch.markers)} markers",
        "patch_mm": (spec.patch.width_mm, spec.patch.height_mm), "tilt_deg": round(spec.camera.tilt_deg, 1),
        "k1": round(spec.camera.k1, 4), "blank": spec.blank,
    }  # fmt: skip
    blank, before, after = ([None] * (not spec.blank) + [scene.pixels(name) for name in spec.shot_names])[:3]
    assert before is not None and after is not None
    try:
        with kept_mappings() as laid:
            found = measure(spec.patch, before, after, blank=blank, debris=[spec.portions[0].kind])
    except DebriscountError as error:
        return PlaceRow(**facts, failure=str(error))
    tables = {shot.name: shot.grains for shot in found.shots}
    offsets = {name: offsets_mm(scene, name, laid) for name in spec.shot_names}
    reference = "blank" if spec.blank else "after"
    return PlaceRow(
        **facts,
        mm_per_px=round(scene.truth.poses["before"].mm_per_px((spec.patch.width_mm / 2, spec.patch.height_mm / 2)), 4),
        error_mm=_rounded(np.concatenate([grain_errors_mm(scene.truth, s, tables[n]) for s, n in _STATES.items()])),
        mapping_mm=_rounded(np.hypot(*offsets[reference].T)),
        laid_mm=_rounded(np.concatenate([np.hypot(*o.T) for n, o in offsets.items() if n != reference])),
        apart_mm=_rounded(grains_apart_mm(scene.truth, tables["before"], tables["after"])),
        laid_apart_mm=_rounded(np.hypot(*(offsets["before"] - offsets["after"]).T)),
        residual_mm=max(shot.residual_mm for shot in found.shots if shot.name != reference),
    )


_STATES = {0: "before", 1: "after"}


@contextmanager
def kept_mappings() -> Iterator[list[tuple[NDArray[np.uint8], Laid]]]:
    """Keep which view and shift each photo is resampled with; the last one of a photo is what its floor view has."""
    from debriscount.registration import register
    from debriscount.registration.resample import resample as real

    kept: list[tuple[NDArray[np.uint8], Laid]] = []

    def resample(pixels: NDArray[np.uint8], view: Any, grid: Any, shift: Any = None) -> Any:
        kept.append((pixels, (view, shift)))
        return real(pixels, view, grid, shift)

    with patch.object(register, "resample", resample):
        yield kept


def offsets_mm(scene: Scene, shot: str, kept: Sequence[tuple[NDArray[np.uint8], Laid]]) -> Floats:
    """Where places all over the patch really lie, less where the shot's floor view has them, shape (N, 2), mm."""
    pixels = scene.pixels(shot)
    view, shift = [laid for photo, laid in kept if np.array_equal(photo, pixels)][-1]
    size = scene.spec.patch.width_mm, scene.spec.patch.height_mm
    x, y = np.meshgrid(*(np.linspace(0, length, nodes) for length, nodes in zip(size, NODES, strict=True)))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    looked_up = places if shift is None else places + shift.at(places)
    return np.asarray(scene.truth.poses[shot].floor_mm(view.project(looked_up)) - places)


def alone(truth: SceneTruth, state: int) -> NDArray[np.bool_]:
    """Grains that lie there in a state, farther than ``ALONE_MM`` from any other, shape (N,)."""
    lying = np.flatnonzero(truth.lying[state])
    result = np.zeros(len(truth.lying[state]), bool)
    if len(lying) > 1:
        places = truth.places_mm[state][lying]
        distances = np.asarray(cKDTree(places).query(places, k=2)[0])  # to itself, then to the nearest other
        result[lying] = distances[:, 1] > ALONE_MM
    return result


def found_at(table: GrainTable, places_mm: Floats) -> Floats:
    """Place of the grain found nearest to each true place of shape (N, 2); NaN where none is within ``MATCH_MM``."""
    result = np.full((len(places_mm), 2), np.nan)
    if len(table) and len(places_mm):
        found = np.stack([table.x_mm, table.y_mm], axis=-1)
        distance, index = (np.asarray(v) for v in cKDTree(found).query(places_mm, distance_upper_bound=MATCH_MM))
        near = np.isfinite(distance)
        result[near] = found[index[near]]
    return result


def grain_errors_mm(truth: SceneTruth, state: int, table: GrainTable) -> Floats:
    """Distance of each lone grain from where it was found, shape (N,); infinite for one not found."""
    places = truth.places_mm[state][alone(truth, state)]
    off = np.hypot(*(found_at(table, places) - places).T)
    return np.asarray(np.where(np.isnan(off), np.inf, off))


def grains_apart_mm(truth: SceneTruth, before: GrainTable, after: GrainTable) -> Floats:
    """Distance between the places found in both shots for every lone grain that lay still and was found twice."""
    still = alone(truth, 0) & alone(truth, 1) & (truth.fate[0] == UNTOUCHED)
    places = truth.places_mm[0][still]
    apart = np.hypot(*(found_at(before, places) - found_at(after, places)).T)
    return np.asarray(apart[~np.isnan(apart)])


def _rounded(values: Floats) -> tuple[float, ...]:
    return tuple(round(float(v), 4) for v in values)


def pooled(rows: Sequence[PlaceRow], field: str, percent: float) -> float | None:
    """Percentile of a field's values over all rows; a run that failed counts as one grain infinitely far off."""
    values = [v for row in rows for v in ((np.inf,) if row.failure else getattr(row, field))]
    return float(np.percentile(values, percent, method="higher")) if values else None


def textured(rows: Sequence[PlaceRow]) -> list[PlaceRow]:
    """Return the rows whose floor has a texture to align on."""
    return [row for row in rows if row.floor in TEXTURED]


def summarise_places(rows: Sequence[PlaceRow]) -> dict[str, float | None]:
    """Return what is held against bars, and the mapping beside it."""
    errors = [v for row in rows for v in row.error_mm]
    return {
        "places: runs failed": sum(row.failure is not None for row in rows),
        "places: lone grains found, %": 100 * float(np.isfinite(errors).mean()) if errors else None,
        "places: error, median, mm": pooled(rows, "error_mm", 50),
        "places: error, 95th percentile, mm": pooled(rows, "error_mm", 95),
        "places: mapping of the reference, median, mm": pooled(rows, "mapping_mm", 50),
        "places: mapping of the reference, 95th percentile, mm": pooled(rows, "mapping_mm", 95),
        "places: mapping of aligned shots, median, mm": pooled(rows, "laid_mm", 50),
        "places: mapping of aligned shots, 95th percentile, mm": pooled(rows, "laid_mm", 95),
    }


def summarise_alignment(rows: Sequence[PlaceRow]) -> dict[str, float | None]:
    """Return what is held against bars on floors with a texture, and the stated residual beside it."""
    own = textured(rows)
    residuals = [row.residual_mm for row in own if row.residual_mm is not None]
    return {
        "alignment: same grain in both shots, median, mm": pooled(own, "apart_mm", 50),
        "alignment: same grain in both shots, 95th percentile, mm": pooled(own, "apart_mm", 95),
        "alignment: mappings of both shots, median, mm": pooled(own, "laid_apart_mm", 50),
        "alignment: residual_mm as stated, median": float(np.median(residuals)) if residuals else None,
    }


def print_places(rows: Sequence[PlaceRow]) -> None:
    """Print errors by factor and the runs that are worst."""
    print(
        "\nplaces, mm: grains found less true | mapping of the reference | of aligned shots; median and 95th percentile"
    )
    groups: list[tuple[str, Mapping[str, list[PlaceRow]]]] = [
        ("layout", _by(rows, lambda r: r.layout)),
        ("floor", _by(rows, lambda r: r.floor)),
        ("patch", _by(rows, lambda r: f"{min(r.patch_mm):g} x {max(r.patch_mm):g}")),
        ("tilt", _by(rows, lambda r: "to 5" if r.tilt_deg < 5 else "5 to 10" if r.tilt_deg < 10 else "10 to 15")),
        ("|k1|", _by(rows, lambda r: "to 0.02" if abs(r.k1) < 0.02 else "to 0.04" if abs(r.k1) < 0.04 else "to 0.06")),
        ("reference", _by(rows, lambda r: "blank" if r.blank else "after")),
    ]
    print(f"{'':34}{'runs':>5}{'grains':>16}{'reference':>16}{'aligned':>16}")
    for title, classes in [("all", {"": list(rows)}), *groups]:
        for name, own in classes.items():
            print(f"{title + ' ' + name:34}{len(own):5}" + _pairs(own, ("error_mm", "mapping_mm", "laid_mm")))
    for row in sorted(rows, key=lambda r: -(pooled([r], "error_mm", 95) or 0))[:5]:
        print(f"  seed {row.seed}: {_facts(row)}{_pairs([row], ('error_mm', 'mapping_mm', 'laid_mm'))}")
    for row in rows:
        if row.failure:
            print(f"  seed {row.seed} FAILED: {_facts(row)}: {row.failure}")


def print_alignment(rows: Sequence[PlaceRow]) -> None:
    """Print how far apart two shots have one grain, by floor."""
    print(
        "\nalignment, mm: same grain in both shots | mappings of both shots; median and 95th percentile | residual_mm"
    )
    own = textured(rows)
    for name, group in {"all textured": own, **_by(rows, lambda r: r.floor)}.items():
        known = [r.residual_mm for r in group if r.residual_mm is not None]
        stated = f"{np.median(known):8.3f}" if known else f"{'-':>8}"
        print(f"{name:34}{len(group):5}{_pairs(group, ('apart_mm', 'laid_apart_mm'))}{stated}")
    for row in sorted(own, key=lambda r: -(pooled([r], "apart_mm", 50) or 0))[:5]:
        pairs = _pairs([row], ("apart_mm", "laid_apart_mm"))
        print(f"  seed {row.seed}: {_facts(row)}{pairs}  residual {row.residual_mm}")


def _by(rows: Sequence[PlaceRow], key: Any) -> dict[str, list[PlaceRow]]:
    names = sorted({str(key(row)) for row in rows})
    return {name: [row for row in rows if str(key(row)) == name] for name in names}


def _pairs(rows: Sequence[PlaceRow], fields: Sequence[str]) -> str:
    values = [pooled(rows, field, percent) for field in fields for percent in (50, 95)]
    return "".join(f"{'-' if v is None else format(v, '.3f'):>8}" for v in values)


def _facts(row: PlaceRow) -> str:
    blank = "blank" if row.blank else "no blank"
    return f"{row.floor}, {row.layout}, {row.patch_mm}, tilt {row.tilt_deg}, k1 {row.k1:+.3f}, {blank}"
