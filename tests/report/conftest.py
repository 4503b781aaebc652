"""A made-up run whose every number is known, for all tests of the report.

Patch of 100 x 80 mm with walls at its top and left, 0.1 mm a pixel, view 1200 x 1000 pixels. The floor is
plain grey; grains are discs at the places of ``GRAINS`` and, in the last row, single pixels.
"""

from collections.abc import Callable
from dataclasses import replace
from types import ModuleType

import cv2
import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.typing import NDArray

from debriscount.flags import Flag
from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import CustomZone, Marker, Patch
from debriscount.leftovers.records import (
    CornerReach,
    Explained,
    Explanation,
    FurtherPass,
    Lanes,
    Leftovers,
    LeftShares,
    LocalPickup,
    MissedPlace,
    PassStep,
    Reach,
    ReachedShare,
    Scatter,
    Strip,
    WallPickup,
    WallProfile,
    Walls,
    WhyLeft,
    WhySplit,
)
from debriscount.pickup.records import Amount, BudgetLine, PassFigures, ZoneFigures
from debriscount.registration.grid import FloorGrid
from debriscount.report import left_picture, pictures, reach_picture
from debriscount.report.caption import Caption, draw_caption
from debriscount.report.plots import drawn
from debriscount.run.records import KindColor, MeasuredShot, Measurement

FLOOR = (150, 150, 148)
# kind, x mm, y mm, radius mm; the radius 0.05 is one pixel
BEFORE = (
    (0, 5.0, 5.0, 2.0),  # corner
    (0, 50.0, 5.0, 2.0),  # edge
    (0, 50.0, 40.0, 2.0),  # open
    (0, 70.0, 60.0, 2.0),  # open
    (0, 105.0, 40.0, 2.0),  # margin
    (1, 30.05, 30.05, 0.05),
    (1, 31.05, 30.05, 0.05),
    (1, 30.05, 60.05, 0.05),
)
AFTER = ((0, 50.0, 5.0, 2.0), (0, 60.0, 5.0, 2.0), (0, 70.0, 60.0, 2.0), (1, 30.05, 30.05, 0.05))
AFTER2 = ((0, 70.0, 60.0, 2.0),)


def _shot(
    name: str,
    discs: tuple[tuple[int, float, float, float], ...],
    patch: Patch,
    grid: FloorGrid,
    colors: list[tuple[int, int, int]],
) -> MeasuredShot:
    view = np.full((*grid.shape, 3), FLOOR, np.uint8)
    kind_map = np.zeros(grid.shape, np.uint8)
    for kind, x, y, radius in discs:
        column, row = np.rint(grid.to_px(np.array([x, y]))).astype(int).tolist()
        cv2.circle(kind_map, (column, row), round(radius / grid.mm_per_px - 0.5), kind + 1, cv2.FILLED)
    for code, color in enumerate(colors, start=1):
        view[kind_map == code] = color
    kinds, xs, ys, radii = (np.array(column) for column in zip(*discs, strict=True))
    grains = GrainTable(
        kinds.astype(np.int16),
        xs.astype(float),
        ys.astype(float),
        np.pi * radii.astype(float) ** 2,
        patch.zone_codes(xs, ys),
    )
    return MeasuredShot(
        name=name,
        file=f"C:\\photos\\{name} größer.jpg",
        sha256="ab" * 32,
        markers_seen=(0, 1, 3),
        residual_mm=0.123456,
        floor_view=view,
        kind_map=kind_map,
        grains=grains,
    )


def _figures(before: tuple[float, int], after: tuple[float, int], pickup: float | None) -> ZoneFigures:
    return ZoneFigures(
        before=Amount(*before, mass_g=None),
        after=Amount(*after, mass_g=None),
        gone_percent=None if pickup is None else pickup + 1,
        pickup_percent=pickup,
        interval95=None if pickup is None else (pickup - 2.000049, pickup + 2.5),
        trust="not measurable" if pickup is None else "sound",
    )


def _made_up_run() -> Measurement:
    patch = Patch(
        name='Küche "links", hinten',
        width_mm=100.0,
        height_mm=80.0,
        walls=("top", "left"),
        markers=(Marker(0, (-40.0, 30.0), 50.0), Marker(3, (140.0, 30.0), 50.0)),
        edge_mm=10.0,
        corner_mm=20.0,
        margin_mm=12.0,
        custom_zones=(CustomZone("rug", ((25.0, 50.0), (60.0, 50.0), (60.0, 75.0), (25.0, 75.0))),),
    )
    grid = FloorGrid(x0_mm=-3.95, y0_mm=-3.95, mm_per_px=0.1, height_px=1000, width_px=1200)
    kinds = (KindColor("rote Linsen, groß", (168, 72, 44)), KindColor('"fine" sand', (222, 205, 160)))
    colors = [kind.color_srgb for kind in kinds]
    shots = tuple(
        _shot(name, discs, patch, grid, colors)
        for name, discs in (("before", BEFORE), ("after", AFTER), ("after2", AFTER2))
    )
    zones = {
        "patch": _figures((50.265482, 7), (25.140741, 4), 49.98765432),
        "open": _figures((25.140741, 5), (12.574371, 2), 49.98765432),
        "edge": _figures((12.566371, 1), (25.132741, 2), -100.0),
        "corner": _figures((12.566371, 1), (0.0, 0), 100.0),
        "margin": _figures((12.566371, 1), (0.0, 0), None),
        "rug": _figures((0.01, 1), (0.0, 0), 100.0),
    }
    by_kind = {
        kinds[0].name: {"patch": zones["patch"]},
        kinds[1].name: {"patch": _figures((0.0, 0), (0.0, 0), None)},
    }
    return Measurement(
        patch=patch,
        grid=grid,
        kinds=kinds,
        shots=shots,
        passes=(PassFigures(1, zones, by_kind), PassFigures(2, {"patch": zones["patch"]}, by_kind)),
        budget=(BudgetLine("light", 0.41234567), BudgetLine("edge pixels", float("nan"))),
        flags=(Flag(code="light", severity="doubtful", sentence="before.jpg and after.jpg differ in light by 12 %"),),
    )


@pytest.fixture(scope="session")
def run() -> Measurement:
    """The made-up run; frozen, so that all tests may share it."""
    return _made_up_run()


def _why(run: Measurement, untouched: list[float]) -> WhyLeft:
    """What is said of the leftovers of a pass; one kind matched, the other not, and a hole in the map of reach."""
    lentils, sand = (kind.name for kind in run.kinds)
    shares = LeftShares(25.140741, 75.12344, 24.87656, (70.0, 80.00001))
    unknown = LeftShares(0.0, None, None, None)
    map_ = np.ones((8, 10), np.float32)
    map_[3] = 0.123456
    map_[6, 7:9] = np.nan
    grid = FloorGrid(5.0, 5.0, 10.0, 8, 10)
    strip = Strip(
        ends_mm=((-5.0, 35.0), (105.0, 35.0)), width_mm=10.0, width_u_mm=0.5, straight_mm=1.25, share_percent=30.0
    )
    profile = WallProfile(
        wall="top", edges_mm=(0.0, 10.0, 20.0, 40.0), before_mm2=(12.6, 0.0, 37.7), untouched_mm2=(12.5, 0.0, 1.2), shifted_mm2=(0.0, 0.0, 3.0),
        gap_mm=8.5, gap_interval95=(7.0, 10.0), left_percent=99.0, beyond_percent=11.0, share_percent=50.0,
    )  # fmt: skip
    along = WallPickup(
        wall="top", edges_mm=(0.0, 10.0, 20.0, 40.0), near_mm=10.0, strips_mm=((30.0, 40.0),),
        bins=(LocalPickup(0.8, (0.1, 30.0)), LocalPickup(None, None), LocalPickup(88.90001, (70.0, 100.0))),
        near=LocalPickup(0.8, (0.1, 30.0)), open=LocalPickup(89.0, (80.0, 95.0)),
        less_percent=88.2, less_interval95=(57.0, 94.2),
    )  # fmt: skip
    return WhyLeft(
        leftovers=Leftovers(
            zones={"patch": shares, "open": shares, "edge": shares, "corner": unknown, "rug": unknown},
            kinds={lentils: {"patch": shares}, sand: {"patch": unknown}},
            least_shift_mm={lentils: 0.4, sand: 2.0},
            chance_percent={lentils: 1.5, sand: 30.0},
            matched={lentils: True, sand: False},
        ),
        split={"patch": WhySplit(49.72312, 25.40032, 24.87656), "edge": WhySplit(0.0, 0.00005, 99.99995)},
        reach=Reach(
            {
                "patch": ReachedShare(87.5, (85.0, 90.0), 55.5555, (54.0, 57.0)),
                "edge": ReachedShare(None, None, None, None),
            },
            grid,
            map_,
            0.975,
        ),
        lanes=Lanes(
            heading_deg=0.0,
            heading_u_deg=0.3,
            pitch_mm=None,
            pitch_u_mm=None,
            strip_mm=10.0,
            strip_u_mm=0.5,
            lanes=2,
            straight_mm=1.25,
            strips=(strip,),
            share_percent=30.0,
        ),
        missed=(
            MissedPlace(
                what="place",
                polygon_mm=((60.0, 55.0), (80.0, 55.0), (75.0, 70.0)),
                area_mm2=150.0,
                left_mm2=12.5,
                share_percent=49.9,
            ),
            MissedPlace(
                what="strip",
                polygon_mm=((0.0, 30.0), (100.0, 30.0), (100.0, 40.0), (0.0, 40.0)),
                area_mm2=1000.0,
                left_mm2=7.5,
                share_percent=30.0,
            ),
        ),
        walls=Walls((profile,), (CornerReach(("top", "left"), None, None, 0.0),), (along,)),
        scatter=Scatter(
            margin_percent=0.4,
            margin_interval95=(0.2, 0.6),
            margin_sides={"right": 80.0, "bottom": 20.0},
            bare_percent=3.0,
            direction_deg=12.0,
            strength=0.4,
            distance_mm=(5.0, 10.0),
            distance_percent=(60.0, 40.0),
            median_distance_mm=4.5,
            side="right",
        ),
        findings=(
            Explanation("not reached", 60.0, "12 % of the debris lay where the machine never went."),
            Explanation("moved", 24.87656, "25 % of the leftovers were moved but not picked up."),
            Explanation("missed place", 0.5, "A place was never reached."),
            Explanation("flung", None, "Debris was flung into the margin."),
            Explanation("direction", None, "Moved debris lies mostly to the right."),
        ),
        untouched=np.array(untouched),
        # What was moved came from 3 mm right of and 4 mm below its place.
        way_mm=np.where(np.array(untouched)[:, None] < 0.1, [[-3.0, -4.0]], np.nan),
    )


@pytest.fixture(scope="session")
def explained(run: Measurement) -> Measurement:
    """The made-up run with all that may be said of why debris stayed."""
    first = _why(run, [1.0, 0.0, 1.0, 0.3])
    second = replace(_why(run, [1.0]), lanes=None, walls=Walls((), ()))
    steps = (
        PassStep(
            number=1,
            of_found_percent=50.0,
            of_found_interval95=(48.0, 52.5),
            together_percent=50.0,
            missed_again_percent=None,
            missed_again_by_chance_percent=None,
        ),
        PassStep(
            number=2,
            of_found_percent=0.123449,
            of_found_interval95=(-3.0, 3.0),
            together_percent=49.98765432,
            missed_again_percent=80.0,
            missed_again_by_chance_percent=16.0,
        ),
    )
    return replace(
        run,
        left=Explained(
            (first, second),
            steps,
            FurtherPass(60.0, (55.0, 65.0), "One more pass may bring pickup to 60 % (55 to 65 %)."),
        ),
    )


@pytest.fixture(scope="session")
def floor_rgb() -> NDArray[np.uint8]:
    return np.array(FLOOR, np.uint8)


@pytest.fixture
def captions(monkeypatch: pytest.MonkeyPatch) -> list[Caption]:
    """Captions that are drawn while a test runs."""
    seen: list[Caption] = []

    def spy(caption: Caption, width: int, mm_per_px: float, size: int) -> NDArray[np.uint8]:
        seen.append(caption)
        return draw_caption(caption, width, mm_per_px, size)

    for module in (pictures, left_picture, reach_picture):
        monkeypatch.setattr(module, "draw_caption", spy)
    return seen


@pytest.fixture
def spied_figures(monkeypatch: pytest.MonkeyPatch) -> Callable[[ModuleType], list[Figure]]:
    """Of a module of plots, the figures that it draws while a test runs."""

    def spied(module: ModuleType) -> list[Figure]:
        seen: list[Figure] = []

        def spy(size: tuple[float, float], draw: Callable[[Figure], None]) -> NDArray[np.uint8]:
            def keep(figure: Figure) -> None:
                draw(figure)
                seen.append(figure)

            return drawn(size, keep)

        monkeypatch.setattr(module, "drawn", spy)
        return seen

    return spied
