"""A small campaign whose photos are specks, and a stand-in for measuring, which takes no time."""

import hashlib
import json
import random
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from debriscount.campaign.add_run import add_run, new_run, shots_by_name
from debriscount.campaign.campaign_file import Campaign, Common, Floor, Machine, read_campaign
from debriscount.campaign.campaign_write import make_campaign
from debriscount.campaign.next_run import next_choice
from debriscount.campaign.read_runs import read_runs
from debriscount.campaign.records import FiledRun, RunSources
from debriscount.inputs.debris_names import find_debris
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.lay_patch import lay_patch

Add = Callable[..., FiledRun]


def zone(pickup: float) -> dict[str, Any]:
    amount = {"area_mm2": 100.0, "grains": 10, "mass_g": None}
    return {
        "pickup_percent": pickup,
        "more_than_percent": None,
        "interval95": [pickup - 1, pickup + 1],
        "gone_percent": pickup,
        "trust": "sound",
        "why": "",
        "before": amount,
        "after": amount,
    }


def record(sources: RunSources, pickup: float = 80.0) -> dict[str, Any]:
    """A measurement's record that says what photos it is of."""
    photos = {
        shot: {"file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
        for shot, path in sources.photos.items()
    }
    zones = {"patch": zone(pickup), "open": zone(pickup)}
    passes = [{"pass": 1, "zones": zones, "kinds": {"red lentils": {"zones": zones}}, "leftovers": None}]
    return {"format": "debriscount/measurement/1", "photos": photos, "passes": passes, "agreement": None, "flags": []}


def stub(sources: RunSources, progress: object = None, pickup: float = 80.0) -> Mapping[str, bytes]:
    """Stand in for `debriscount.report.filed.result_files`."""
    return {
        "measurement.json": json.dumps(record(sources, pickup)).encode(),
        "zones.csv": b"pass,kind\n",
        "overlay-before.jpg": b"picture",
    }


@pytest.fixture(name="measured")
def _measured() -> Callable[..., Mapping[str, bytes]]:
    return stub


@pytest.fixture(name="photo")
def _photo(tmp_path: Path) -> Callable[[str, int], Path]:
    """Makes a photo of noise; equal numbers make equal photos."""

    def make(name: str, number: int, taken: str | None = None, folder: Path | None = None) -> Path:
        path = (folder or tmp_path / "camera") / name
        path.parent.mkdir(exist_ok=True)
        exif = Image.Exif()
        if taken is not None:
            exif.get_ifd(0x8769)[0x9003] = taken
        Image.frombytes("RGB", (64, 64), random.Random(number).randbytes(64 * 64 * 3)).save(path, "JPEG", exif=exif)
        return path

    return make


@pytest.fixture(name="home")
def _home(tmp_path: Path) -> Path:
    """An empty campaign of two machines."""
    home = tmp_path / "campaign"
    home.mkdir()
    patch = tmp_path / "bench.toml"
    patch.write_text(patch_toml(lay_patch(300, 200, ("top",), name="bench")), encoding="utf-8")
    campaign = Campaign(
        campaign=Common(name="trials", debris=("red-lentils",), floor="oak"),
        floors=(Floor(name="oak"), Floor(name="tile")),
        machines=(Machine(name="A", settings={"brush": "rubber"}), Machine(name="B", software="1.2")),
    )
    make_campaign(home, campaign, patch, (find_debris("red-lentils"),))
    return home


@pytest.fixture(name="add")
def _add(home: Path, photo: Callable[..., Path]) -> Add:
    """Adds a run of photos of its own number."""

    def add(number: int, **choice: Any) -> FiledRun:
        shots = shots_by_name(
            photo("blank.jpg", 0), photo(f"b{number}.jpg", 2 * number + 1), [photo(f"a{number}.jpg", 2 * number + 2)]
        )
        campaign, runs = read_campaign(home), read_runs(home).runs
        weighing = choice.pop("weighing", None)
        new = new_run(home, campaign, next_choice(campaign, runs, **{"machine": "A", **choice}), shots, weighing)
        return add_run(home, campaign, new, shots, runs, stub)

    return add
