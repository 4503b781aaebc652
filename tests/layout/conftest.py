"""Patches whose sheets are drawn."""

from dataclasses import replace

import pytest

from debriscount.inputs.patch import CustomZone, Marker, Patch
from debriscount.layout.lay_patch import lay_patch


@pytest.fixture(scope="session")
def patches() -> dict[str, Patch]:
    """One wall and four squares of 60 mm; a corner with three of 25 mm; a long name, walls at right and bottom; the
    largest square that a page holds beside the smallest; and all squares of the dictionary."""
    wall = lay_patch(600, 400, ("top",), name="hall bench", marker_side_mm=60)
    corner = lay_patch(300, 200, ("top", "left"), name="kitchen corner", marker_side_mm=25)
    right = lay_patch(500, 400, ("right", "bottom"), name='Küche "links" $x$ 漢字\n' + "sehr " * 40)
    zones = (CustomZone("mat", ((100, 100), (200, 100), (200, 150))),)
    mixed = (Marker(5, (-300, 0), 135.5), Marker(6, (900, 40), 4.0), Marker(7, (900, 600), 20.0))
    crowd = tuple(Marker(n, (-120 + 100 * (n % 20), 800 + 100 * (n // 20)), 50.0) for n in range(50))
    return {
        "wall": wall,
        "corner": replace(corner, markers=corner.markers[:3]),
        "right": replace(right, custom_zones=zones),
        "mixed": replace(wall, markers=mixed, walls=()),
        "crowd": replace(wall, markers=crowd),
        "strip": lay_patch(3000, 300, (), name="strip"),
    }
