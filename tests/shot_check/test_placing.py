import numpy as np
import pytest

from debriscount.camera.view import MIDDLE
from debriscount.inputs.patch import Patch
from debriscount.shot_check.placing import (
    least_grain_px,
    place_findings,
    same_slant_finding,
    scale_findings,
    silhouette,
    tilt_finding,
)

PATCH = Patch("bench", 400.0, 300.0, ("top",), (), 30.0, 60.0, 20.0)


@pytest.mark.parametrize("steep", [0.0, 20.0, 45.0])
def test_a_silhouette_is_an_ellipsoids(steep: float) -> None:
    """Independent: the shadow of many points on the ellipsoid, its area by the convex hull of scipy."""
    from scipy.spatial import ConvexHull

    rng = np.random.default_rng(1)
    points = rng.standard_normal((20_000, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    points *= [1, 1, 2 * MIDDLE]
    shadow = points[:, :2] + np.outer(points[:, 2], [np.tan(np.radians(steep)), 0])
    assert silhouette(steep) == pytest.approx(ConvexHull(shadow).volume / np.pi, rel=0.01)


def test_a_slanted_view_is_not_fit_and_says_what_to_do() -> None:
    assert tilt_finding(12.0).fit
    finding = tilt_finding(38.0)
    assert not finding.fit
    assert "straight down" in finding.advice


def test_two_views_from_one_side_are_alike() -> None:
    assert same_slant_finding(20.0, 20.0, 0.1).value == 0
    assert not same_slant_finding(35.0, 0.0, 0.5).fit


def test_half_the_accuracy_takes_half_the_grain_squared() -> None:
    assert least_grain_px(2.0) ** 2 == pytest.approx(least_grain_px(1.0) ** 2 / 2)


def test_without_debris_scale_says_for_what_it_will_do() -> None:
    (finding,) = scale_findings(0.4, None, 1.0)
    assert finding.fit
    assert f"from {least_grain_px(1.0) * 0.4:.1f} mm on" in finding.advice


def test_fine_debris_takes_a_closer_camera() -> None:
    scale, finest = scale_findings(0.4, 0.5, 1.0)
    assert scale.value == 0.4
    assert finest.value == pytest.approx(1.25)
    assert not finest.fit
    assert f"{0.5 / least_grain_px(1.0):.2f} mm of floor a pixel" in finest.advice


def test_places_off_are_judged_by_the_narrowest_zone() -> None:
    open_patch = Patch("b", 400.0, 300.0, (), (), 30.0, 60.0, 20.0)
    with_wall, open_floor = (place_findings(0.5, 0.1, patch, 1.0) for patch in (PATCH, open_patch))
    assert [finding.fit for finding in with_wall] == [False, True]
    assert [finding.fit for finding in open_floor] == [True, True]


def test_a_lens_hardly_known_asks_for_a_lens_file() -> None:
    _, lens = place_findings(0.01, 3.0, PATCH, 1.0)
    assert not lens.fit
    assert "--lens" in lens.advice
