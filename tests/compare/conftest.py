from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from debriscount.campaign.records import (
    Figures,
    FiledFigure,
    FiledPass,
    FiledRun,
    RunRecord,
    UsedDebris,
    UsedFile,
    Versions,
    Withdrawn,
)
from debriscount.compare.labels import CampaignRun, campaign_runs

MakeRun = Callable[..., FiledRun]


def filed_figure(
    pickup: float | None, *, u: float = 0.8, at_least: float | None = None, trust: str = "sound", before_mm2: float = 1e4,
    before_g: float | None = None,
) -> FiledFigure:  # fmt: skip
    """A zone's figure with a symmetric 95 % interval."""
    left = 0.0 if pickup is None else 1 - pickup / 100
    return FiledFigure(
        pickup_percent=pickup,
        more_than_percent=at_least,
        interval95=None if pickup is None else (pickup - 1.959964 * u, pickup + 1.959964 * u),
        gone_percent=pickup,
        trust=trust if pickup is not None or at_least is not None else "not measurable",
        why="" if trust == "sound" else "the photos are blurred",
        before_mm2=before_mm2,
        after_mm2=before_mm2 * left,
        before_g=before_g,
        after_g=None if before_g is None else before_g * left,
    )


def filed_run(
    number: int, pickup: float | None = 80.0, *, machine: str = "A", zones: dict[str, FiledFigure] | None = None,
    kinds: dict[str, dict[str, FiledFigure]] | None = None, settings: dict[str, str] | None = None, floor: str = "oak",
    block: str = "", software: str = "1.0", batch: str = "1", withdrawn: str | None = None, passes: int = 1,
    debris: str = "lentils", patch: str = "bench", **changes: Any,
) -> FiledRun:  # fmt: skip
    """A run with one figure of the patch, or with the zones given, in every pass alike; no files."""
    found = zones or {"patch": filed_figure(pickup, **changes)}
    record = RunRecord(
        format="debriscount/run/1",
        run=number,
        when=f"2026-11-{1 + number % 28:02d}T10:00:00",
        machine=machine,
        patch=UsedFile(patch, "patch.toml", "aa"),
        debris=(UsedDebris(kind=debris, name=debris, file=f"{debris}.toml", sha256="bb", batch=batch),),
        photos={},
        result=UsedFile("measurement", "measurement.json", "cc"),
        versions=Versions("0.1.0", "0.1.0"),
        software=software,
        settings=settings or {},
        floor=floor,
        block=block,
        withdrawn=None if withdrawn is None else Withdrawn("2026-12-01T10:00:00", withdrawn),
    )
    figures = Figures(passes=tuple(FiledPass(number=i + 1, zones=found, kinds=kinds or {}) for i in range(passes)))
    return FiledRun(folder=Path(f"brushes/runs/{number:04d}"), record=record, figures=figures)


def named(runs: Sequence[FiledRun], campaign: str = "brushes") -> list[CampaignRun]:
    return campaign_runs({Path(campaign): runs})


@pytest.fixture
def make_runs() -> Callable[..., list[CampaignRun]]:
    """Make runs of one campaign with the pickups given by machine: ``make_runs(A=[80, 82], B=[75, 76])``."""

    def make(**pickups: Sequence[float]) -> list[CampaignRun]:
        runs = [(machine, value) for machine, values in pickups.items() for value in values]
        return named([filed_run(i + 1, value, machine=machine) for i, (machine, value) in enumerate(runs)])

    return make
