import csv
import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from debriscount.camera.lens import Lens
from debriscount.camera.view import FloorToPhoto
from debriscount.errors import OutputError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.debris_write import debris_toml
from debriscount.inputs.patch_file import read_patch
from debriscount.simulate.scene import Scene
from debriscount.simulate.spec import Cleaning
from debriscount.simulate.spiral import Spiral
from debriscount.simulate.truth import draw_truth
from debriscount.simulate.wander import Wander
from debriscount.simulate.write import (
    particles_csv,
    scene_files,
    truth_json,
    truth_text,
    write_scene,
)


def test_what_is_written_can_be_read(scene: Any) -> None:
    assert read_patch(scene.patch) == replace(scene.scene.spec.patch, rendered=True)
    assert [read_debris(path) for path in scene.debris] == [p.kind for p in scene.scene.spec.portions]
    names = {path.name for path in scene.folder.iterdir()}
    photos = {"blank.jpg", "before.jpg", "after.jpg"}
    assert names == {*photos, "patch.toml", "red-lentils.toml", "truth.json", "particles.csv"}


def test_particles_and_truth_agree(scene: Any) -> None:
    with (scene.folder / "particles.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    truth = json.loads((scene.folder / "truth.json").read_text(encoding="utf-8"))
    assert truth["format"] == "debriscount/truth/1"
    zones = truth["passes"][0]["zones"]
    assert zones["patch"]["before"]["grains"] == len(rows)
    for zone in ("open", "edge", "corner"):
        lying = [row for row in rows if row["zone_pass1"] == zone]
        assert zones[zone]["after"]["grains"] == len(lying)
        assert zones[zone]["after"]["area_mm2"] == pytest.approx(sum(float(r["area_mm2"]) for r in lying), abs=0.1)
    assert {row["fate_pass1"] for row in rows} <= {"untouched", "displaced", "removed"}
    assert all(row["x1_mm"] == "" for row in rows if row["fate_pass1"] == "removed")
    patch = zones["patch"]
    assert patch["pickup_by_area_percent"] == pytest.approx(
        100 * (1 - (patch["after"]["area_mm2"] + zones["margin"]["after"]["area_mm2"]) / patch["before"]["area_mm2"]),
        abs=0.01,
    )  # fmt: skip
    assert truth["passes"][0]["lanes"]["pitch_mm"] == 150
    for zone, figures in zones.items():
        met = {row["reached_pass1"]: 0.0 for row in rows} | {"0": 0.0, "1": 0.0}
        for row in rows:
            if zone in (row["zone_before"], "patch"):
                met[row["reached_pass1"]] += float(row["area_mm2"])
        if zone != "margin":
            assert figures["reached_percent"] == pytest.approx(100 * met["1"] / (met["0"] + met["1"]), abs=0.01)
        assert figures["untouched_percent"] + figures["shifted_percent"] == pytest.approx(100, abs=0.01)
    assert zones["margin"]["reached_percent"] is None  # nothing lay there before
    assert zones["patch"]["untouched_percent"] == truth["passes"][0]["leftovers"]["untouched_percent"]


def test_the_way_is_written_so_that_it_can_be_driven_again(scene: Any) -> None:
    from dataclasses import replace

    made: Scene = scene.scene
    square = ((10.0, 10.0), (20.0, 10.0), (20.0, 20.0))
    passes = (
        Cleaning(heading_deg=200, wobble_mm=4, pitch_spread_mm=5, flung_side="right"),
        Cleaning(path="wander", width_mm=60),
        Cleaning(path="spiral", width_mm=60, pitch_mm=65, wall_gap_mm=9),
        Cleaning(path="everywhere", corner_radius_mm=25, missed_mm=(square,)),
    )
    truth = draw_truth(replace(made.spec, passes=passes))
    lanes, wandered, wound, everywhere = truth_json(replace(made, truth=truth))["passes"]
    assert lanes["lanes"]["heading_deg"] == 20
    assert (lanes["lanes"]["wobble_mm"], lanes["lanes"]["pitch_spread_mm"]) == (4, 5)
    assert np.diff(lanes["lanes"]["straight_middles_mm"]) == pytest.approx(150, abs=40)
    assert (lanes["path"]["name"], lanes["path"]["flung_side"]) == ("lanes", "right")
    assert [p["lanes"] for p in (wandered, wound, everywhere)] == [None] * 3
    again = Wander(np.array(wandered["path"]["turns_mm"]), 60)
    assert (again.over(truth.places_mm[1]) == truth.routes[1].reaches(truth.places_mm[1])).mean() > 0.999
    path = wound["path"]
    spiral = Spiral(
        center_mm=path["center_mm"],
        start_rad=np.deg2rad(path["start_deg"]),
        turn=path["turn"],
        pitch_mm=65,
        width_mm=60,
        end_mm=path["end_mm"],
    )
    reached = spiral.over(truth.places_mm[2]) & (truth.places_mm[2] >= path["wall_gap_mm"]).all(axis=1)
    assert (reached == truth.routes[2].reaches(truth.places_mm[2])).mean() > 0.999
    assert (everywhere["path"]["corner_radius_mm"], everywhere["path"]["missed_mm"]) == (
        25,
        [[[10, 10], [20, 10], [20, 20]]],
    )
    rows = list(csv.DictReader(particles_csv(truth).splitlines()))
    for p in range(1, 5):
        assert {row[f"reached_pass{p}"] for row in rows if row[f"fate_pass{p}"] == "gone"} <= {""}
        assert {row[f"reached_pass{p}"] for row in rows if row[f"fate_pass{p}"] == "removed"} == {"1"}


def test_cameras_are_written_as_geometry_has_them(scene: Any) -> None:
    photo = truth_json(scene.scene)["photos"]["after"]
    view = FloorToPhoto(
        np.array(photo["homography"]),
        Lens(tuple(photo["center_px"]), (photo["focal_px"], photo["focal_px"]), (photo["k1"], 0.0, 0.0)),
    )
    places = np.array([[0.0, 0.0], [400.0, 300.0]])
    assert view.project(places) == pytest.approx(scene.scene.truth.poses["after"].view.project(places))


def test_an_unknown_mass_is_left_empty(scene: Any) -> None:
    from dataclasses import replace

    made: Scene = scene.scene
    grains = replace(made.truth.grains, mass_mg=np.full(len(made.truth.grains), np.nan))
    truth = replace(made.truth, grains=grains)
    row = next(iter(csv.DictReader(particles_csv(truth).splitlines())))
    assert row["mass_mg"] == ""
    record = truth_json(replace(made, truth=truth))
    assert record["before"]["zones"]["patch"]["mass_g"] is None
    kind = replace(made.spec.portions[0].kind, area_mass_mg_per_mm2=None, grain_mass_mg=None, crowding=0.5)
    assert "mass" not in debris_toml(kind)
    assert "crowding = 0.5" in debris_toml(kind)


def test_the_table_says_what_is_left_out(scene: Any) -> None:
    text = truth_text(scene.scene)
    assert "corner" in text
    assert "Not modelled:\n- grains that let light through" in text


def test_kinds_whose_names_look_alike_get_files_of_their_own(scene: Any) -> None:
    from dataclasses import replace

    portion = scene.scene.spec.portions[0]
    twin = replace(portion, kind=replace(portion.kind, name="red/lentils"))
    made = replace(scene.scene, spec=replace(scene.scene.spec, portions=(portion, twin)))
    assert {"red-lentils.toml", "red-lentils-2.toml"} <= set(scene_files(made))


def test_a_folder_with_files_is_refused(scene: Any, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"holds files already\. Give a new or empty folder for the scene\."):
        write_scene(scene.scene, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_file_in_the_way_is_refused(scene: Any, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with pytest.raises(OutputError, match=r"out: is a file\. Give a new or empty folder"):
        write_scene(scene.scene, tmp_path / "out")


def test_a_failure_leaves_nothing(scene: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OutputError, match=r"out: cannot be written \(No space left on device\)\. Give a folder"):
        write_scene(scene.scene, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
