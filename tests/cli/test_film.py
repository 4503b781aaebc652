"""``debriscount film`` and ``debriscount simulate --film``."""

import json
from pathlib import Path

import cv2
import pytest
from typer.testing import CliRunner

from debriscount.safety import FILMING
from debriscount.stills import film_clip
from debriscount_cli.app import app

from ..film.conftest import Shot, shot  # noqa: F401


def test_a_film_is_measured_and_told(shot: Shot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: F811
    monkeypatch.setattr(film_clip, "_LONGEST_S", 3.0)  # a clip takes a fifth of a second a frame
    place = shot.folder
    arguments = ["film", str(place / "film.mp4"), "--patch", str(place / "patch.toml"), "--every", "3s"]
    arguments += ["--blank", str(place / "blank.jpg"), "--debris", str(place / "debris.toml"), "--machine-height", "60"]
    done = CliRunner().invoke(app, [*arguments, "--out", str(tmp_path / "out"), "--clip", str(tmp_path / "curve.mp4")])
    assert done.exit_code == 0, done.output
    assert "left at the end" in done.stdout
    assert "track.jpg" in done.stderr
    assert FILMING in " ".join(done.stderr.split())
    record = json.loads((tmp_path / "out" / "film.json").read_text())
    assert record["every_s"] == 3
    clip = cv2.VideoCapture(str(tmp_path / "curve.mp4"))
    assert clip.get(cv2.CAP_PROP_FRAME_COUNT) > 20
    again = CliRunner().invoke(app, [*arguments, "--out", str(tmp_path / "out"), "--clip", str(tmp_path / "curve.mp4")])
    assert again.exit_code == 2
    assert "curve.mp4" in again.stderr


def test_wrong_times_and_files_are_told(shot: Shot, tmp_path: Path) -> None:  # noqa: F811
    place = shot.folder
    common = ["--patch", str(place / "patch.toml"), "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(app, ["film", str(place / "film.mp4"), *common, "--every", "soon"])
    assert (done.exit_code, "must be seconds" in done.stderr) == (2, True)
    done = CliRunner().invoke(app, ["film", str(place / "patch.toml"), *common])
    assert (done.exit_code, "is no film" in done.stderr) == (2, True)
    # The clip's name is told before the film is looked at, which takes long.
    done = CliRunner().invoke(app, ["film", str(place / "patch.toml"), *common, "--clip", "curve.mov"])
    assert (done.exit_code, "curve.mov: ends in none of .mp4, .webm" in done.stderr) == (2, True)
    assert not (tmp_path / "out").exists()


def test_a_film_is_simulated(tmp_path: Path) -> None:
    arguments = [
        "simulate",
        "--film",
        "320x180",
        "--rate",
        "2",
        "--patch-size",
        "400x300",
        "--out",
        str(tmp_path / "s"),
    ]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    truth = json.loads((tmp_path / "s" / "truth.json").read_text())
    assert truth["format"] == "debriscount/film-truth/1"
    film = cv2.VideoCapture(str(tmp_path / "s" / "film.mp4"))
    assert film.get(cv2.CAP_PROP_FRAME_COUNT) == len(truth["frames"])
    assert truth["frames"][0]["left_percent"] == 100
    assert truth["frames"][-1]["left_percent"] < 30
