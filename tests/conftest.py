"""Made-up scenes for all tests, and a small painted bench: a floor whose texture is known, through known cameras.

Floor and photos of the bench are made here with numpy and OpenCV's warp alone, none of it by the code under test.
"""

import importlib
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from numpy.typing import NDArray

from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import Marker, Patch
from debriscount.layout.lay_patch import lay_patch
from debriscount.memory import keep_freed
from debriscount.photo.read import Photo, photo_from_array
from debriscount.simulate.scene import Scene
from debriscount.simulate.scene import make_scene as simulate_scene
from debriscount.simulate.spec import Camera, Floor, Portion, SceneSpec
from debriscount.simulate.write import write_scene

# As the command line does, and first of all.
keep_freed()
# No deadline, because a busy machine is no fault. Fifty examples: hypothesis tries extreme values first, so more seldom
# find more; a test of slow code asks for fewer, one of a reader of files for more.
settings.register_profile("debriscount", deadline=None, max_examples=50, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("debriscount")
# Tests that run in the background ignore Ctrl-C or a closed terminal, and so would the commands that they start and end
# by these signals.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):  # not on Windows
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Call a test slow that asks for a made-up photograph, whatever it does with it."""
    for item in items:
        if {"scene", "make_scene"} & set(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.slow)


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
    """Lentils of 5 mm on planks in a corner, a megapixel: about 1.8 px a millimetre, as few as will do."""
    spec = SceneSpec(
        patch=lay_patch(400, 300, ("top", "left")),
        portions=(Portion(LENTILS, cover_share=0.05),),
        floor=Floor("planks"),
        camera=Camera(megapixels=1.0),
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


STEP_MM = 0.25
LEFT, TOP, RIGHT, BOTTOM = -75.0, -25.0, 275.0, 195.0
SIZE_PX = (880, 570)
#: How often a photo pixel is sampled along each side.
FINER = 3


@dataclass(frozen=True, eq=False)
class Bench:
    """A patch; its bare floor, one with debris and another room's, in linear light; and a photographer."""

    patch: Patch
    floor: NDArray[np.float32]
    strewn: NDArray[np.float32]
    elsewhere: NDArray[np.float32]
    homography: NDArray[np.float64]
    photo: Callable[..., NDArray[np.uint8]]

    def photos(self, blur_px: float = 0.0, **floors: NDArray[np.float32]) -> dict[str, Photo]:
        """Photos of the given floors; between them the tripod moves by a few pixels."""
        photos = {}
        for number, (name, floor) in enumerate(floors.items()):
            move = np.array([[1, 0, 3.3 * number], [0, 1, -2.6 * number], [0, 0, 1]])
            pixels = self.photo(floor, move @ self.homography, seed=number, blur_px=blur_px)
            photos[name] = photo_from_array(pixels, f"{name}.jpg")
        return photos

    def laid(self, *markers: Marker) -> NDArray[np.float32]:
        """The bare floor with other markers on it than the patch's."""
        return paint_floor(replace(self.patch, markers=markers), seed=1)

    def pushed(self, number: int, x_mm: float, y_mm: float) -> NDArray[np.float32]:
        """The bare floor with one marker elsewhere."""
        return self.laid(*(push(m, x_mm, y_mm) if m.id == number else m for m in self.patch.markers))

    def corners_px(self, number: int, homography: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """Where a marker's corners are in a photo, shape (4, 2)."""
        corners = self.patch.markers[number].corners_mm()[None]
        seen = cv2.perspectiveTransform(corners, self.homography if homography is None else homography)
        return np.asarray(seen[0], float)


def push(marker: Marker, x_mm: float, y_mm: float) -> Marker:
    """The marker elsewhere."""
    return replace(marker, center_mm=(marker.center_mm[0] + x_mm, marker.center_mm[1] + y_mm))


def places_mm() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place of each pixel of a painted floor, x and y."""
    rows, columns = round((BOTTOM - TOP) / STEP_MM), round((RIGHT - LEFT) / STEP_MM)
    x, y = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    return LEFT + STEP_MM * x, TOP + STEP_MM * y


def texture(rng: np.random.Generator, shape: tuple[int, int], scale_px: float) -> NDArray[np.float32]:
    """Smooth noise of standard deviation 1."""
    noise = cv2.GaussianBlur(rng.standard_normal(shape).astype(np.float32), (0, 0), scale_px)
    return np.asarray(noise / noise.std(), np.float32)


def paint_floor(patch: Patch, seed: int) -> NDArray[np.float32]:
    """Brownish floor, texture of about 1 mm and of 3 mm, markers on white paper; linear light."""
    shape = (round((BOTTOM - TOP) / STEP_MM), round((RIGHT - LEFT) / STEP_MM))
    rng = np.random.default_rng(seed)
    pattern = np.exp(0.08 * texture(rng, shape, 3) + 0.08 * texture(rng, shape, 10))
    floor = (pattern[..., None] * np.array([0.30, 0.22, 0.15])).astype(np.float32)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for marker in patch.markers:
        modules = cv2.aruco.generateImageMarker(dictionary, marker.id, 6)
        side = round(marker.side_mm / STEP_MM / 6)
        square = np.kron(modules > 127, np.ones((side, side)))
        paper = np.pad(square, side, constant_values=1)
        x, y = marker.center_mm
        column = round((x - LEFT) / STEP_MM) - paper.shape[1] // 2
        row = round((y - TOP) / STEP_MM) - paper.shape[0] // 2
        light = np.where(paper > 0, 0.75, 0.03)[..., None]
        floor[row : row + paper.shape[0], column : column + paper.shape[1]] = light
    return np.asarray(floor, np.float32)


def strew(floor: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """Lay dark discs of 5 mm inside the patch."""
    strewn = floor.copy()
    for x, y in np.random.default_rng(4).uniform((10, 10), (190, 140), (count, 2)):
        centre = round((x - LEFT) / STEP_MM), round((y - TOP) / STEP_MM)
        cv2.circle(strewn, centre, 10, (0.05, 0.02, 0.01), cv2.FILLED)
    return strewn


def look_down() -> NDArray[np.float64]:
    """Floor mm to photo px for a camera a little askew; its scale is about 0.4 mm a pixel."""
    floor = np.array([[LEFT, TOP], [RIGHT, TOP], [RIGHT, BOTTOM], [LEFT, BOTTOM]], np.float32)
    photo = np.array([[10, 12], [868, 6], [860, 556], [18, 560]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(floor, photo), float)


def take_photo(
    floor: NDArray[np.float32],
    homography: NDArray[np.float64],
    seed: int = 0,
    noise: float = 0.003,
    blur_px: float = 0.0,
) -> NDArray[np.uint8]:
    """8-bit sRGB photo of a painted floor: area sampling, blur and sensor noise in linear light."""
    # Centres of pixels lie at whole numbers, in the floor's raster and in the finer photo alike.
    to_mm = np.array([[STEP_MM, 0, LEFT + STEP_MM / 2], [0, STEP_MM, TOP + STEP_MM / 2], [0, 0, 1]])
    half = (FINER - 1) / 2
    to_finer = np.array([[FINER, 0, half], [0, FINER, half], [0, 0, 1]])
    size = (SIZE_PX[0] * FINER, SIZE_PX[1] * FINER)
    finer = cv2.warpPerspective(
        floor, to_finer @ homography @ to_mm, size, flags=cv2.INTER_LINEAR, borderValue=(0.1, 0.1, 0.1, 0)
    )
    light = cv2.resize(finer, SIZE_PX, interpolation=cv2.INTER_AREA)
    if blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
    light = light + noise * np.random.default_rng(seed).standard_normal(light.shape)
    light = np.clip(light, 0, 1)
    encoded = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * encoded), np.uint8)


@pytest.fixture(scope="session")
def bench() -> Bench:
    places = ((-40.0, 20.0), (240.0, 20.0), (240.0, 160.0), (-40.0, 160.0))
    patch = Patch(
        name="small bench",
        width_mm=200.0,
        height_mm=150.0,
        walls=("top",),
        markers=tuple(Marker(number, place, 30.0) for number, place in enumerate(places)),
        edge_mm=20.0,
        corner_mm=40.0,
        margin_mm=20.0,
    )
    floor = paint_floor(patch, seed=1)
    return Bench(patch, floor, strew(floor, 60), paint_floor(patch, seed=77), look_down(), take_photo)
