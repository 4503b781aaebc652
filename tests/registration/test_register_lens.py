"""Shots registered with a lens file, and how well their places are known."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from debriscount.errors import LensError
from debriscount.inputs.lens import CameraLens
from debriscount.inputs.patch import Marker
from debriscount.photo.settings import CameraSettings
from debriscount.registration.locate import locate_shots
from debriscount.registration.register import register_shots

if TYPE_CHECKING:
    from tests.conftest import Bench

# The bench's photographer has a pinhole.
PINHOLE = CameraLens(
    name="pinhole",
    size_px=(880, 570),
    focal_px=(700.0, 700.0),
    center_px=(439.5, 284.5),
    radial=(0.0, 0.0, 0.0),
    tangential=(0.0, 0.0),
    focal_length_mm=4.0,
)


def test_a_lens_file_is_taken_for_all_shots(bench: "Bench") -> None:
    located = locate_shots(bench.photos(before=bench.strewn, after=bench.floor), bench.patch, lens=PINHOLE)
    for view in located.views.values():
        assert view.lens.focal_px == (700.0, 700.0)
        assert view.lens.radial == (0.0, 0.0, 0.0)
    assert max(located.residual_mm.values()) < 0.1
    assert located.warnings == ()


@pytest.mark.parametrize("k1", [-0.2, 0.2])
def test_a_lens_that_the_markers_contradict_is_refused(bench: "Bench", k1: float) -> None:
    """The photos' own lens bends nothing, so that the markers fit to a tenth of a millimetre without a file."""
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    with pytest.raises(LensError, match=r'^lens "pinhole": the markers lie \d\.\d+ mm off .* 0\.\d+ mm without'):
        locate_shots(photos, bench.patch, lens=replace(PINHOLE, radial=(k1, 0.0, 0.0)))


def test_a_lens_of_another_frame_is_refused(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    with pytest.raises(LensError, match=r'before\.jpg: has 880 x 570 px on the sensor, .* of lens "pinhole"'):
        register_shots(photos, bench.patch, lens=replace(PINHOLE, size_px=(4000, 3000)))


def test_another_focal_length_is_a_warning(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    photos["after"] = replace(photos["after"], settings=CameraSettings(focal_mm=6.0))
    registered = register_shots(photos, bench.patch, lens=PINHOLE)
    (warning,) = registered.warnings
    assert (warning.shot, warning.severity) == ("after", "doubtful")
    assert "was taken at a focal length of 6 mm" in warning.sentence


def test_places_are_known_as_well_as_the_markers_lie(bench: "Bench") -> None:
    photos = bench.photos(before=bench.strewn, after=bench.floor)
    registered = register_shots(photos, bench.patch)
    assert 0 < registered.place_u_mm < 0.1
    # The last shot is the one that the others are laid on.
    assert registered.apart_mm["after"] == 0
    assert registered.apart_mm["before"] == registered.residual_mm["before"] > 0
    rng = np.random.default_rng(0)
    askew = tuple(
        Marker(m.id, (m.center_mm[0] + float(rng.normal()), m.center_mm[1] + float(rng.normal())), m.side_mm)
        for m in bench.patch.markers
    )
    assert register_shots(photos, replace(bench.patch, markers=askew)).place_u_mm > 5 * registered.place_u_mm
