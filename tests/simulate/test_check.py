from dataclasses import replace
from typing import Any

import pytest

from debriscount.errors import SceneError
from debriscount.inputs.debris import DebrisKind
from debriscount.inputs.lay_patch import lay_patch
from debriscount.simulate.check import check_spec
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Cleaning, Floor, Imaging, Light, Portion, Scatter, SceneSpec

BEADS = DebrisKind("beads", (30, 60, 200), (3.0, 4.0))
GOOD = SceneSpec(lay_patch(), (Portion(BEADS, cover_share=0.01),))


def test_a_good_spec_passes() -> None:
    check_spec(GOOD)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"camera": Camera(tilt_deg=50)}, "camera.tilt_deg must be from 0 to 40, got 50."),
        ({"camera": Camera(megapixels=float("nan"))}, "camera.megapixels must be from 0.05 to 60, got nan."),
        ({"light": Light(shadow=2)}, "light.shadow must be from 0 to 1, got 2."),
        ({"imaging": Imaging(jpeg_quality=0)}, "imaging.jpeg_quality must be from 1 to 100, got 0."),
        ({"passes": (Cleaning(), Cleaning(pickup=1.5))}, r"passes\[2\].pickup must be from 0 to 1, got 1.5."),
        ({"floor": Floor("grass")}, 'floor.kind "grass" is unknown. Known are: plain, planks, tile'),
        ({"floor": Floor(contrast=-1)}, "floor.contrast must be from 0 to 3, got -1."),
        ({"scatter": Scatter(clumped_share=0.7, wall_share=0.6)}, "clumped_share and wall_share add up to 1.3"),
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
