from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import rgb2lab

from debriscount.report.palette import (
    COLOR_BLIND,
    DARK,
    LIGHT,
    OKABE_ITO,
    Color,
    contrasting,
    distances,
    floor_colors,
    lab,
    outline_colors,
    seen_by,
)
from debriscount.run.records import Measurement

# Two large fields differ visibly from about 2 CIELAB units on. Lines of one or two pixels are seen under a few
# minutes of arc, where the noticeable difference grows several times over (Stone, Szafir & Setlur 2014, from
# memory: about 10 in L* and 23 in b* at a sixth of a degree). 20 is ten times the large-field threshold.
TELLING = 20.0

FLOORS: dict[str, list[Color]] = {
    "light tile": [(190, 188, 183), (205, 203, 198), (215, 213, 208)],
    "oak": [(120, 85, 50), (150, 110, 70), (180, 140, 95)],
    "dark slate": [(40, 42, 46), (62, 64, 68), (80, 82, 86)],
    "grey": [(128, 128, 128)],
    "cream": [(220, 205, 180)],
    "white and black": [(20, 20, 20), (120, 120, 120), (235, 235, 235)],
    "terracotta": [(160, 80, 50), (180, 95, 65)],
    "green lino": [(70, 110, 80)],
}
DEBRIS: list[Color] = [(168, 72, 44), (222, 205, 160), (40, 30, 25), (240, 240, 240), (110, 90, 60)]

colors = st.tuples(*[st.integers(0, 255)] * 3)


def test_colour_blind_matrices_are_those_of_another_program() -> None:
    # Independent: colorspacious 1.1.2, machado_et_al_2009_matrix(name, 100).
    assert COLOR_BLIND["protanopia"] == (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    )
    assert COLOR_BLIND["deuteranopia"] == (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    )


@given(st.lists(colors, min_size=1, max_size=5))
def test_lab_agrees_with_another_program(some: list[Color]) -> None:
    # Independent: scikit-image. OpenCV takes its cube roots from a table; 0.36 is the most they differ by.
    expected = rgb2lab(np.array(some, float)[None] / 255)[0]
    np.testing.assert_allclose(lab(some), expected, atol=0.5)


@pytest.mark.parametrize("eyes", COLOR_BLIND)
@given(grey=st.integers(0, 255))
def test_greys_look_the_same_to_all_eyes(eyes: str, grey: int) -> None:
    np.testing.assert_allclose(seen_by([(grey, grey, grey)], eyes), grey, atol=0.01)


@pytest.mark.parametrize("eyes", COLOR_BLIND)
def test_red_and_green_come_closer_to_colour_blind_eyes(eyes: str) -> None:
    red, green = (200, 60, 40), (90, 120, 30)
    seen = lab(seen_by([red, green], eyes))
    assert np.linalg.norm(seen[0] - seen[1]) < np.linalg.norm(np.subtract(*lab([red, green]))) / 2


@pytest.mark.parametrize("floor", FLOORS)
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_outlines_stand_out_for_all_eyes(floor: str, count: int) -> None:
    for debris in combinations(DEBRIS, count):
        chosen = outline_colors(FLOORS[floor], debris)
        for outline, own in zip(chosen, debris, strict=True):
            assert distances([outline], [own, DARK, LIGHT]).min() > TELLING
            # A floor of many colours may come near the outline; the halo round it never does.
            halo = contrasting(outline)[0]
            assert distances([halo, outline], FLOORS[floor]).max(axis=0).min() > TELLING
        for one, other in combinations(chosen, 2):
            assert distances([one], [other])[0, 0] > TELLING


@pytest.mark.parametrize("floor", FLOORS)
def test_a_single_kind_stands_out_from_the_floor_itself(floor: str) -> None:
    for debris in DEBRIS:
        assert distances(outline_colors(FLOORS[floor], [debris]), FLOORS[floor]).min() > TELLING


@given(colors)
def test_a_border_of_dark_and_light_is_seen_on_any_floor(floor: Color) -> None:
    core, rim = contrasting(floor)
    assert {core, rim} == {DARK, LIGHT}
    assert distances([core], [floor])[0, 0] > 2 * TELLING


def test_outlines_repeat_only_when_the_palette_is_used_up() -> None:
    kinds = [DEBRIS[i % len(DEBRIS)] for i in range(len(OKABE_ITO) + 2)]
    chosen = outline_colors(FLOORS["oak"], kinds)
    assert set(chosen[: len(OKABE_ITO)]) == set(OKABE_ITO)
    assert len(chosen) == len(kinds)
    assert outline_colors(FLOORS["oak"], []) == []


def test_floor_colours_leave_the_debris_out(run: Measurement) -> None:
    np.testing.assert_allclose(floor_colors(run.shots[0].floor_view, run.shots[0].kind_map), [(150, 150, 148)] * 3)
