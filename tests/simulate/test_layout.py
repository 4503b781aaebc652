from itertools import chain, combinations
from pathlib import Path

import pytest

from debriscount.errors import SceneError
from debriscount.inputs.patch_file import read_patch
from debriscount.simulate.layout import lay_patch
from debriscount.simulate.write import patch_toml

SIDES = ("top", "right", "bottom", "left")


@pytest.mark.parametrize("walls", list(chain.from_iterable(combinations(SIDES, n) for n in range(4))))
@pytest.mark.parametrize("size", [(600, 400), (250, 900)])
def test_markers_suit_every_choice_of_walls(tmp_path: Path, walls: tuple[str, ...], size: tuple[int, int]) -> None:
    patch = lay_patch(*size, walls)
    file = tmp_path / "patch.toml"
    file.write_text(patch_toml(patch), encoding="utf-8")
    assert read_patch(file) == patch  # the reader refuses markers in the patch, in a row, or on one another
    for marker in patch.markers:
        corners = marker.corners_mm()
        limits = {
            "left": corners[:, 0].min(), "right": size[0] - corners[:, 0].max(),
            "top": corners[:, 1].min(), "bottom": size[1] - corners[:, 1].max(),
        }  # fmt: skip
        assert all(limits[wall] > 0 for wall in walls)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((600, 400, SIDES), "walls on all four sides leave no floor for markers. Name three walls at most."),
        ((600, 400, ("up",)), 'wall "up" is unknown. Known are: top, right, bottom, left.'),
        ((20, 400), "patch width_mm must be from 50 to 5000, got 20."),
    ],
)
def test_a_patch_that_cannot_be_is_refused(arguments: tuple[float, float, tuple[str, ...]], words: str) -> None:
    with pytest.raises(SceneError, match=words):
        lay_patch(*arguments)


def test_a_zone_wider_than_the_patch_is_refused() -> None:
    with pytest.raises(SceneError, match="zone edge_mm must be from 0 to below the patch's short side, got 500"):
        lay_patch(edge_mm=500)
