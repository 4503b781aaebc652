"""A small film with exact truth, drawn and measured once, in which the camera is knocked and a hand reaches in."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from debriscount.arrays import Floats
from debriscount.film.measure import measure_film
from debriscount.film.records import MeasuredFilm
from debriscount.simulate.film import FilmSpec, draw_film
from debriscount.simulate.machine import Machine
from debriscount.simulate.options import scene_spec
from debriscount.simulate.write_film import write_film

SMALL = Machine(diameter_mm=170, height_mm=60, mouth_mm=120, pitch_mm=100, speed_mm_s=200)
SPEC = FilmSpec(
    scene=scene_spec(
        patch_mm="460x300", size_mm="6,8", color="#c03a1e", floor="planks", load_percent=5, seed=7, tilt_deg=2
    ),
    machine=SMALL,
    size_px=(800, 450),
    rate=8,
    knock_s=8.0,
    hand_s=(4.0, 6.0),
)


@dataclass(frozen=True)
class Shot:
    """Folder of a film, and its truth frame by frame."""

    folder: Path
    times_s: Floats
    left_percent: Floats
    places_mm: Floats


@pytest.fixture(scope="session")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Shot:
    folder = tmp_path_factory.mktemp("film") / "scene"
    write_film(draw_film(SPEC), folder)
    frames = json.loads((folder / "truth.json").read_text())["frames"]
    return Shot(
        folder,
        np.array([frame["t_s"] for frame in frames]),
        np.array([frame["left_percent"] for frame in frames]),
        np.array([[frame["x_mm"], frame["y_mm"]] for frame in frames]),
    )


@pytest.fixture(scope="session")
def measured(shot: Shot) -> MeasuredFilm:
    return measured_so(shot)


def measured_so(shot: Shot, **how: Any) -> MeasuredFilm:
    return measure_film(
        shot.folder / "film.mp4",
        patch=shot.folder / "patch.toml",
        blank=shot.folder / "blank.jpg",
        debris=[shot.folder / "debris.toml"],
        every_s=1.0,
        machine_height_mm=SMALL.height_mm,
        **how,
    )
