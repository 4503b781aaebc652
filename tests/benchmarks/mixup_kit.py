"""One photo set made ready for mix-ups: its photos as arrays, where their pixels lie on the floor, copies on disk."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from debriscount.camera.view import FloorToPhoto
from debriscount.inputs.patch import Patch
from debriscount.inputs.patch_file import read_patch
from debriscount.photo.read import Photo, read_photo
from debriscount.registration.locate import locate_shots

if TYPE_CHECKING:
    from tests.benchmarks.scenes import Scene
else:  # run as a script, this folder is where Python looks first
    from scenes import Scene

Pixels = NDArray[np.uint8]
Floats = NDArray[np.float64]
#: Every so many pixels the floor place of a photo's pixel is worked out; between them it is interpolated.
COARSE = 8
#: How far a grain's shade and rim reach beyond its own radius when it is stamped elsewhere, mm.
RIM_MM = 1.5


@dataclass(frozen=True, slots=True)
class Run:
    """What `measure` gets; ``shots`` in the order blank, before, after, after2."""

    patch: Path
    shots: Mapping[str, Path]
    debris: tuple[Path, ...]
    lens: Path | None = None

    @property
    def afters(self) -> list[Path]:
        """Photos of the passes."""
        return [file for name, file in self.shots.items() if name.startswith("after")]


@dataclass(slots=True)
class Kit:
    """A photo set and a folder for what is made of it; photos are read and located once."""

    scene: Scene
    folder: Path
    half: bool = False
    made: int = 0
    _photos: dict[str, Photo] = field(default_factory=dict)
    _floors: dict[str, NDArray[np.float32]] = field(default_factory=dict)
    _views: dict[str, FloorToPhoto] = field(default_factory=dict)
    _run: Run | None = None

    @property
    def run(self) -> Run:
        """The right run, of photos half as wide and high if so asked."""
        if self._run is None:
            blank = {} if self.scene.blank is None else {"blank": self.scene.blank}
            shots = {**blank, **self.scene.shots}
            if self.half:
                shots = {name: self._halved(name, file) for name, file in shots.items()}
            self._run = Run(self.scene.patch, shots, self.scene.debris)
        return self._run

    @property
    def last(self) -> str:
        """Name of the last shot."""
        return list(self.run.shots)[-1]

    @property
    def patch(self) -> Patch:
        """The set's patch."""
        return read_patch(self.scene.patch)

    def _halved(self, name: str, file: Path) -> Path:
        with Image.open(file) as picture:
            exif = picture.info.get("exif", b"")
            small = picture.convert("RGB").resize((picture.width // 2, picture.height // 2), Image.Resampling.BOX)
        to = self.folder / f"{name}.jpg"
        small.save(to, quality=95, exif=exif)
        return to

    def photo(self, shot: str) -> Photo:
        """A shot as it is read."""
        if shot not in self._photos:
            self._photos[shot] = read_photo(self.run.shots[shot])
        return self._photos[shot]

    def pixels(self, shot: str) -> Pixels:
        """A copy of a shot's pixels."""
        return self.photo(shot).pixels.copy()

    def view(self, shot: str) -> FloorToPhoto:
        """Where the floor lies in a shot."""
        if not self._views:
            self._views = dict(locate_shots({name: self.photo(name) for name in self.run.shots}, self.patch).views)
        return self._views[shot]

    def floor(self, shot: str) -> NDArray[np.float32]:
        """Floor place of every pixel of a shot, mm, shape (H, W, 2)."""
        if shot not in self._floors:
            height, width = self.photo(shot).pixels.shape[:2]
            columns, rows = np.arange(0, width + COARSE, COARSE), np.arange(0, height + COARSE, COARSE)
            places = self.view(shot).floor_mm(np.stack(np.meshgrid(columns, rows), axis=-1).astype(float))
            x, y = np.meshgrid(np.arange(width) / COARSE, np.arange(height) / COARSE)
            finer = cv2.remap(places.astype(np.float32), x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
            self._floors[shot] = np.asarray(finer, np.float32)
        return self._floors[shot]

    def save(self, pixels: Pixels, *, like: str, quality: int = 95, **exif: Any) -> Path:
        """Write pixels as a JPEG with the EXIF of a shot, or with ``exif`` tags changed."""
        self.made += 1
        to = self.folder / f"made{self.made}.jpg"
        with Image.open(self.run.shots[like]) as picture:
            tags = picture.getexif()
        for name, value in exif.items():
            tags.get_ifd(0x8769)[int(name[1:], 16)] = value
        Image.fromarray(pixels).save(to, quality=quality, exif=tags)
        return to

    def with_shot(self, shot: str, pixels: Pixels) -> Run:
        """The run with one shot's pixels exchanged."""
        return self.with_file(shot, self.save(pixels, like=shot))

    def with_file(self, shot: str, file: Path) -> Run:
        """The run with one shot's file exchanged, or one added."""
        run = self.run
        shots = {**run.shots, shot: file}
        order = ("blank", "before", *(name for name in shots if name.startswith("after")))
        return Run(run.patch, {name: shots[name] for name in order if name in shots}, run.debris, run.lens)

    def with_text(self, file: Path, *changes: tuple[str, str]) -> Path:
        """A copy of a text file with words exchanged."""
        text = file.read_text(encoding="utf-8")
        for old, new in changes:
            text = text.replace(old, new)
        return self.new_file(f"{file.stem}.toml", text)

    def new_file(self, name: str, text: str) -> Path:
        """A text file of its own."""
        self.made += 1
        to = self.folder / f"{self.made}-{name}"
        to.write_text(text, encoding="utf-8")
        return to

    def grains(self, number: int) -> Floats:
        """Grains that lie on the floor in a shot (0 for before), rows of x, y and radius in mm."""
        end = "" if number == 0 else str(number)
        rows = [row for row in self.scene.particles if row[f"x{end}_mm"]]
        places = [(float(r[f"x{end}_mm"]), float(r[f"y{end}_mm"]), np.sqrt(float(r["area_mm2"]) / np.pi)) for r in rows]
        return np.array(places, float).reshape(-1, 3)

    def discs(self, shot: str, grains: Floats, stretch: float = 1.25) -> NDArray[np.float32]:
        """Alpha, shape (H, W), of discs over grains with their rim, as a shot sees those places."""
        mask = np.zeros(self.photo(shot).pixels.shape[:2], np.uint8)
        view = self.view(shot)
        if len(grains):
            centres = view.project(grains[:, :2])
            radii = (stretch * grains[:, 2] + RIM_MM * np.minimum(1, grains[:, 2])) / view.mm_per_px(grains[:, :2])
            for (x, y), radius in zip(centres, radii, strict=True):
                cv2.circle(mask, (round(16 * x), round(16 * y)), round(16 * radius), 255, -1, cv2.LINE_AA, 4)
        return np.asarray(mask / 255, np.float32)

    def laid_on(self, source: str, target: str, move: Callable[[Floats], Floats] = lambda xy: xy) -> Pixels:
        """Pixels of a shot as another's camera would see them; ``move`` says where on the floor to take them from."""
        places = move(self.floor(target)[::COARSE, ::COARSE].astype(float))
        coarse = self.view(source).project(places).astype(np.float32)
        height, width = self.photo(target).pixels.shape[:2]
        x, y = np.meshgrid(np.arange(width) / COARSE, np.arange(height) / COARSE)
        at = cv2.remap(
            coarse, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(cv2.remap(self.photo(source).pixels, at[..., 0], at[..., 1], cv2.INTER_CUBIC), np.uint8)

    def stamped(
        self,
        target: str,
        source: str,
        grains: Floats,
        move: Callable[[Floats], Floats] = lambda xy: xy,
    ) -> Pixels:
        """A shot with grains of another stamped on; ``grains`` lie in the target, ``move`` leads to the source."""
        return mixed(self.pixels(target), self.laid_on(source, target, move), self.discs(target, grains))

    @property
    def outer(self) -> tuple[float, float]:
        """Width and height of the patch, mm."""
        return self.patch.width_mm, self.patch.height_mm

    def painted(self, shot: str, inside: Callable[[Floats, Floats], NDArray[np.bool_]], colour: Sequence[int]) -> Run:
        """The run with a matt thing of one colour lying in a shot where ``inside`` (x, y in mm) is true."""
        alpha = self.alpha(shot, inside)
        thing = np.empty_like(self.pixels(shot))
        thing[:] = np.array(colour, np.uint8)
        noise = np.random.default_rng(1).normal(0, 2, thing.shape)
        return self.with_shot(shot, mixed(self.pixels(shot), np.clip(thing + noise, 0, 255).astype(np.uint8), alpha))

    def shaded(
        self, shot: str, inside: Callable[[Floats, Floats], NDArray[np.bool_]], factor: float, soft_px: float
    ) -> Run:
        """The run with a shot darkened by ``factor`` in linear light where ``inside`` is true."""
        alpha = cv2.GaussianBlur(self.alpha(shot, inside), (0, 0), soft_px)
        light = to_linear(self.pixels(shot)) * (1 - alpha * (1 - factor))[..., None]
        return self.with_shot(shot, to_pixels(light))

    def alpha(self, shot: str, inside: Callable[[Floats, Floats], NDArray[np.bool_]]) -> NDArray[np.float32]:
        """Share of each pixel of a shot that lies inside, shape (H, W), with a photo's blur."""
        floor = self.floor(shot)
        mask = np.asarray(inside(floor[..., 0].astype(float), floor[..., 1].astype(float)), np.float32)
        return np.asarray(cv2.GaussianBlur(mask, (0, 0), 0.8), np.float32)


def mixed(below: Pixels, above: Pixels, alpha: NDArray[np.float32]) -> Pixels:
    """One picture over another."""
    a = alpha[..., None]
    return np.asarray(np.round(below * (1 - a) + above * a), np.uint8)


def to_linear(pixels: Pixels) -> NDArray[np.float32]:
    """Linear light of sRGB (IEC 61966-2-1)."""
    table = np.arange(256) / 255
    table = np.where(table <= 0.04045, table / 12.92, ((table + 0.055) / 1.055) ** 2.4)
    return np.asarray(table.astype(np.float32)[pixels])


def to_pixels(light: NDArray[Any]) -> Pixels:
    """The way back."""
    light = np.clip(light, 0, 1)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(light, 1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * encoded), np.uint8)
