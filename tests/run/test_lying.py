from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Marker, Patch
from debriscount.pickup.records import Amount
from debriscount.registration.grid import FloorGrid
from debriscount.run.lying import looked_over, lying_sentence
from debriscount.run.records import Counted
from debriscount.shot_check.files import shot_check

if TYPE_CHECKING:
    from tests.conftest import SceneOnDisk

MARKERS = tuple(Marker(i, (-100.0, 100.0 * i), 50.0) for i in range(3))
#: 400 x 300 mm, and a margin of 50 mm all round that is 0.67 times as large.
PATCH = Patch("bench", 400, 300, (), MARKERS, 0, 0, 50)


def counted(grains: int, margin: int = 0, interval: tuple[int, int] | None = (0, 0)) -> Counted:
    none = np.zeros(0)
    interval = None if interval is None else (grains + interval[0], grains + interval[1])
    zones = {"patch": Amount(grains, grains, None, interval), "margin": Amount(margin, margin, None)}
    return Counted(
        file="a.jpg", sha256="", blank_file="", blank_sha256="", patch=PATCH, region=None, mm_per_px=None,
        grid=FloorGrid(0, 0, 1, 4, 4), kinds=(), zones=zones, by_kind={},
        grains=GrainTable(none.astype(np.int16), none, none, none, none.astype(np.int8)),
        floor_view=np.zeros((4, 4, 3), np.uint8), kind_map=np.zeros((4, 4), np.uint8),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("grains", "words"),
    [
        (1, "1 grain lies here"), (12, "12 grains lie here"), (163, "About 160 grains lie here"),
        (12345, "About 12 000 grains lie here"),
    ],
)  # fmt: skip
def test_debris_on_what_should_be_bare_is_told_in_two_digits(grains: int, words: str) -> None:
    assert lying_sentence(counted(grains), None, "Blank 1.jpg") == f"{words}: a blank must be bare."


def test_that_a_blank_must_be_bare_is_said_of_what_may_be_one() -> None:
    assert lying_sentence(counted(163), None, "after2.jpg") == "About 160 grains lie here."
    unknown = lying_sentence(counted(163), None, "0815.jpg")
    assert unknown == "About 160 grains lie here; a blank would have to be bare."


def test_a_bare_floor_is_called_so() -> None:
    assert lying_sentence(counted(0), None) == "No debris is seen here."


def test_against_another_shot_it_is_said_how_many_more() -> None:
    assert lying_sentence(counted(163), "blank.jpg") == "About 160 more grains lie here than in blank.jpg."
    assert lying_sentence(counted(0), "blank.jpg") == "No more grains lie here than in blank.jpg."
    assert lying_sentence(counted(163, margin=163), "blank.jpg") != ""


def test_pattern_that_lies_in_the_margin_too_is_not_called_debris() -> None:
    # By hand: as dense in the margin as in the patch are 108 of 163; a quarter of that is 27.
    assert lying_sentence(counted(163, margin=108), None) == ""
    assert lying_sentence(counted(163, margin=30), None) == ""
    assert lying_sentence(counted(163, margin=25), None) != ""
    bare = counted(163)
    assert lying_sentence(replace(bare, zones={"patch": bare.zones["patch"]}), None) == ""


def test_a_number_that_is_not_known_is_not_told() -> None:
    assert lying_sentence(counted(160, interval=(-60, 60)), None) == ""
    assert lying_sentence(counted(160, interval=None), None) == ""


def test_a_debris_file_of_what_is_not_there_makes_a_shot_unfit(scene: "SceneOnDisk", tmp_path: Path) -> None:
    other = tmp_path / "blue.toml"
    other.write_text('[debris]\nname = "blue beads"\ncolor = "#2030d0"\nsize_mm = [4, 6]\n', encoding="utf-8")
    found, _ = looked_over(shot_check(scene.patch, [other], against=scene.blank), scene.before)
    assert not found.fit
    (fault,) = (f for f in found.faults if f.code == "not-found")
    assert fault.advice.startswith("Look whether it is the right debris file: no blue beads is seen, but other things")


def test_a_foreign_thing_makes_a_shot_unfit_and_a_later_shot_with_less_debris_does_not(
    scene: "SceneOnDisk", tmp_path: Path
) -> None:
    assert looked_over(shot_check(scene.patch, scene.debris, against=scene.before), scene.afters[0])[0].fit
    pixels = np.array(Image.open(scene.before))
    height, width = pixels.shape[:2]
    pixels[int(0.47 * height) : int(0.5 * height), int(0.4 * width) : int(0.6 * width)] = (20, 40, 120)
    Image.fromarray(pixels).save(tmp_path / "before.jpg", quality=95)
    found, _ = looked_over(shot_check(scene.patch, scene.debris, against=scene.blank), tmp_path / "before.jpg")
    assert {f.code for f in found.faults} & {"foreign-thing", "shadow"}
