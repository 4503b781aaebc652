"""From light on the sensor to a JPEG file, the way a phone's camera goes it."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Image
from ..photo.colour import srgb_pixels
from .spec import Imaging

#: Rows worked on at once.
_BAND = 32


def develop(light: Image, imaging: Imaging, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Make an encoded photo.

    Parameters
    ----------
    light : ndarray of float32, shape (H, W, 3)
        Linear light, 1 being what fills the sensor; overwritten.
    imaging : Imaging
        Blur, noise, processing.
    rng : Generator
        Source of noise.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        sRGB.
    """
    if imaging.blur_px > 0:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), imaging.blur_px), np.float32)
    light = _mosaic(light, imaging, rng) if imaging.bayer else add_noise(light, imaging, rng)
    pixels = _denoise(light, imaging) if imaging.denoise > 0 else srgb_pixels(light)
    if imaging.sharpen > 0:
        soft = cv2.GaussianBlur(pixels, (0, 0), 1.0)
        pixels = np.asarray(cv2.addWeighted(pixels, 1 + imaging.sharpen, soft, -imaging.sharpen, 0), np.uint8)
    return pixels


def _in_bands(rows: int, work: Callable[[int, slice], None]) -> None:
    """Call ``work`` with number and rows of every band: what fits the cache is several times faster."""
    bands = [slice(start, min(start + _BAND, rows)) for start in range(0, rows, _BAND)]
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
        list(pool.map(work, range(len(bands)), bands))


def _variance(light: Image, imaging: Imaging) -> Image:
    read = np.float32((imaging.read / imaging.full_well) ** 2)
    return np.asarray(np.maximum(light, 0) / np.float32(imaging.full_well) + read, np.float32)


def add_noise(light: Image, imaging: Imaging, rng: np.random.Generator) -> Image:
    """Add photon and read noise, any shape (H, ...); light beyond 1 is cut off.

    The variance is light / full_well + (read / full_well)², light as a share of full.
    """
    noisy = np.empty_like(light)
    sources = rng.spawn(-(-len(light) // _BAND))

    def work(number: int, rows: slice) -> None:
        band = np.minimum(light[rows], 1)
        deviation = np.sqrt(_variance(band, imaging))
        deviation *= sources[number].standard_normal(band.shape, dtype=np.float32)
        np.add(band, deviation, out=noisy[rows])

    _in_bands(len(light), work)
    return noisy


def _mosaic(light: Image, imaging: Imaging, rng: np.random.Generator) -> Image:
    """Keep one colour a pixel (red, green / green, blue), add noise, interpolate along edges."""
    raw = light[..., 1].copy()
    raw[0::2, 0::2] = light[0::2, 0::2, 0]
    raw[1::2, 1::2] = light[1::2, 1::2, 2]
    raw = add_noise(raw, imaging, rng)
    # A pedestal keeps the noise of black from being cut off.
    digits = np.clip(raw * 60_000 + 2000, 0, 65_535).astype(np.uint16)
    # OpenCV names the pattern after its second row's second and third pixel.
    full = cv2.cvtColor(digits, cv2.COLOR_BayerBG2RGB_EA)
    return np.asarray((full.astype(np.float32) - 2000) / 60_000, np.float32)


def _denoise(light: Image, imaging: Imaging) -> NDArray[np.uint8]:
    """Shrink fine differences no larger than the noise, of colour more than of lightness; sRGB, uint8."""
    soft = np.asarray(cv2.GaussianBlur(light, (0, 0), 1.2), np.float32)
    pixels = np.empty(light.shape, np.uint8)
    weights = np.array([0.25, 0.5, 0.25], np.float32)

    def work(_: int, rows: slice) -> None:
        smooth = soft[rows]
        fine = light[rows] - smooth
        grey = fine @ weights
        fine -= grey[..., None]
        level = np.float32(2 * imaging.denoise) * np.sqrt(_variance(smooth[..., 1], imaging))
        limit = np.float32(0.6) * level
        grey -= np.clip(grey, -limit, limit)
        limit = (np.float32(1.4) * level)[..., None]
        fine -= np.clip(fine, -limit, limit)
        fine += grey[..., None]
        fine += smooth
        pixels[rows] = srgb_pixels(fine)

    _in_bands(len(light), work)
    return pixels


def encode_jpeg(pixels: NDArray[np.uint8], imaging: Imaging) -> bytes:
    """Encode sRGB pixels of shape (H, W, 3) as a JPEG file."""
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420 if imaging.chroma_420 else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
    options = [cv2.IMWRITE_JPEG_QUALITY, imaging.jpeg_quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    done, data = cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), options)
    if not done:
        raise RuntimeError("OpenCV could not encode the photo")
    return data.tobytes()


def decode_jpeg(data: bytes) -> NDArray[np.uint8]:
    """Decode what `encode_jpeg` made, shape (H, W, 3)."""
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if image is None:
        raise ValueError("the bytes are no JPEG")
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2RGB), np.uint8)
