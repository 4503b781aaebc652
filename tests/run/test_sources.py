from pathlib import Path

import numpy as np
import pytest

from debriscount.cover.kinds import KindHint
from debriscount.errors import InputFileError
from debriscount.inputs.debris import DebrisKind
from debriscount.run.sources import (
    UNNAMED_SIZE_MM,
    kind_hints,
    named_kinds,
    read_kinds,
    rim_mm,
    without_colour,
)

RICE = DebrisKind("rice", (240, 238, 230), (3.0, 6.5))


def debris_file(folder: Path, name: str) -> Path:
    path = folder / f"{name}.toml"
    path.write_text(f'[debris]\nname = "{name}"\ncolor = "#102030"\nsize_mm = [1, 2]\n', encoding="utf-8")
    return path


def test_kinds_come_as_such_and_from_files(tmp_path: Path) -> None:
    assert read_kinds([]) == ()
    assert [kind.name for kind in read_kinds([debris_file(tmp_path, "sand"), RICE])] == ["rice", "sand"]
    with pytest.raises(InputFileError, match=r"none\.toml: there is no such file"):
        read_kinds([tmp_path / "none.toml"])


def test_a_grain_fits_into_the_rim() -> None:
    assert rim_mm([RICE, DebrisKind("sand", (0, 0, 0), (0.3, 0.8))]) == 6.5
    assert rim_mm([]) == UNNAMED_SIZE_MM


def test_hints_are_in_pixels_and_linear_light() -> None:
    (hint,) = kind_hints([DebrisKind("black and white", (0, 255, 188), (1.0, 2.0))], 0.25)
    assert hint.size_px == (4.0, 8.0)
    # 188 is half the light of white: ((188 / 255 + 0.055) / 1.055) ** 2.4 = 0.5029 (IEC 61966-2-1).
    np.testing.assert_allclose(hint.colour, [0, 1, 0.5029], atol=1e-4)


def test_kinds_of_which_no_file_tells_get_names() -> None:
    hints = [KindHint(np.array([1.0, 0.5029, 0.0]), (4.0, 8.0)), KindHint(np.zeros(3), (4.0, 8.0))]
    assert [kind.name for kind in named_kinds([], hints)] == ["debris 1", "debris 2"]
    (only,) = named_kinds([], hints[:1])
    assert (only.name, only.color_srgb, only.area_mass_mg_per_mm2) == ("debris", (255, 188, 0), None)
    assert named_kinds([RICE], hints[:1]) == (RICE,)
    assert named_kinds([], []) == ()


def test_kinds_are_seen_without_their_colour_in_grey_photos() -> None:
    # By hand: 0.2126 of white's light is (0.2126 ** (1 / 2.4) * 1.055 - 0.055) * 255 = 127.1 (IEC 61966-2-1).
    (red, white) = without_colour([DebrisKind("red", (255, 0, 0), (1.0, 2.0)), DebrisKind("white", (255,) * 3, (1, 2))])
    assert (red.name, red.color_srgb, red.size_mm) == ("red", (127, 127, 127), (1.0, 2.0))
    assert white.color_srgb == (255, 255, 255)
