from typing import Any

import numpy as np
import pytest

from debriscount.errors import PhotoFileError
from debriscount.markers.find_markers import SeenMarker
from debriscount.photo.read import Photo
from debriscount.photo.settings import CameraSettings
from debriscount.plausibility.same_photo import check_distinct, check_saved_again, time_flags

QUAD = np.array([[10.0, 10.0], [30.0, 10.0], [30.0, 30.0], [10.0, 30.0]])


def photo(name: str, seed: int, **fields: Any) -> Photo:
    pixels = np.random.default_rng(seed).integers(0, 255, (96, 128, 3), dtype=np.uint8)
    return Photo(pixels, name, **fields)


def seen(shift: float = 0.0, scale: float = 1.0) -> dict[int, SeenMarker]:
    return {7: SeenMarker(id=7, corners_px=(QUAD + shift + 0.5) * scale - 0.5, sigma_px=0.05)}


def test_one_file_or_equal_pixels_for_two_shots_are_refused_by_name() -> None:
    check_distinct({"blank": photo("a.jpg", 1), "before": photo("b.jpg", 2), "after": photo("c.jpg", 3)})
    with pytest.raises(PhotoFileError, match=r"^b\.jpg: given as after2, is the same photo as \*after\*\. .*pass"):
        check_distinct({"after": photo("a.jpg", 1, sha256="f"), "after2": photo("b.jpg", 2, sha256="f")})
    with pytest.raises(PhotoFileError, match=r"^a\.jpg: given as blank, is the same photo as \*before\*\. .*clean"):
        check_distinct({"blank": photo("a.jpg", 1), "before": photo("b.jpg", 1)})


def test_a_copy_is_refused_only_where_the_markers_lie_alike() -> None:
    one, copy = photo("a.png", 1), photo("b.png", 1)
    with pytest.raises(PhotoFileError, match=r"^b\.png: given as after, is the same picture, saved again, as \*before"):
        check_saved_again({"before": one, "after": copy}, {"before": seen(), "after": seen(0.1)})
    check_saved_again({"before": one, "after": copy}, {"before": seen(), "after": seen(5.0)})
    check_saved_again({"before": one, "after": photo("b.png", 2)}, {"before": seen(), "after": seen()})


def taken(**times: str | None) -> dict[str, Photo]:
    return {name: photo(name, 1, settings=CameraSettings(taken=time)) for name, time in times.items()}


def test_camera_times_that_run_backwards_are_told() -> None:
    early, late = "2026-05-02T09:59:00", "2026-05-02T10:00:00"
    assert time_flags(taken(before=early, after=late)) == []
    assert time_flags(taken(blank=late, before=early)) == []  # cleaned and photographed last
    assert time_flags(taken(before=late, after=None, after2=late)) == []
    (flag,) = time_flags(taken(before=late, after=None, after2=early))
    assert (flag.code, flag.severity, flag.shot) == ("taken-backwards", "doubtful", "after2")
    assert (
        "after2 was taken at 2026-05-02 09:59:00 and before, which came first, at 2026-05-02 10:00:00" in flag.sentence
    )
