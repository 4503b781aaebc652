"""The stage as a whole: photos of weighed portions become a debris kind with its masses."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from os import PathLike
from pathlib import Path

import numpy as np

from ..errors import PortionError
from ..inputs.debris import CalibrationPortion, DebrisCalibration, DebrisKind
from ..inputs.debris_file import read_debris
from ..inputs.debris_write import debris_toml
from ..inputs.lens import CameraLens
from ..inputs.patch import Patch
from ..inputs.patch_file import read_patch
from ..inputs.save import save_files
from ..run.sources import Progress, loaded
from ..scale.agreement import ACCEPTABLE
from ..stats.quantity import Quantity
from .advice import fit_warnings, next_portions
from .arguments import PortionArgument, parse_portion
from .fit import fit_area_mass, fit_grain_mass, read_off
from .photos import count_portions
from .records import AreaFit, GrainMass, PortionCalibration, WeighedPortion


def calibrate(
    patch: Patch | str | PathLike[str],
    debris: DebrisKind | str | PathLike[str],
    portions: Sequence[PortionArgument | str],
    *,
    blank: str | PathLike[str] | None = None,
    lens: CameraLens | str | PathLike[str] | None = None,
    thousand_g: Quantity | None = None,
    at_g: float | None = None,
    date: str | None = None,
    remark: str = "",
    progress: Progress | None = None,
) -> PortionCalibration:
    """Learn area mass, crowding and grain mass of a kind of debris from photos of weighed portions.

    Parameters
    ----------
    patch : Patch or path
        On which the portions lay.
    debris : DebrisKind or path
        Name, colour and sizes of the kind; its crowding holds unless the portions show another.
    portions : sequence of PortionArgument or str
        As `debriscount.portions.arguments.parse_portion` reads them.
    blank : path, optional
        Photo of the clean floor.
    lens : CameraLens or path, optional
        The camera's lens; told from the markers unless given.
    thousand_g : Quantity, optional
        Mass of a thousand grains, grams.
    at_g : float, optional
        A mass to be read off later, grams, for which the interval is given; the middle portion's unless given.
    date : str, optional
        Day of the photos, "2026-11-25"; today unless given.
    remark : str
        What the photos are, for the file.
    progress : callable, optional
        Told the share done, 0 to 1, and what is being done.

    Returns
    -------
    PortionCalibration

    Raises
    ------
    PortionError
        No portion, a mass or a photo that cannot be.
    DebriscountError
        As `debriscount.portions.photos.count_portions`, `read_patch` and `read_debris`.
    """
    patch = loaded(patch, read_patch)
    kind = loaded(debris, read_debris)
    given = [parse_portion(p) if isinstance(p, str) else p for p in portions]
    if not given:
        raise PortionError("no portion is given. Give PHOTO=GRAMS for one weighed portion or more.")
    if at_g is not None and not 0 < at_g < 1e6:
        raise PortionError(f"the mass to be read off later must be greater than 0 g, got {at_g:g}.")
    weighed, warnings = count_portions(given, patch, kind, blank=blank, lens=lens, progress=progress)
    day = datetime.now().date().isoformat() if date is None else date
    return learn(kind, weighed, patch.name, day, thousand_g=thousand_g, at_g=at_g, remark=remark, told=warnings)


def learn(
    kind: DebrisKind,
    weighed: Sequence[WeighedPortion],
    patch_name: str,
    date: str,
    *,
    thousand_g: Quantity | None = None,
    at_g: float | None = None,
    remark: str = "",
    told: Sequence[str] = (),
) -> PortionCalibration:
    """Learn from portions whose photos are counted; parameters as `calibrate`, ``told`` being the photos' warnings."""
    area = fit_area_mass(weighed, kind.size_mm, kind.crowding)
    grain = fit_grain_mass(weighed, kind.size_mm, thousand_g)
    at = float(np.median([p.mass_g.value for p in weighed])) if at_g is None else at_g
    learned = replace(
        kind,
        grain_mass_mg=grain.best_mg.value if grain.best_mg else kind.grain_mass_mg,
        area_mass_mg_per_mm2=area.area_mass_mg_per_mm2.value,
        crowding=area.crowding,
        calibration=_calibration(area, grain, weighed, patch_name, date, remark),
    )
    warnings = (*told, *fit_warnings(area, weighed), *_disagreement(grain))
    advice = next_portions(area, weighed, at, kind.size_mm)
    return PortionCalibration(
        kind=learned,
        portions=tuple(weighed),
        area=area,
        grain_mass=grain,
        read_off_g=read_off(area, weighed, at, kind.size_mm),
        advice=advice,
        warnings=warnings,
    )


def _calibration(
    area: AreaFit, grain: GrainMass, weighed: Sequence[WeighedPortion], patch_name: str, date: str, remark: str
) -> DebrisCalibration:
    portions = tuple(
        CalibrationPortion(
            photos=tuple(shot.file for shot in p.shots),
            sha256=tuple(shot.sha256 for shot in p.shots),
            grams=p.mass_g.value,
            u_grams=p.mass_g.u,
            area_mm2=float(seen),
            grains=mean_grains(p),
        )
        for p, seen in zip(weighed, area.areas_mm2, strict=True)
    )
    best, thousand, crowded = grain.best_mg, grain.thousand_mg, area.crowding_fit
    return DebrisCalibration(
        date,
        patch_name,
        area.area_mass_mg_per_mm2.u,
        portions,
        dof_area_mass=_finite(area.area_mass_mg_per_mm2.dof),
        u_grain_mass_mg=best.u if best else None,
        dof_grain_mass=_finite(best.dof) if best else None,
        u_crowding=_finite(crowded.u) if crowded is not None and crowded.adopted else None,
        thousand_grain_mass_g=thousand.value if thousand else None,
        u_thousand_grain_mass_g=thousand.u if thousand else None,
        remark=remark,
    )


def mean_grains(portion: WeighedPortion) -> float | None:
    """Grains of a portion, the mean of its photos; None unless they can be counted in all."""
    numbers = [shot.grains for shot in portion.shots if shot.grains is not None]
    return float(np.mean(numbers)) if len(numbers) == len(portion.shots) else None


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _disagreement(grain: GrainMass) -> list[str]:
    """Say so where counts and a thousand grains contradict each other (ISO 13528)."""
    counted, thousand, zeta = grain.counted_mg, grain.thousand_mg, grain.zeta
    if counted is None or thousand is None or zeta is None or abs(zeta) <= ACCEPTABLE:
        return []
    more = "fewer grains than lay there, or others" if zeta > 0 else "more grains than lay there, or others"
    return [
        f"a grain weighs {counted.value:.4g} mg by the photos' counts and {thousand.value:.4g} mg by a thousand grains "
        f"weighed: the photos show {more}"
    ]


def write_calibration(found: PortionCalibration, path: str | PathLike[str], *, overwrite: bool = False) -> Path:
    """Write the debris file of a calibration.

    Parameters
    ----------
    found : PortionCalibration
        What the portions taught.
    path : path-like
        Where to; folders above are made.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        Something is there already, or the file cannot be written.
    """
    return save_files({Path(path): calibration_file(found).encode()}, overwrite=overwrite)[0]


def calibration_file(found: PortionCalibration) -> str:
    """Return the text of the debris file, with a comment that says where its masses come from."""
    count, how = len(found.portions), found.kind.calibration
    assert how is not None  # the portions are its calibration
    portions = "a weighed portion" if count == 1 else f"{count} weighed portions"
    remark = f"Masses learned from photos of {portions} on {how.date} by debriscount portion."
    return debris_toml(found.kind, remark)
