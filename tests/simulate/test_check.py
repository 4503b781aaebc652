from dataclasses import replace
from typing import Any

import pytest

from debriscount.errors import SceneError
from debriscount.inputs.debris import DebrisKind
from debriscount.layout.lay_patch import lay_patch
from debriscount.simulate.check import check_spec
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import PATHS, Camera, Cleaning, Floor, Imaging, Light, Portion, SceneSpec, Strewing

BEADS = DebrisKind("beads", (30, 60, 200), (3.0, 4.0))
GOOD = SceneSpec(lay_patch(), (Portion(BEADS, cover_share=0.01),))


def test_a_good_spec_passes() -> None:
    check_spec(GOOD)
    stray = Cleaning(wobble_mm=5, pitch_spread_mm=4, wall_gap_mm=8, corner_radius_mm=30, flung_side="right")
    for cleaning in (stray, *(Cleaning(path=path, missed_mm=(((0, 0), (9, 0), (9, 9)),)) for path in PATHS)):
        check_spec(replace(GOOD, passes=(cleaning,)))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"camera": Camera(tilt_deg=50)}, "camera.tilt_deg must be from 0 to 40, got 50."),
        ({"camera": Camera(megapixels=float("nan"))}, "camera.megapixels must be from 0.05 to 60, got nan."),
        ({"light": Light(shadow=2)}, "light.shadow must be from 0 to 1, got 2."),
        ({"imaging": Imaging(jpeg_quality=0)}, "imaging.jpeg_quality must be from 1 to 100, got 0."),
        ({"passes": (Cleaning(), Cleaning(pickup=1.5))}, r"passes\[2\].pickup must be from 0 to 1, got 1.5."),
        ({"passes": (Cleaning(path="zigzag"),)}, r'passes\[1\].path "zigzag" is unknown. Known are: lanes, wander, spiral'),
        ({"passes": (Cleaning(reach_share=1),)}, r"passes\[1\].reach_share must be from 0.01 to 0.99, got 1."),
        ({"passes": (Cleaning(wobble_mm=-1),)}, r"passes\[1\].wobble_mm must be from 0 to 1000, got -1."),
        ({"passes": (Cleaning(pitch_spread_mm=float("inf")),)}, r"passes\[1\].pitch_spread_mm must be from 0 to 1000, got"),
        ({"passes": (Cleaning(wall_gap_mm=-2),)}, r"passes\[1\].wall_gap_mm must be from 0 to 10000, got -2."),
        ({"passes": (Cleaning(corner_radius_mm=-2),)}, r"passes\[1\].corner_radius_mm must be from 0 to 10000, got -2."),
        ({"passes": (Cleaning(path="spiral", wobble_mm=3),)}, r'wobble_mm is 3, but its path is "spiral". Give 0, or lanes.'),
        ({"passes": (Cleaning(path="wander", pitch_spread_mm=3),)}, 'pitch_spread_mm is 3, but its path is "wander"'),
        ({"passes": (Cleaning(path="wander", width_mm=0),)}, 'width_mm is 0: the path "wander" would never end.'),
        ({"passes": (Cleaning(), Cleaning(missed_mm=(((0, 0), (1, 1)),)))}, r"passes\[2\].missed_mm holds a place of 2 points"),
        ({"passes": (Cleaning(missed_mm=(((0, 0), (9, 9), (9, float("nan"))),)),)}, "a point that is not two finite numbers"),
        ({"passes": (Cleaning(missed_mm=(((0, 0), (9, 9), (5, 5)),)),)}, "holds a place of 0 mm². Give one of 1 mm² or more"),
        ({"passes": (Cleaning(flung_side="north"),)}, r'passes\[1\].flung_side "north" is unknown. Known are: top, right'),
        ({"patch": lay_patch(walls=("top",)), "passes": (Cleaning(flung_side="top"),)}, "but a wall stands there. Give a side"),
        ({"patch": lay_patch(margin_mm=0), "passes": (Cleaning(flung_side="left"),)}, "but the patch has no margin. Give"),
        ({"floor": Floor("grass")}, 'floor.kind "grass" is unknown. Known are: plain, planks, tile'),
        ({"floor": Floor(contrast=-1)}, "floor.contrast must be from 0 to 3, got -1."),
        ({"scatter": Strewing(clumped_share=0.7, wall_share=0.6)}, "clumped_share and wall_share add up to 1.3"),
        ({"portions": ()}, "portions is empty. Give one kind of debris or more."),
        ({"portions": (Portion(BEADS, cover_share=0.01),) * 2}, 'portions name the kind "beads" twice.'),
        ({"portions": (Portion(BEADS),)}, 'portion "beads" needs either cover_share or grams. Give one'),
        ({"portions": (Portion(BEADS, cover_share=0.01, grams=1),)}, "needs either cover_share or grams"),
        ({"portions": (Portion(BEADS, cover_share=0.9),)}, "cover_share must be from 0 to 0.5, got 0.9."),
        ({"portions": (Portion(BEADS, grams=3),)}, 'portion "beads" is given in grams but has no area_mass'),
        ({"portions": (Portion(BEADS, cover_share=0.1, shape="cube"),)}, 'shape "cube" is unknown. Known are: round'),
        ({"portions": (Portion(BEADS, cover_share=0.1, aspect=0.5),)}, 'portion "beads" aspect must be from 1'),
        ({"portions": (Portion(replace(BEADS, size_mm=(4, 3)), cover_share=0.1),)}, r"got \[4, 3\]\."),
        ({"seed": -1}, "seed must be 0 or more, got -1."),
    ],
)  # fmt: skip
def test_a_field_out_of_range_is_named(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(SceneError, match=words):
        make_scene(replace(GOOD, **changes))
