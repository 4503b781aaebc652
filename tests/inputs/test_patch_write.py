import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.inputs.names import name_fault
from debriscount.inputs.patch import WALL_SIDES, CustomZone, Marker, Patch
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.patch_write import patch_toml
from debriscount.layout.lay_patch import lay_patch

PATCH = lay_patch(600, 400, ("top", "left"), name="hall bench")


@given(
    name=st.text(min_size=1).map(str.strip).filter(lambda name: not name_fault(name)),
    width=st.floats(300, 5000),
    walls=st.sets(st.sampled_from(WALL_SIDES), max_size=2),
    far=st.floats(100, 9000),
    rendered=st.booleans(),
    polygon=st.lists(st.tuples(st.integers(0, 300), st.floats(0, 300).map(lambda mm: round(mm, 6))), max_size=4),
)
def test_what_is_written_is_read_as_the_same(
    tmp_path_factory: pytest.TempPathFactory,
    *,
    name: str,
    width: float,
    walls: set[str],
    far: float,
    rendered: bool,
    polygon: list[tuple[int, float]],
) -> None:
    x = 6000.0 + far  # clear of the patch, wherever it lies
    markers = (Marker(0, (x, 100.5), 50.0), Marker(7, (x + far, 400.25), 0.1 + 0.2), Marker(49, (x, 800), 60.0))
    corner = (float(polygon[0][0]), polygon[0][1]) if polygon else (0.0, 0.0)
    zones = (CustomZone("a zone", ((0.0, 0.0), (400.0, 0.0), (400.0, 300.0), corner)),) if polygon else ()
    patch = Patch(name, width, 700.0, tuple(sorted(walls)), markers, 25.5, 60.0, 0.0, zones, rendered=rendered)
    file = tmp_path_factory.mktemp("patch") / "patch.toml"
    file.write_bytes(patch_toml(patch).encode())
    assert read_patch(file) == patch


def test_it_reads_as_a_person_writes_it() -> None:
    text = patch_toml(PATCH)
    assert "width_mm = 600\n" in text
    assert 'walls = ["top", "left"] # sides with a wall or skirting\n' in text
    assert "center_mm = [700, 43] # from the patch's top-left corner: x to the right, y down\n" in text
    assert text.count("# side of the black square") == 1
    assert text.count("[[markers]]") == 4
    assert tomllib.loads(text)["zones"] == {"edge_mm": 30, "corner_mm": 60, "margin_mm": 60}


def test_zones_of_ones_own_are_written(tmp_path: Path) -> None:
    zones = (CustomZone("mat", ((0, 0), (90.5, 0), (90, 80))), CustomZone("rug", ((0, 0), (9, 0), (9, 8))))
    file = tmp_path / "patch.toml"
    file.write_text(patch_toml(replace(PATCH, custom_zones=zones)))
    assert read_patch(file).custom_zones == zones


def test_only_a_rendered_patch_says_that_it_is() -> None:
    said = (
        "rendered = true # the pictures are renderings, not photographs: leave this line out for photos of your own\n"
    )
    assert said in patch_toml(replace(PATCH, rendered=True))
    assert "rendered" not in patch_toml(PATCH)
