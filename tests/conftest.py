"""Made-up scenes for all tests."""

import importlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.lay_patch import lay_patch
from debriscount.simulate.scene import Scene
from debriscount.simulate.scene import make_scene as simulate_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec
from debriscount.simulate.write import write_scene

LENTILS = DebrisKind("red lentils", (212, 100, 49), (4.4, 5.6), grain_mass_mg=35.0, area_mass_mg_per_mm2=1.75)


@dataclass(frozen=True)
class SceneOnDisk:
    """A made scene and the folder that holds its files."""

    scene: Scene
    folder: Path

    @property
    def patch(self) -> Path:
        return self.folder / "patch.toml"

    @property
    def blank(self) -> Path:
        return self.folder / "blank.jpg"

    @property
    def before(self) -> Path:
        return self.folder / "before.jpg"

    @property
    def afters(self) -> list[Path]:
        return [self.folder / f"{name}.jpg" for name in self.scene.spec.shot_names if name.startswith("after")]

    @property
    def debris(self) -> list[Path]:
        return sorted(set(self.folder.glob("*.toml")) - {self.patch})


def small_spec(**changes: Any) -> SceneSpec:
    """Lentils of 5 mm on planks in a corner, 1.5 megapixels: about 2.2 px a millimetre."""
    spec = SceneSpec(
        patch=lay_patch(400, 300, ("top", "left")),
        portions=(Portion(LENTILS, cover_share=0.05),),
        floor=Floor("planks"),
        camera=Camera(megapixels=1.5),
        seed=1,
    )
    return replace(spec, **changes)


@pytest.fixture(scope="session")
def scene(tmp_path_factory: pytest.TempPathFactory) -> SceneOnDisk:
    """The usual small scene: blank, before and after, with files and truth. Do not write into its folder."""
    made = simulate_scene(small_spec())
    folder = tmp_path_factory.mktemp("scene") / "lentils"
    write_scene(made, folder)
    return SceneOnDisk(made, folder)


@pytest.fixture(scope="session")
def make_scene(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., SceneOnDisk]:
    """Make a scene like ``scene`` with fields of `SceneSpec` changed, such as ``make_scene(seed=3)``."""

    def make(**changes: Any) -> SceneOnDisk:
        made = simulate_scene(small_spec(**changes))
        folder = tmp_path_factory.mktemp("scene") / "made"
        write_scene(made, folder)
        return SceneOnDisk(made, folder)

    return make


@pytest.fixture
def load(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], Any]]:
    """Import a benchmark by name, as it is run: its folder is where Python looks first."""
    folder = Path(__file__).parent / "benchmarks"
    monkeypatch.syspath_prepend(folder)
    yield importlib.import_module
    for file in folder.glob("*.py"):
        sys.modules.pop(file.stem, None)
