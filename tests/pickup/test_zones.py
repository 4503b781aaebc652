import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from debriscount.grains.find import FoundGrains
from debriscount.grains.table import GrainTable, grain_table, zone_members
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.patch import CORNER, EDGE, MARGIN, OPEN, OUTSIDE, WALL_SIDES, CustomZone, Patch
from debriscount.pickup.records import Amount
from debriscount.pickup.zones import amounts, less_background, with_unseen
from debriscount.registration.grid import FloorGrid


def patch_of(**changes: Any) -> Patch:
    fields: dict[str, Any] = {
        "name": "bench",
        "width_mm": 200.0,
        "height_mm": 100.0,
        "walls": ("top", "left"),
        "markers": (),
        "edge_mm": 20.0,
        "corner_mm": 40.0,
        "margin_mm": 10.0,
    }
    return Patch(**{**fields, **changes})


def grains_at(patch: Patch, *places: tuple[float, float], area: float = 4.0, kind: int = 0) -> GrainTable:
    x, y = np.array(places, float).reshape(-1, 2).T
    n = len(x)
    return GrainTable(np.full(n, kind, np.int16), x, y, np.full(n, area), patch.zone_codes(x, y))


LENTILS = DebrisKind("lentils", (200, 90, 50), (4.0, 6.0), area_mass_mg_per_mm2=2.0)
RICE = DebrisKind("rice", (230, 220, 200), (2.0, 6.0))

walls = st.lists(st.sampled_from(WALL_SIDES), unique=True).map(tuple)
widths = st.floats(0, 60)


@given(walls, widths, widths, widths, st.floats(0, 199.999), st.floats(0, 99.999))
def test_every_place_of_the_patch_is_in_exactly_one_of_its_zones(
    sides: tuple[str, ...], edge: float, corner: float, margin: float, x: float, y: float
) -> None:
    patch = patch_of(walls=sides, edge_mm=edge, corner_mm=corner, margin_mm=margin)
    code = int(patch.zone_codes([x], [y])[0])
    assert code in (OPEN, EDGE, CORNER)
    # The definition, written again: near two adjoining walls, else near one, else neither.
    near = {"left": x, "right": 200 - x, "top": y, "bottom": 100 - y}
    in_corner = any(
        a in sides and b in sides and near[a] < corner and near[b] < corner
        for a in ("top", "bottom")
        for b in ("left", "right")
    )
    in_edge = any(near[side] < edge for side in sides)
    assert code == (CORNER if in_corner else EDGE if in_edge else OPEN)


@given(walls, st.floats(0.5, 60), st.floats(-70, 270), st.floats(-70, 170))
def test_outside_the_patch_is_margin_or_nothing(sides: tuple[str, ...], margin: float, x: float, y: float) -> None:
    patch = patch_of(walls=sides, margin_mm=margin)
    if 0 <= x < 200 and 0 <= y < 100:
        return
    behind = (
        ("left" in sides and x < 0)
        or ("right" in sides and x >= 200)
        or ("top" in sides and y < 0)
        or ("bottom" in sides and y >= 100)
    )
    near = -margin <= x < 200 + margin and -margin <= y < 100 + margin
    assert int(patch.zone_codes([x], [y])[0]) == (MARGIN if near and not behind else OUTSIDE)


def raster_areas(patch: Patch, step: float = 0.5) -> dict[int, float]:
    x = np.arange(-50 + step / 2, 250, step)
    y = np.arange(-50 + step / 2, 150, step)
    codes = patch.zone_codes(x[None, :], y[:, None])
    assert codes.shape == (len(y), len(x))
    return {code: float((codes == code).sum()) * step**2 for code in (OPEN, EDGE, CORNER, MARGIN)}


def test_areas_of_the_zones_of_a_corner_are_those_worked_out_by_hand() -> None:
    # Patch 200 x 100, walls top and left, edge 20, corner 40, margin 10.
    areas = raster_areas(patch_of())
    assert areas[CORNER] == 40 * 40
    # Along the top from x 40 to 200, along the left from y 40 to 100.
    assert areas[EDGE] == 160 * 20 + 60 * 20
    assert areas[OPEN] == 200 * 100 - areas[CORNER] - areas[EDGE]
    # The margin lies at the right and below: 10 x 110 and 200 x 10.
    assert areas[MARGIN] == 10 * 110 + 200 * 10


@pytest.mark.parametrize("corner", [10.0, 20.0, 40.0])
def test_open_edge_and_corner_fill_the_patch(corner: float) -> None:
    for sides in ((), ("right",), ("top", "bottom"), ("right", "bottom"), WALL_SIDES):
        areas = raster_areas(patch_of(walls=sides, corner_mm=corner))
        assert areas[OPEN] + areas[EDGE] + areas[CORNER] == 200 * 100
        assert (areas[CORNER] > 0) == (len(sides) in (2, 4) and sides != ("top", "bottom"))


def test_a_room_without_walls_has_neither_edge_nor_corner() -> None:
    assert patch_of(walls=()).zone_names() == ("open", "margin")
    assert patch_of(walls=("top",)).zone_names() == ("open", "edge", "margin")
    assert patch_of(walls=("top", "bottom"), margin_mm=0.0).zone_names() == ("open", "edge")
    assert patch_of(walls=("bottom", "right")).zone_names() == ("open", "edge", "corner", "margin")


def test_a_grain_counts_with_its_whole_area_where_its_centre_lies() -> None:
    patch = patch_of()
    grains = grains_at(patch, (19.9, 60), (20.1, 60), (39.9, 39.9), (40.1, 10), (205, 50), (-1, 50), (250, 50))
    found = amounts(patch, grains, [LENTILS])
    assert {zone: amount.grains for zone, amount in found.items()} == {
        "patch": 4,
        "open": 1,
        "edge": 2,
        "corner": 1,
        "margin": 1,
    }
    assert found["edge"].area_mm2 == 8
    # Two milligrams a square millimetre.
    assert found["edge"].mass_g == pytest.approx(0.016)


@given(st.lists(st.tuples(st.floats(-30, 230), st.floats(-30, 130), st.floats(0.1, 30)), max_size=40), walls)
def test_the_zones_add_up_to_the_patch(grains: list[tuple[float, float, float]], sides: tuple[str, ...]) -> None:
    patch = patch_of(walls=sides)
    x, y, area = np.array(grains, float).reshape(-1, 3).T
    table = GrainTable(np.zeros(len(x), np.int16), x, y, area, patch.zone_codes(x, y))
    found = amounts(patch, table, [LENTILS])
    inside = [found[zone] for zone in patch.zone_names() if zone != "margin"]
    assert found["patch"].grains == sum(a.grains for a in inside)
    assert found["patch"].area_mm2 == pytest.approx(math.fsum(a.area_mm2 for a in inside))


def test_a_zone_of_ones_own_is_reported_beside_the_others() -> None:
    triangle = CustomZone("under the chair", ((100.0, 40.0), (180.0, 40.0), (100.0, 90.0)))
    patch = patch_of(custom_zones=(triangle,))
    grains = grains_at(patch, (110, 50), (175, 85), (60, 60))
    found = amounts(patch, grains, [LENTILS])
    assert found["under the chair"].grains == 1
    assert found["patch"].grains == found["open"].grains == 3


def test_no_grains_at_all_is_zero_in_every_zone() -> None:
    patch = patch_of(custom_zones=(CustomZone("x", ((0.0, 0.0), (9.0, 0.0), (0.0, 9.0))),))
    empty = grains_at(patch)
    assert all(not member.any() for member in zone_members(patch, empty).values())
    assert amounts(patch, empty, [LENTILS])["patch"] == Amount(0.0, 0, 0.0, (0, 0))


def test_kinds_are_summed_apart_and_an_unknown_mass_is_none() -> None:
    patch = patch_of()
    a, b = grains_at(patch, (100, 50), (120, 50)), grains_at(patch, (140, 50), area=10.0, kind=1)
    fields = ("kind", "x_mm", "y_mm", "area_mm2", "zone")
    both = GrainTable(*(np.concatenate([getattr(a, f), getattr(b, f)]) for f in fields))
    kinds = [LENTILS, RICE]
    assert amounts(patch, both, kinds, only=0)["patch"] == Amount(8.0, 2, 0.016)
    assert amounts(patch, both, kinds, only=1)["patch"] == Amount(10.0, 1, None)
    assert amounts(patch, both, kinds)["patch"] == Amount(18.0, 3, None)
    assert amounts(patch, both, kinds, only=1)["corner"].mass_g is None


def test_a_zone_without_a_kind_of_known_mass_holds_none_of_it() -> None:
    patch = patch_of()
    grains = grains_at(patch, (100, 50), (120, 50))
    assert amounts(patch, grains, [LENTILS, RICE], only=0)["corner"].mass_g == 0


def test_crowded_grains_weigh_more_than_they_show() -> None:
    """By hand: five grains of 4 mm² in a cell of side sqrt(80) mm cover a quarter of it: -ln(0.75) / 0.25 = 1.1507."""
    patch = patch_of()
    crowded = DebrisKind("sand", (200, 180, 150), (4.0, 6.0), area_mass_mg_per_mm2=2.0, crowding=1.0)
    side = np.sqrt(2 * 10 * 4.0)
    column, row = 10 * side, 6 * side
    grains = grains_at(patch, *[(column + dx, row + 2.0) for dx in (1, 2.5, 4, 5.5, 7)])
    plain, heavy = (amounts(patch, grains, [kind])["patch"] for kind in (LENTILS, crowded))
    assert plain.mass_g == pytest.approx(0.040)
    assert heavy.mass_g == pytest.approx(0.040 * 1.1507, rel=1e-4)
    assert heavy.area_mm2 == plain.area_mm2


def test_what_the_bare_floor_shows_is_taken_off() -> None:
    left = less_background(Amount(100.0, 20, 0.5), Amount(8.0, 3, 0.25))
    assert left == Amount(92.0, 17, 0.25)


def test_less_than_the_bare_floor_shows_is_negative_area_but_no_negative_count() -> None:
    """Clipping the area would make every clean zone look a little dirty on average."""
    left = less_background(Amount(3.0, 1, None), Amount(8.0, 3, 0.016))
    assert left == Amount(-5.0, 0, None)


def test_the_interval_of_a_count_moves_down_with_it() -> None:
    assert less_background(Amount(100.0, 20, None, (18, 25)), Amount(0.0, 0, None)).grains95 == (18, 25)
    assert less_background(Amount(100.0, 20, None), Amount(8.0, 3, None, (3, 3))).grains95 is None


def test_what_the_bare_floor_shows_makes_a_count_unsure() -> None:
    """*By hand*: 1.96 sqrt(2 * 2) = 3.92, with 2 and 5 of the clumps 4.4 and 6.4: 18 - 4.4 and 18 + 6.4, outwards."""
    left = less_background(Amount(100.0, 20, None, (18, 25)), Amount(8.0, 2, None))
    assert (left.grains, left.grains95) == (18, (13, 25))


@given(st.integers(0, 50), st.integers(0, 5), st.integers(0, 9), st.integers(0, 60))
def test_the_interval_of_what_is_left_holds_it_and_is_not_negative(n: int, down: int, up: int, bare: int) -> None:
    left = less_background(Amount(9.0, n, None, (max(n - down, 0), n + up)), Amount(1.0, bare, None))
    assert left.grains95 is not None
    assert 0 <= left.grains95[0] <= left.grains <= left.grains95[1]


def found_grains(x_px: list[float], clump: list[int]) -> FoundGrains:
    n = len(x_px)
    area = np.array([60.0 + 5.0 * (i % 3) for i in range(n)])
    return FoundGrains(
        np.zeros(n, np.int16),
        np.array(x_px),
        np.full(n, 500.0),
        area,
        np.zeros(n),
        np.array(clump, np.int32),
        np.zeros((1000, 2000), np.uint8),
        np.zeros((1000, 2000), np.int32),
    )


def test_every_zone_tells_how_far_its_count_can_be_trusted() -> None:
    """A tenth of a millimetre a pixel: fifteen single grains, and four that hang together across an edge zone's end."""
    patch = patch_of(walls=("left",))
    x = [400.0 + 80 * i for i in range(15)] + [180.0, 190.0, 210.0, 220.0]
    grains = grain_table(found_grains(x, [*range(15), *[15] * 4]), FloorGrid(0.0, 0.0, 0.1, 1000, 2000), patch)
    assert grains.clump.tolist() == [*range(15), *[15] * 4]
    found = amounts(patch, grains, [LENTILS])
    edge, inside, whole = (found[zone].grains95 for zone in ("edge", "open", "patch"))
    assert found["edge"].grains == 2
    assert found["margin"].grains95 == (0, 0)
    assert edge is not None and inside is not None and whole is not None
    assert 1 <= edge[0] <= 2 <= edge[1]
    assert 16 <= inside[0] <= 17 < inside[1]
    assert 16 <= whole[0] <= 19 < whole[1]
    assert grains.take(grains.zone == EDGE).clump.tolist() == [15, 15]


def test_a_count_whose_clumps_are_unknown_has_no_interval() -> None:
    assert amounts(patch_of(), grains_at(patch_of(), (100, 50)), [LENTILS])["patch"].grains95 is None


def test_what_may_go_unseen_widens_the_interval_of_the_number_upwards() -> None:
    """By hand: of 80 grains seen on four fifths of the floor, 20 more may lie on the rest."""
    seen = Amount(100.0, 80, None, (78, 83))
    assert with_unseen(seen, 0.2).grains95 == (78, 103)
    assert with_unseen(seen, 0.0) == seen
    assert with_unseen(replace(seen, grains95=None), 0.2).grains95 is None
