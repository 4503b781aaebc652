"""A film as a whole, against its simulated truth."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from debriscount.errors import DebriscountError, FilmFileError, MarkerError
from debriscount.film.frames import Frame
from debriscount.film.measure import _needless, leaps_s, measure_film, seconds_of
from debriscount.film.records import MeasuredFilm
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.patch_file import read_patch

from .conftest import SMALL, Shot


def test_what_is_left_follows_the_truth_at_every_sampled_time(shot: Shot, measured: MeasuredFilm) -> None:
    true = np.interp(measured.times_s, shot.times_s, shot.left_percent)
    left = measured.left["patch"]
    # The machine hides up to a seventh of so small a patch, of which a frame tells nothing.
    assert measured.hidden_percent.max() > 10
    assert np.abs(left.percent - true).max() < 1.5
    assert np.abs(left.percent - true)[-1] < 1.0
    inside = (left.low95_percent <= true) & (true <= left.high95_percent)
    assert inside[1:].mean() >= 0.9
    assert (left.low_percent <= left.percent + 1e-6).all()
    assert (left.high_percent >= left.percent - 1e-6).all()


def test_the_track_is_the_true_way(shot: Shot, measured: MeasuredFilm) -> None:
    track = measured.track
    known = np.isfinite(track.x_mm)
    assert known.mean() > 0.5
    off = [np.interp(track.times_s, shot.times_s, shot.places_mm[:, k]) for k in (0, 1)]
    assert np.hypot(track.x_mm - off[0], track.y_mm - off[1])[known].max() < 10
    assert track.width_mm == pytest.approx(SMALL.diameter_mm, abs=4)


def test_lanes_and_turns_are_those_driven(measured: MeasuredFilm) -> None:
    assert len(measured.lanes) == 4  # three over the patch, the fourth one back
    assert {round(lane.heading_deg / 180) % 2 for lane in measured.lanes} == {0, 1}
    strips = [lane.cleaned_mm for lane in measured.lanes[:3] if lane.cleaned_mm is not None]
    assert len(strips) == 3
    assert all(
        turn.turned_deg == pytest.approx(180, abs=3) or turn.turned_deg == pytest.approx(-180, abs=3)
        for turn in measured.turns
    )
    assert len(measured.outings) == 1


def test_a_knocked_camera_is_followed_and_told(measured: MeasuredFilm) -> None:
    (move,) = measured.moves
    assert move.t_s == pytest.approx(8.0, abs=0.3)
    assert move.by_mm == pytest.approx(15, abs=1.0)
    assert [flag.code for flag in measured.flags if flag.code.startswith("camera")] == ["camera-moved"]


def test_a_hand_is_hidden_floor_and_no_machine(shot: Shot, measured: MeasuredFilm) -> None:
    there = (measured.times_s > 4.0) & (measured.times_s < 6.0)
    assert (measured.hidden_percent[there] > 3).all()
    assert measured.track.width_mm is not None


def test_a_film_that_is_cut_off_is_told_and_measured_as_far_as_it_goes(shot: Shot, tmp_path: Path) -> None:
    # Matroska has no index that must be whole; MPEG-4 as the simulated film has it, in the other container.
    whole = tmp_path / "whole.mkv"
    source = cv2.VideoCapture(str(shot.folder / "film.mp4"))
    writer = cv2.VideoWriter(str(whole), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*"mp4v"), 8.0, (800, 450))
    while source.grab():
        writer.write(source.retrieve()[1])
    writer.release()
    content = whole.read_bytes()
    cut = tmp_path / "cut.mkv"
    cut.write_bytes(content[: int(0.6 * len(content))])
    found = measure_film(
        cut, patch=shot.folder / "patch.toml", blank=shot.folder / "blank.jpg",
        debris=[shot.folder / "debris.toml"], machine_height_mm=SMALL.height_mm,
    )  # fmt: skip
    assert found.read_s < 0.75 * shot.times_s[-1]
    assert "film-cut-off" in {flag.code for flag in found.flags}
    true = np.interp(found.times_s, shot.times_s, shot.left_percent)
    # What is hidden when the film ends is not known.
    assert np.abs(found.left["patch"].percent - true)[:-2].max() < 2.5


def test_without_a_blank_the_curve_is_called_doubtful(shot: Shot, measured: MeasuredFilm) -> None:
    alone = measure_film(
        shot.folder / "film.mp4", patch=shot.folder / "patch.toml", debris=[shot.folder / "debris.toml"],
        machine_height_mm=SMALL.height_mm, every_s=5.0,
    )  # fmt: skip
    assert [flag.severity for flag in alone.flags if flag.code == "no-blank"] == ["doubtful"]
    assert not [flag for flag in measured.flags if flag.code == "no-blank"]


def test_a_film_without_markers_is_refused(shot: Shot, tmp_path: Path) -> None:
    plain = tmp_path / "plain.mp4"
    writer = cv2.VideoWriter(str(plain), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*"mp4v"), 5.0, (320, 240))
    for _ in range(20):
        writer.write(np.full((240, 320, 3), 128, np.uint8))
    writer.release()
    with pytest.raises(MarkerError, match="found 0 of the patch"):
        measure_film(plain, patch=shot.folder / "patch.toml", debris=[shot.folder / "debris.toml"])


@pytest.mark.parametrize(("text", "seconds"), [("2s", 2.0), ("0.5 s", 0.5), ("3", 3.0)])
def test_time_between_samples_is_read(text: str, seconds: float) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["two", "2 min", "-1s", ""])
def test_other_times_are_refused(text: str) -> None:
    with pytest.raises(FilmFileError, match="must be seconds"):
        seconds_of(text)


def test_a_step_out_of_range_is_refused(shot: Shot) -> None:
    with pytest.raises(DebriscountError, match=r"every 0 s: must be from 0\.04 s to 600 s"):
        measure_film(shot.folder / "film.mp4", patch=shot.folder / "patch.toml", every_s=0.0)


def test_large_frames_are_made_smaller_where_grains_keep_their_outline(shot: Shot) -> None:
    patch, kinds = read_patch(shot.folder / "patch.toml"), (read_debris(shot.folder / "debris.toml"),)
    film = cv2.VideoCapture(str(shot.folder / "film.mp4"))
    image = np.asarray(film.read()[1], np.uint8)
    large = np.asarray(cv2.resize(image, None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC), np.uint8)
    # A grain of 6 mm has 30 px or so in a frame of 3200.
    assert _needless(Frame(0.0, large), patch, kinds) == 2
    assert _needless(Frame(0.0, image), patch, kinds) == 1
    fine = replace(kinds[0], size_mm=(1.5, 2.0))
    assert _needless(Frame(0.0, large), patch, (fine,)) == 1


def test_a_place_that_no_machine_reaches_in_time_is_told() -> None:
    places = np.array([[0.0, 0], [50, 0], [np.nan, np.nan], [150, 0], [550, 0], [600, 0]])
    assert leaps_s(np.array([0, 0.2, 0.4, 0.6, 0.8, 1.0]), places).tolist() == [0.8]
