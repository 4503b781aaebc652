from pathlib import Path
from typing import Any

import pytest

from debriscount.errors import InputFileError, SceneError
from debriscount.simulate.options import scene_spec


def test_usual_values_make_a_spec() -> None:
    spec = scene_spec()
    assert spec.patch.width_mm == 600
    assert spec.portions[0].kind.name == "red lentils"
    assert spec.portions[0].cover_share == 0.04


def test_words_become_a_spec() -> None:
    spec = scene_spec(
        size_mm="4,6", color="#102030", shape="long", grams=None, load_percent=6, floor="tile",
        floor_color="#808080", patch_mm="500x300", walls=["left"], height_mm=900, megapixels=2,
        pickup_percent=80, edge_pickup_percent=40, path="wander", passes=2, seed=7,
    )  # fmt: skip
    kind = spec.portions[0].kind
    assert (kind.size_mm, kind.color_srgb) == ((4, 6), (16, 32, 48))
    assert spec.portions[0].shape == "long"
    assert spec.portions[0].cover_share == 0.06
    assert (spec.floor.kind, spec.floor.color_srgb) == ("tile", (128, 128, 128))
    assert (spec.patch.width_mm, spec.patch.walls) == (500, ("left",))
    assert (spec.camera.height_mm, spec.camera.megapixels) == (900, 2)
    assert [(p.pickup, p.edge_pickup) for p in spec.passes] == [(0.8, 0.4)] * 2
    assert [p.path for p in spec.passes] == ["wander"] * 2
    assert spec.seed == 7


def test_one_size_serves_for_both() -> None:
    assert scene_spec(size_mm="5", color="#102030").portions[0].kind.size_mm == (5, 5)


def test_kinds_share_the_load(tmp_path: Path) -> None:
    files = []
    for name in ("a", "b"):
        files.append(tmp_path / f"{name}.toml")
        files[-1].write_text(
            f'[debris]\nname = "{name}"\ncolor = "#102030"\nsize_mm = [3, 4]\narea_mass_mg_per_mm2 = 1.0\n'
        )
    assert [p.grams for p in scene_spec(debris=files, grams=10).portions] == [5, 5]
    assert [p.cover_share for p in scene_spec(debris=files, load_percent=8).portions] == [0.04, 0.04]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"size_mm": "4"}, "debris lacks its color. Give size and color together, or a debris file."),
        ({"color": "#102030"}, "debris lacks its size. Give size and color together"),
        (
            {"size_mm": "four", "color": "#102030"},
            'debris size must be written "4,6" in millimetres, got "four"',
        ),
        (
            {"size_mm": "1,2,3", "color": "#102030"},
            'debris size must be written "4,6" in millimetres, got "1,2,3"',
        ),
        (
            {"size_mm": "4,6", "color": "red"},
            'debris color must be written "#rrggbb", such as "#a8482c", got "red"',
        ),
        ({"floor_color": "#12"}, 'floor color must be written "#rrggbb"'),
        ({"patch_mm": "600"}, 'patch size must be written "600x400" in millimetres, got "600"'),
        (
            {"load_percent": 5.0, "grams": 3.0},
            "load is given both as a share and in grams. Give one of them.",
        ),
        ({"pickup_percent": 120.0}, "pickup must be from 0 to 100 percent, got 120."),
        ({"edge_pickup_percent": -1.0}, "edge pickup must be from 0 to 100 percent, got -1."),
        ({"path": "zigzag"}, r'passes\[1\].path "zigzag" is unknown. Known are: lanes, wander, spiral, everywhere.'),
        ({"passes": 0}, "passes must be from 1 to 10, got 0."),
        ({"megapixels": 500.0}, "camera.megapixels must be from 0.05 to 60, got 500."),
    ],
)
def test_a_word_that_cannot_be_is_refused(options: dict[str, Any], words: str) -> None:
    with pytest.raises(SceneError, match=words):
        scene_spec(**options)


def test_a_file_and_a_size_are_one_too_many() -> None:
    with pytest.raises(SceneError, match="debris is given both as a file and as size and color"):
        scene_spec(debris=["a.toml"], size_mm="4")


def test_a_missing_debris_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="there is no such file"):
        scene_spec(debris=[tmp_path / "none.toml"])
