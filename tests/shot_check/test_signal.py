from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from debriscount.cover.discriminant import SHADE, fisher_discriminant
from debriscount.cover.noise import FloorNoise
from debriscount.inputs.debris import DebrisKind
from debriscount.photo.colour import srgb_to_linear
from debriscount.shot_check.signal import (
    compression_variance,
    cover_a_pixel,
    debris_light,
    step_of_light,
    telling,
)

# Published: ITU-T T.81 (09/92), Annex K, table K.1.
ANNEX_K_LUMA = np.loadtxt(Path(__file__).parents[1] / "data" / "itu_t81_annex_k.csv", delimiter=",")[:8]
FLOOR = np.array([0.2, 0.2, 0.2])


@pytest.mark.parametrize("level", [3.0, 10.0, 60.0, 128.0, 250.0])
def test_a_step_of_light_is_the_slope_of_the_curve(level: float) -> None:
    # Independent: numeric derivative of the curve of IEC 61966-2-1.
    low, high = (float(srgb_to_linear(np.array(v / 255))) for v in (level - 0.5, level + 0.5))
    assert step_of_light(srgb_to_linear(np.array([level / 255])))[0] == pytest.approx(high - low, rel=0.01)


def test_rounding_of_a_jpeg_is_what_opencv_leaves() -> None:
    """Independent: OpenCV's own coder on grey noise, of which nothing rounds to zero."""
    rng = np.random.default_rng(1)
    noise = np.clip(128 + 45 * rng.standard_normal((256, 256)), 0, 255).astype(np.uint8)
    done, data = cv2.imencode(".jpg", noise, [cv2.IMWRITE_JPEG_QUALITY, 75])
    assert done
    decoded = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    assert decoded is not None
    left = decoded.astype(float) - noise
    steps = ANNEX_K_LUMA * 0.5  # quality 75 halves the table (common practice of coders, from memory)
    # A grain of no size sees all frequencies alike.
    assert compression_variance(steps[None], 1e-6)[0] == pytest.approx(left.var(), rel=0.1)


def test_large_grains_see_the_low_frequencies_alone() -> None:
    steps = ANNEX_K_LUMA[None]
    small, large = (compression_variance(steps, size)[0] for size in (2.0, 60.0))
    assert large < small
    assert large == pytest.approx(16**2 / 12, rel=0.05)


def test_twice_the_noise_is_twice_the_doubt() -> None:
    weight, noise = np.array([2.0, -1.0, 0.5]), np.diag([1e-6, 4e-6, 9e-6])
    once = cover_a_pixel(weight, noise, 6.0, 0.7)
    assert cover_a_pixel(weight, 4 * noise, 6.0, 0.7) == pytest.approx(2 * once)


def test_blur_leaves_a_disc_the_share_of_its_energy_that_the_formula_says() -> None:
    # Independent: a blurred disc's sum of squares, by scipy.ndimage.
    y, x = np.mgrid[:101, :101] - 50
    blurred = gaussian_filter(np.clip(6 - np.hypot(x, y) + 0.5, 0, 1), 2.0)
    weight, noise = np.ones(3), np.diag([1e-4] * 3)
    sharp, soft = (cover_a_pixel(weight, noise, 12.0, blur) for blur in (1e-6, 2.0))
    assert (sharp / soft) ** 2 == pytest.approx((blurred**2).sum() / blurred.sum(), rel=0.1)


def test_cover_is_one_on_debris_and_weighed_as_the_cover_stage_weighs_it() -> None:
    """Independent: a second implementation of the same discriminant, in the cover stage."""
    debris, sigma = np.array([0.35, 0.15, 0.05]), np.array([0.004, 0.003, 0.005])
    told_by = telling(FLOOR, debris, np.diag(sigma**2))
    assert told_by.weight @ (debris - FLOOR) == pytest.approx(1)
    floor, grain, noise = (np.broadcast_to(v.astype(np.float32), (2, 2, 3)) for v in (FLOOR, debris, sigma))
    model = FloorNoise(np.ascontiguousarray(noise), np.eye(3))
    other = fisher_discriminant(floor, grain, model, np.zeros((3, 3)), SHADE)
    assert other.filter[0, 0] == pytest.approx(told_by.weight, rel=1e-3)


def test_what_shade_could_make_is_hard_to_tell() -> None:
    noise = np.diag([1e-8] * 3)
    darker, redder = 0.6 * FLOOR, np.array([0.28, 0.17, 0.15])
    assert telling(FLOOR, darker, noise).spread > 0.3
    assert telling(FLOOR, redder, noise).spread < 0.1


def test_debris_is_as_bright_as_the_paper_beside_it_tells() -> None:
    kind = DebrisKind("beads", (255, 0, 0), (1, 2))
    assert debris_light(kind, 0.4) == pytest.approx([0.5, 0, 0])
    assert debris_light(kind, None) == pytest.approx([1.0, 0, 0])
