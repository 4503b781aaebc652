"""What really happened in a scene: amounts and pickup from the grains in its particles.csv."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

#: Zones of the patch; "margin" lies around it, "outside" beyond that.
INSIDE = ("open", "edge", "corner")

Particle = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class TrueAmount:
    """Grains whose centre lies in a zone, with their own silhouettes from straight above."""

    grains: int
    area_mm2: float
    mass_mg: float


def read_particles(file: Path) -> list[dict[str, str]]:
    """Rows of a particles.csv, one a grain."""
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def true_amounts(particles: Sequence[Particle], number: int, kind: str | None = None) -> dict[str, TrueAmount]:
    """Amounts by zone in one shot.

    Parameters
    ----------
    particles : sequence of mapping
        As `read_particles` returns them.
    number : int
        0 for the photo before, 1 and up for the photo after that pass.
    kind : str, optional
        Only grains of this kind.

    Returns
    -------
    dict of str to TrueAmount
        Keyed by "patch", "open", "edge", "corner" and "margin".
    """
    column = "zone_before" if number == 0 else f"zone_pass{number}"
    lying = [row for row in particles if kind in (None, row["kind"])]
    amounts = {}
    for zone in ("patch", *INSIDE, "margin"):
        members = [row for row in lying if row[column] in (INSIDE if zone == "patch" else (zone,))]
        area = sum(float(row["area_mm2"]) for row in members)
        mass = sum(float(row["mass_mg"]) for row in members)
        amounts[zone] = TrueAmount(len(members), area, mass)
    return amounts


def untouched_percent(particles: Sequence[Particle], number: int) -> float | None:
    """Share of the area left in the patch after a pass that no pass so far moved, percent; None if nothing is left."""
    left = [row for row in particles if row[f"zone_pass{number}"] in INSIDE]
    still = [row for row in left if all(row[f"fate_pass{n}"] == "untouched" for n in range(1, number + 1))]
    total = sum(float(row["area_mm2"]) for row in left)
    return 100 * sum(float(row["area_mm2"]) for row in still) / total if total else None


def pickup_percent(before: Mapping[str, float], after: Mapping[str, float]) -> dict[str, float | None]:
    """Pickup by zone from amounts of any unit; None for a zone that held nothing.

    Parameters
    ----------
    before, after : mapping of str to float
        Amounts by zone, one of them "patch".

    Returns
    -------
    dict of str to float or None
        Percent. What the margin gained counts as left in the patch; the margin itself has no pickup.
    """
    gain = max(0.0, after.get("margin", 0.0) - before.get("margin", 0.0))
    pickup: dict[str, float | None] = {}
    for zone in before:
        if zone == "margin":
            continue
        left = after[zone] + (gain if zone == "patch" else 0.0)
        pickup[zone] = 100 * (1 - left / before[zone]) if before[zone] > 0 else None
    return pickup
