"""The photo sets that the benchmarks run on: the folder shared/photos beside the repository."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.benchmarks.truth import read_particles
else:  # run as a script, this folder is where Python looks first
    from truth import read_particles

REPOSITORY = Path(__file__).resolve().parents[2]
ABSENT = "skipped: the photo sets (folder shared/photos beside the repository) are not there"


@dataclass(frozen=True, slots=True)
class Scene:
    """One photo set: what `debriscount measure` gets, and the grains that were really there."""

    name: str
    patch: Path
    before: Path
    afters: tuple[Path, ...]
    blank: Path | None
    debris: tuple[Path, ...]
    particles: list[dict[str, str]]

    @property
    def kinds(self) -> tuple[str, ...]:
        """Names of the kinds, in the order of ``debris``."""
        return tuple(kind_name(file) for file in self.debris)

    @property
    def shots(self) -> dict[str, Path]:
        """Photos but the blank by shot name."""
        names = [f"after{i or ''}" for i in (0, *range(2, len(self.afters) + 1))]
        return {"before": self.before, **dict(zip(names, self.afters, strict=True))}


def photos_folder() -> Path | None:
    """Folder of the photo sets, or None where they are not at hand."""
    folder = REPOSITORY.parent / "shared" / "photos"
    return folder if folder.is_dir() else None


def kind_name(debris_file: Path) -> str:
    """Name of the kind that a debris file describes."""
    return str(tomllib.loads(debris_file.read_text(encoding="utf-8"))["debris"]["name"])


#: Of the sets of all sorts, eight for every day: each floor, with and without a blank, fine and coarse, heaps, one pass
#: that took nothing and one that took all.
DAILY = (
    "bean-tile-blank-025", "crumb-oak-noblank-024", "flake-lentil-terrazzo-blank-027", "lentil-concrete-blank-031",
    "millet-checker-blank-014", "pea-carpet-noblank-028", "pea-parquet-blank-029", "rice-pea-vinyl-blank-010",
)  # fmt: skip


def load_scenes(folder: Path, only: str | None = None) -> list[Scene]:
    """All photo sets of a folder, or the one called ``only``, by name.

    Debris files are looked for in the folder's own ``debris``, then in that of the shared sets.
    """
    places = [REPOSITORY.parent / "shared" / "photos" / "debris", folder / "debris"]
    files = {kind_name(file): file for place in places for file in sorted(place.glob("*.toml"))}
    scenes = []
    for table in sorted(folder.glob("*/particles.csv")):
        place = table.parent
        if only not in (None, place.name):
            continue
        particles = read_particles(table)
        blank = place / "blank.jpg"
        scenes.append(
            Scene(
                name=place.name,
                patch=place / "patch.toml",
                before=place / "before.jpg",
                afters=tuple(sorted(place.glob("after*.jpg"))),
                blank=blank if blank.is_file() else None,
                debris=tuple(files[kind] for kind in sorted({row["kind"] for row in particles})),
                particles=particles,
            )
        )
    return scenes
