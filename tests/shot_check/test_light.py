from dataclasses import replace

import numpy as np
import pytest

from debriscount.safety import LAMP
from debriscount.shot_check.light import burnt_finding, change_findings, dark_finding, strange_light, uneven_finding
from debriscount.shot_check.look import ShotLook

ROWS, COLUMNS = 36, 48


def look(light: np.ndarray | float = 0.3) -> ShotLook:
    """A shot whose cells are as given, shape (rows, columns), in all three channels and at all quantiles."""
    cells = np.broadcast_to(np.asarray(light, float), (ROWS, COLUMNS))
    texture = np.array([0.95, 1.0, 1.05])[:, None, None]
    return ShotLook(
        cell_mm=10.0,
        light=np.repeat((texture * cells)[..., None], 3, axis=-1),
        inside=np.ones((ROWS, COLUMNS), bool),
        clipped=np.zeros((ROWS, COLUMNS)),
        shown=1.0,
        noise=None,
        tiles=np.zeros((0, 48, 48, 3), np.float32),
    )


def slope() -> np.ndarray:
    return np.exp(0.3 * np.linspace(-1, 1, COLUMNS)) * np.ones((ROWS, 1))


def test_smooth_light_is_no_fault() -> None:
    one, other = look(0.3 * slope()), look(0.3)
    assert np.abs(strange_light(one, other)).max() < 1e-6
    assert all(finding.fit for finding in change_findings(one, other, 1.0))
    assert dark_finding(one).advice == ""


def test_the_stops_between_bright_and_dark_are_told() -> None:
    assert uneven_finding(look(0.3 * slope())).value == pytest.approx(0.6 / np.log(2), rel=0.02)


def test_a_shadow_is_found_where_it_lies() -> None:
    light = np.full((ROWS, COLUMNS), 0.3)
    light[4:16, 20:40] *= 0.6
    *_, finding = change_findings(look(light), look(0.3), 1.0)
    assert not finding.fit
    assert finding.value == pytest.approx(100 * 12 * 20 / (ROWS * COLUMNS), rel=0.05)
    assert "shadow or a foot" in finding.advice
    assert "300 mm right and 100 mm down" in finding.advice


def test_a_reflection_is_told_from_a_shadow() -> None:
    light = np.full((ROWS, COLUMNS), 0.3)
    light[4:16, 20:40] *= 1.8
    *_, finding = change_findings(look(light), look(0.3), 1.0)
    assert "reflection" in finding.advice
    assert LAMP in finding.advice


def test_debris_in_a_heap_is_no_shadow() -> None:
    bare = look(0.3)
    light = bare.light.copy()
    light[:2, 4:16, 20:40] = 0.05  # dark debris over half of every cell: the brightest readings still show floor
    *_, finding = change_findings(replace(bare, light=light), bare, 1.0)
    assert finding.value == 0


def test_where_some_readings_are_darker_and_others_brighter_no_light_has_changed() -> None:
    bare = look(0.3)
    light = bare.light.copy()
    light[:2, 4:16, 20:40] *= 0.6
    light[2, 4:16, 20:40] *= 1.6
    *_, finding = change_findings(replace(bare, light=light), bare, 1.0)
    assert finding.value == 0


def test_a_shadow_that_stands_alone_is_a_note_not_a_fault() -> None:
    light = np.full((ROWS, COLUMNS), 0.3)
    light[4:16, 20:40] *= 0.4
    finding = dark_finding(look(light))
    assert finding.fit
    assert "if it is a shadow" in finding.advice


def test_burnt_out_floor_is_counted_in_cells_of_the_patch() -> None:
    clipped = np.zeros((ROWS, COLUMNS))
    clipped[:, :5] = 1
    shot = replace(look(), clipped=clipped)
    finding = burnt_finding(shot, 1.0)
    assert finding.value == pytest.approx(100 * 5 / COLUMNS)
    assert not finding.fit
    assert LAMP in finding.advice
    inside = np.ones((ROWS, COLUMNS), bool)
    inside[:, :5] = False
    assert burnt_finding(replace(shot, inside=inside), 1.0).value == 0


@pytest.mark.parametrize(("factor", "stops"), [(2.0, 1.0), (0.25, 2.0)])
def test_exposure_is_told_in_stops(factor: float, stops: float) -> None:
    exposure, colour, _ = change_findings(look(0.2 * factor), look(0.2), 1.0)
    assert exposure.value == pytest.approx(stops)
    assert not exposure.fit
    assert colour.value == pytest.approx(1.0)


@pytest.mark.parametrize("lamp", [[1.8, 1, 1], [1, 1, 1.8]], ids=["red", "blue"])
def test_another_colour_of_light_is_a_fault_of_its_own(lamp: list[float]) -> None:
    one = look(0.3)
    exposure, colour, strange = change_findings(replace(one, light=one.light * lamp), one, 1.0)
    assert exposure.fit
    assert colour.value == pytest.approx(1.8)
    assert not colour.fit
    assert strange.value == 0


def test_a_faint_reflection_is_a_fault_where_a_shadow_as_faint_is_none() -> None:
    for factor, fit in ((1.15, False), (1 / 1.15, True)):
        light = np.full((ROWS, COLUMNS), 0.3)
        light[4:16, 20:40] *= factor
        *_, finding = change_findings(look(light), look(0.3), 1.0)
        assert finding.fit == fit
