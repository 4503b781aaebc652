"""A run whose shots are several photos each, from the command line to the record, and the same again."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from debriscount.inputs.debris_write import debris_toml
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.options import USUAL_DEBRIS
from debriscount.simulate.scene import Scene, make_scene
from debriscount.simulate.spec import Camera, Cleaning, Portion, SceneSpec, Strewing
from debriscount.verify import verify
from debriscount_cli.app import app

RUNNER = CliRunner()
SPEC = SceneSpec(
    lay_patch(1600, 700),
    (Portion(USUAL_DEBRIS, cover_share=0.012),),
    scatter=Strewing(clumped_share=0.0, wall_share=0.0),
    passes=(Cleaning(pitch_mm=250, width_mm=270, missed_mm=(((-100, 300), (1700, 300), (1700, 450), (-100, 450)),)),),
    camera=Camera(megapixels=1.6, tilt_deg=3.0, across=2, overlap=0.35),
    seed=5,
)


def save(folder: Path, scene: Scene) -> None:
    (folder / "patch.toml").write_text(patch_toml(scene.spec.patch))
    (folder / "lentils.toml").write_text(debris_toml(USUAL_DEBRIS, "invented"))
    for shot in scene.spec.shot_names:
        (folder / shot).mkdir()
        for photo in scene.spec.photo_names(shot):
            (folder / f"{photo}.jpg").write_bytes(scene.jpegs[photo])


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> tuple[Scene, Path]:
    scene, folder = make_scene(SPEC), tmp_path_factory.mktemp("joined")
    save(folder, scene)
    done = RUNNER.invoke(app, [*_common(folder), str(folder / "before"), str(folder / "after")])
    assert done.exit_code == 0, done.output
    assert "Places never reached" in done.stdout
    return scene, folder


def _common(folder: Path) -> list[str]:
    given = {"--patch": "patch.toml", "--debris": "lentils.toml", "--blank": "blank", "--out": "result"}
    return ["measure", *(word for option, name in given.items() for word in (option, str(folder / name)))]


def record_of(folder: Path) -> dict[str, Any]:
    record: dict[str, Any] = json.loads((folder / "result" / "measurement.json").read_text())
    return record


@pytest.mark.slow
def test_a_run_of_joined_photos_is_measured_as_one_photo_would_be(measured: tuple[Scene, Path]) -> None:
    scene, folder = measured
    record = record_of(folder)
    whole = record["passes"][0]["zones"]["patch"]
    truth = scene.truth.pickup_percent(1)["patch"]
    assert whole["pickup_percent"] == pytest.approx(truth, abs=1.5)
    joined = record["photos"]["before"]["joined"]
    assert [photo["file"] for photo in joined["photos"]] == ["1.jpg", "2.jpg"]
    assert joined["apart_mm"] < 1.5
    assert joined["unseen_percent"] == 0
    low, high = record["passes"][0]["reach"]["floor"]["interval95"]
    assert low - 1 < 100 * (1 - 150 / 700) < high + 1
    assert record["passes"][0]["missed"][0]["share_percent"] > 30


@pytest.mark.slow
def test_a_run_of_joined_photos_is_the_same_again(measured: tuple[Scene, Path]) -> None:
    scene, folder = measured
    (checked,) = verify(folder / "result", [folder / shot for shot in scene.spec.shot_names])
    assert (checked.outcome, checked.reasons) == ("same", ())


def test_a_shot_given_twice_over_is_refused(tmp_path: Path) -> None:
    small = make_scene(replace(SPEC, patch=lay_patch(300, 200), camera=Camera(megapixels=0.3), passes=(), blank=False))
    photo = tmp_path / "before.jpg"
    photo.write_bytes(small.jpegs["before"])
    (tmp_path / "patch.toml").write_text(patch_toml(small.spec.patch))
    given = ["measure", "--patch", str(tmp_path / "patch.toml"), "--out", str(tmp_path / "out")]
    same = RUNNER.invoke(app, [*given, "--before", str(photo), "--before", str(photo), "--after", str(photo)])
    assert same.exit_code == 2
    assert "is the same photo as" in same.output


@pytest.mark.parametrize(
    "photos",
    [["a.jpg", "b.jpg", "--before", "c.jpg", "--after", "d.jpg"], ["--before", "a.jpg"], ["a.jpg"], []],
)
def test_photos_given_in_both_ways_or_not_at_all_are_refused(tmp_path: Path, photos: list[str]) -> None:
    done = RUNNER.invoke(app, ["measure", "--patch", "patch.toml", "--out", str(tmp_path / "out"), *photos])
    assert done.exit_code == 2
    assert "BEFORE AFTER" in done.output.replace("\n", " ")


def test_a_folder_without_photos_is_refused(tmp_path: Path) -> None:
    (tmp_path / "before").mkdir()
    folder = str(tmp_path / "before")
    done = RUNNER.invoke(app, ["measure", "--patch", "p.toml", "--out", str(tmp_path / "out"), folder, folder])
    assert done.exit_code == 2
    assert "holds no photos" in done.output


def test_a_folder_is_counted_as_one_shot(measured: tuple[Scene, Path]) -> None:
    scene, folder = measured
    given = ["--patch", str(folder / "patch.toml"), "--debris", str(folder / "lentils.toml"), "--json", "--quiet"]
    done = RUNNER.invoke(app, ["count", str(folder / "before"), "--blank", str(folder / "blank"), *given])
    assert done.exit_code == 0, done.output
    (photo,) = json.loads(done.stdout)["photos"]
    assert photo["zones"]["patch"]["grains"] == pytest.approx(scene.truth.amounts(0)["patch"].grains, rel=0.05)
    assert [part["file"] for part in photo["joined"]["photos"]] == ["1.jpg", "2.jpg"]
    assert len(photo["blank"]["joined"]["photos"]) == 2


def test_a_folder_needs_a_patch_file_to_be_counted(measured: tuple[Scene, Path]) -> None:
    done = RUNNER.invoke(app, ["count", str(measured[1] / "before"), "--mm-per-px", "1"])
    assert done.exit_code == 2
    assert "several photos of one shot are joined by the markers of a patch file" in " ".join(done.stderr.split())


def test_a_folder_is_checked_as_one_shot(measured: tuple[Scene, Path]) -> None:
    folder = measured[1]
    done = RUNNER.invoke(app, ["shot", str(folder / "before"), "--patch", str(folder / "patch.toml"), "--json"])
    (checked,) = json.loads(done.stdout)["shots"]
    assert checked["file"] == "before"
    assert done.exit_code == (0 if checked["fit"] else 3)
