"""Outlines drawn with their exact share of every pixel, down to grains of a pixel and less."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Image
from .grains import HARMONICS

#: Half sides of the boxes in which grains are drawn together, pixels.
_HALF_SIDES = (2, 3, 4, 6, 8, 11, 15, 20, 28, 40, 56, 80, 112, 160, 224, 320, 448, 640)
#: Samples computed at once.
_CHUNK = 1_500_000


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Grains as one raster sees them.

    ``center_px`` of shape (N, 2), column and row; ``to_unit`` of shape (N, 2, 2) takes an offset in
    pixels to the grain's own axes, where its outline is ρ(θ) around 1; ``waves`` as in `Grains`;
    ``area_px`` the area that the drawn shares add up to.
    """

    center_px: Floats
    to_unit: Floats
    waves: NDArray[np.complex128]
    area_px: Floats

    def reach_px(self) -> Floats:
        """Farthest that a grain reaches from its centre, px."""
        # The longest semi-axis is the inverse of the smallest singular value.
        m = self.to_unit
        total = (m**2).sum(axis=(1, 2))
        det = m[:, 0, 0] * m[:, 1, 1] - m[:, 0, 1] * m[:, 1, 0]
        smallest = np.sqrt((total - np.sqrt(np.maximum(total**2 - 4 * det**2, 0))) / 2)
        return np.asarray((1 + np.abs(self.waves).sum(axis=1)) / smallest)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stamp:
    """One drawn grain: its number, the rows and columns of the raster, and arrays of that box.

    ``share`` is how much of each pixel it covers. ``unit`` of shape (H, W, 2) is each pixel's
    place in the grain's own axes.
    """

    number: int
    rows: slice
    columns: slice
    share: Image
    unit: Image


def unit_maps(a_mm: Floats, b_mm: Floats, angle_rad: Floats, px_per_mm: Floats) -> Floats:
    """Return maps from pixel offsets to the grains' own axes, shape (N, 2, 2).

    Parameters
    ----------
    a_mm, b_mm, angle_rad : ndarray of shape (N,)
        Semi-axes and the direction of the first.
    px_per_mm : ndarray of shape (N, 2, 2)
        Derivative of pixel by floor place.
    """
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    own = np.stack([np.stack([cos / a_mm, sin / a_mm], -1), np.stack([-sin / b_mm, cos / b_mm], -1)], -2)
    return np.asarray(own @ np.linalg.inv(px_per_mm))


def stamps(shape: tuple[int, int], outlines: Outlines, soft_px: Floats | None = None) -> Iterator[Stamp]:
    """Draw outlines one after another, large ones first.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the raster; what reaches beyond is cut off.
    outlines : Outlines
        What to draw.
    soft_px : ndarray of shape (N,), optional
        Width over which the edge fades, such as a shadow's; unless given, edges are sharp.

    Yields
    ------
    Stamp

    Notes
    -----
    Each pixel is sampled 2 by 2 to 6 by 6 times; a sample's share follows from its distance to the
    outline, F / |∇F| to first order. What the shares of a whole grain then miss of its true area is
    spread over its rim, in proportion to share × (1 − share).
    """
    reach = outlines.reach_px() + (0 if soft_px is None else soft_px / 2)
    need = np.ceil(reach + 1).astype(int)
    class_of = np.searchsorted(_HALF_SIDES, need)
    if (class_of == len(_HALF_SIDES)).any():
        raise ValueError(f"a grain reaches {need.max()} px; {_HALF_SIDES[-1]} are the most")
    for size_class in np.unique(class_of)[::-1]:
        half = _HALF_SIDES[size_class]
        # Samples a pixel and axis: fine for small grains, where the curved edge crosses few pixels.
        fine = 2 if soft_px is not None or half > 8 else 4 if half > 3 else 6
        members = np.flatnonzero(class_of == size_class)
        step = max(1, _CHUNK // ((2 * half + 1) * fine) ** 2)
        for start in range(0, len(members), step):
            yield from _draw(shape, outlines, members[start : start + step], half, fine=fine, soft_px=soft_px)


def _draw(
    shape: tuple[int, int],
    outlines: Outlines,
    members: NDArray[np.intp],
    half: int,
    *,
    fine: int,
    soft_px: Floats | None,
) -> Iterator[Stamp]:
    side = 2 * half + 1
    base = np.round(outlines.center_px[members]).astype(int)
    visible = (base >= -half).all(1) & (base[:, 0] < shape[1] + half) & (base[:, 1] < shape[0] + half)
    members, base = members[visible], base[visible]
    if not len(members):
        return
    part = np.asarray(base - outlines.center_px[members], np.float32)
    maps = outlines.to_unit[members].astype(np.float32)
    soft = np.full(len(members), 1 / fine, np.float32)
    if soft_px is not None:
        soft = np.maximum(soft, soft_px[members].astype(np.float32))
    samples = (np.arange(side * fine, dtype=np.float32) + np.float32(0.5)) / fine - np.float32(half + 0.5)
    unit = _in_own_axes(np.asarray(samples, np.float32), part, maps)
    share = _sample_shares(unit, maps, outlines.waves[members], soft)
    share = share.reshape(len(members), side, fine, side, fine).mean(axis=(2, 4))
    share = _exact_area(share, outlines.area_px[members].astype(np.float32))
    middle = _in_own_axes(np.asarray(np.arange(-half, half + 1), np.float32), part, maps)
    for i, number in enumerate(members):
        left, top = base[i] - half
        x0, y0 = max(left, 0), max(top, 0)
        x1, y1 = min(left + side, shape[1]), min(top + side, shape[0])
        if x0 < x1 and y0 < y1:
            box = (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
            yield Stamp(
                number=int(number), rows=slice(y0, y1), columns=slice(x0, x1), share=share[i][box], unit=middle[i][box]
            )


def _in_own_axes(offsets: Image, part: Image, maps: Image) -> Image:
    """Places of a box's points in the grains' own axes, shape (N, S, S, 2)."""
    dx = offsets[None, None, :] + part[:, 0, None, None]
    dy = offsets[None, :, None] + part[:, 1, None, None]
    m = maps[:, :, :, None, None]
    return np.stack([m[:, 0, 0] * dx + m[:, 0, 1] * dy, m[:, 1, 0] * dx + m[:, 1, 1] * dy], axis=-1)


def _sample_shares(unit: Image, maps: Image, waves: NDArray[np.complex128], soft: Image) -> Image:
    qx, qy = unit[..., 0], unit[..., 1]
    q = np.sqrt(qx * qx + qy * qy) + np.float32(1e-6)
    rho: Image | np.float32 = np.float32(1)
    if (waves != 0).any():
        cos, sin = qx / q, qy / q
        w = waves.astype(np.complex64)[:, :, None, None]
        # cos kθ and sin kθ by turning on from (k - 1) θ; HARMONICS follow one another.
        turned_cos, turned_sin = cos, sin
        rho = np.ones_like(q)
        for k, _ in enumerate(HARMONICS):
            turned_cos, turned_sin = turned_cos * cos - turned_sin * sin, turned_sin * cos + turned_cos * sin
            rho += w[:, k].real * turned_cos - w[:, k].imag * turned_sin
    m = maps[:, :, :, None, None]
    slope_x = m[:, 0, 0] * qx + m[:, 1, 0] * qy
    slope_y = m[:, 0, 1] * qx + m[:, 1, 1] * qy
    slope = np.sqrt(slope_x * slope_x + slope_y * slope_y) / q + np.float32(1e-9)
    distance = (q - rho) / slope
    return np.asarray(np.clip(np.float32(0.5) - distance / soft[:, None, None], 0, 1), np.float32)


def _exact_area(share: Image, area_px: Image) -> Image:
    for _ in range(2):
        rim = share * (1 - share)
        room = rim.sum(axis=(1, 2))
        missing = (area_px - share.sum(axis=(1, 2))) / np.maximum(room, np.float32(1e-6))
        share = np.clip(share + np.clip(missing, -1, 1)[:, None, None] * rim, 0, 1)
    return share
