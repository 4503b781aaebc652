"""A small campaign to try summaries and comparisons on: sixteen runs that were drawn at random, not measured.

Two machines, A and B, of an invented workshop, each with two brushes, four blocks of four runs.
"""

import json
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from .campaign.campaign_file import Campaign, Common, Floor, Machine
from .campaign.campaign_write import make_campaign
from .campaign.file_run import NewRun, file_run
from .campaign.records import RunSources
from .inputs.debris_names import find_debris
from .inputs.patch_write import patch_toml
from .inputs.record_file import MEASUREMENT
from .inputs.save import save_files
from .layout.lay_patch import lay_patch

BLOCKS, SEED = 4, 7
#: What each machine picks up with a rubber brush on average, percent, by zone; and what bristles add to that.
MACHINES = {"A": {"open": 92.0, "edge": 71.0, "corner": 34.0}, "B": {"open": 89.0, "edge": 74.0, "corner": 30.0}}
BRISTLES = {"open": 0.0, "edge": 6.0, "corner": 8.0}
#: Share of the debris that lies in each zone, from which the patch's pickup follows.
SHARES = {"open": 0.78, "edge": 0.19, "corner": 0.03}
#: Standard deviations, points: between runs of one block, between blocks, and of one run as its photos show it.
BETWEEN_RUNS, BETWEEN_BLOCKS, OF_ONE = 1.5, 1.0, {"open": 0.5, "edge": 1.2, "corner": 5.0}
AREA_MM2 = 20_000.0
REMARK = "drawn at random by the demo: no machine ran and no photo was taken"


@dataclass(frozen=True, slots=True)
class _Drawn:
    machine: str
    brush: str
    block: int


def write_demo_campaign(folder: str | PathLike[str]) -> Path:
    """Write the campaign.

    Parameters
    ----------
    folder : path-like
        Where to; there must be no campaign yet.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    CampaignError
        There is a campaign already.
    OutputError
        It cannot be written.
    """
    home = Path(folder)
    patch = home / "patch.toml"
    if not patch.exists():
        save_files({patch: patch_toml(lay_patch(600, 400, ("top", "left"), name="workshop corner")).encode()})
    debris = find_debris("red-lentils")
    make_campaign(
        home,
        Campaign(
            campaign=Common(name="two brushes", debris=("red-lentils",), floor="oak"),
            floors=(Floor(name="oak", note=REMARK),),
            machines=tuple(Machine(name=name, settings={"brush": "rubber"}) for name in MACHINES),
        ),
        patch,
        (debris,),
    )
    rng = np.random.default_rng(SEED)
    for block in range(1, BLOCKS + 1):
        runs = [_Drawn(machine, brush, block) for machine in MACHINES for brush in ("rubber", "bristle")]
        shift = rng.normal(0, BETWEEN_BLOCKS)
        for place, number in enumerate(rng.permutation(len(runs))):
            run = runs[number]
            content = json.dumps(_record(run, shift, rng), indent=1).encode()
            sources = RunSources(patch=home / "patch.toml", photos={}, debris=(home / "debris" / debris.name,))
            new = NewRun(
                when=f"2026-11-{block + 1:02d}T{9 + place:02d}:00:00",
                machine=run.machine,
                settings={"brush": run.brush},
                floor="oak",
                block=str(block),
                sources=sources,
                patch_name="workshop corner",
                kinds=("red lentils",),
                batches=("",),
                note=REMARK,
            )
            file_run(home, new, {"measurement.json": content}, {})
    return home


def _record(run: _Drawn, shift: float, rng: np.random.Generator) -> dict[str, Any]:
    """A run's record: what it truly picked up, as far as photos show that."""
    of_run = shift + rng.normal(0, BETWEEN_RUNS)
    zones, picked, variance = {}, 0.0, 0.0
    for zone, share in SHARES.items():
        true = MACHINES[run.machine][zone] + (BRISTLES[zone] if run.brush == "bristle" else 0.0) + of_run
        seen = min(true + rng.normal(0, OF_ONE[zone]), 100.0)
        zones[zone] = _zone(seen, OF_ONE[zone], share * AREA_MM2)
        picked += share * seen
        variance += (share * OF_ONE[zone]) ** 2
    whole = _zone(picked, float(np.sqrt(variance)), AREA_MM2)
    blocks = {"patch": whole, **zones}
    return {
        "format": MEASUREMENT,
        "photos": {},
        "passes": [{"pass": 1, "zones": blocks, "kinds": {"red lentils": {"zones": blocks}}}],
        "agreement": None,
        "warnings": [REMARK],
        "flags": [],
    }


def _zone(percent: float, u: float, area_mm2: float) -> dict[str, Any]:
    low, high = percent - 1.96 * u, min(percent + 1.96 * u, 100.0)
    left = area_mm2 * (1 - percent / 100)
    return {
        "pickup_percent": round(percent, 4),
        "more_than_percent": None,
        "interval95": [round(low, 4), round(high, 4)],
        "gone_percent": round(percent, 4),
        "trust": "sound" if 1.96 * u <= 4 else "doubtful",
        "why": "" if 1.96 * u <= 4 else "its 95 % interval is wider than 8 points",
        "before": {"area_mm2": round(area_mm2, 3), "grains": None, "mass_g": None},
        "after": {"area_mm2": round(left, 3), "grains": None, "mass_g": None},
    }
