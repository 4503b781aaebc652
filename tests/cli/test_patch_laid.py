"""Squares that lie turned on a rendered floor: found by a photo of them, and measured with."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import debriscount
from debriscount.inputs.patch import Patch
from debriscount.inputs.patch_file import read_patch
from debriscount.simulate.options import scene_spec
from debriscount.simulate.scene import make_scene
from debriscount.simulate.write import write_scene
from debriscount_cli.app import app

RUNNER = CliRunner()
pytestmark = pytest.mark.slow


@pytest.fixture(name="scene", scope="module")
def _scene(tmp_path_factory: pytest.TempPathFactory) -> Path:
    spec = scene_spec(patch_mm="300x200", megapixels=2, load_percent=3, tilt_deg=6)
    turned = zip(spec.patch.markers, (3.0, -47.0, 170.0, 88.0), strict=True)
    patch = replace(spec.patch, markers=tuple(replace(marker, turned_deg=deg) for marker, deg in turned))
    folder = tmp_path_factory.mktemp("turned") / "scene"
    write_scene(make_scene(replace(spec, patch=patch)), folder)
    return folder


def apart_mm(patch: Patch) -> float:
    a, b = (np.array(marker.center_mm) for marker in patch.markers[::2])
    return float(np.linalg.norm(a - b))


def test_a_photo_tells_where_the_squares_lie(scene: Path, tmp_path: Path) -> None:
    out, true = tmp_path / "laid.toml", read_patch(scene / "patch.toml")
    options = [
        "patch",
        "new",
        "--laid",
        str(scene / "blank.jpg"),
        "--marker-side",
        "25",
        "--size",
        "300x200",
        "--margin",
        "40",
    ]
    done = RUNNER.invoke(app, [*options, "--tape", f"{apart_mm(true):.0f}", "--out", str(out), "--yes"])
    assert done.exit_code == 0, done.output
    found = read_patch(out)
    assert apart_mm(found) == pytest.approx(apart_mm(true), abs=0.6)  # a tape is read to a millimetre
    turns = [[marker.turned_deg - patch.markers[0].turned_deg for marker in patch.markers] for patch in (found, true)]
    assert (np.array(turns[0]) - turns[1] + 180) % 360 - 180 == pytest.approx(0, abs=0.3)
    assert "Mark the patch's corners, each where two tapes meet" in done.stdout
    assert (tmp_path / "laid-corners.jpg").stat().st_size > 10_000


def test_a_run_is_measured_with_squares_that_lie_turned(scene: Path) -> None:
    run = debriscount.measure(
        scene / "patch.toml",
        scene / "before.jpg",
        [scene / "after.jpg"],
        blank=scene / "blank.jpg",
        debris=[scene / "red-lentils.toml"],
    )
    assert run.passes[0].zones["patch"].pickup_percent == pytest.approx(true_pickup(scene), abs=2)


def true_pickup(scene: Path) -> float:
    import json

    truth = json.loads((scene / "truth.json").read_text())
    return float(truth["passes"][0]["zones"]["patch"]["pickup_by_area_percent"])
