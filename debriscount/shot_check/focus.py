"""How sharp a shot is, by the edges of the markers' black squares."""

import math
from collections.abc import Mapping

import numpy as np

from ..cover.kinds import BLUR_PX, OUTLINED_PX
from ..markers.find_markers import SeenMarker
from .allowance import LEFT, allowance_percent, allowed_area_error
from .records import Finding, at_most, told

#: From 10 to 90 % an edge under a Gaussian blur of standard deviation s spans 2 × 1.2816 s.
SPREAD_OF_SIGMA = 2.5631
#: Diameter of a grain, over the blur's standard deviation, whose middle keeps half its contrast:
#: 1 - exp(-d² / 8 s²) = 1/2.
HALF_CONTRAST = math.sqrt(8 * math.log(2))
#: Share of what blur takes from an outlined grain that it takes from one too fine to have an outline, whose cover is
#: summed (simulated shots whose blur differed, grains of 3 px).
SUMMED = 0.15


def edge_spread_px(markers: Mapping[int, SeenMarker]) -> float | None:
    """Middle 10 to 90 % width of the markers' edges, px; None where none can be read."""
    spreads = [m.spread_px for m in markers.values() if m.spread_px is not None]
    return float(np.median(spreads)) if spreads else None


def spread_limit_px(grain_px: float, other_px: float | None, want: float) -> float:
    """Widest edge that will do beside another shot's, or a sharp one's, 10 to 90 %, px.

    A blur of standard deviation s moves the half-way contour of a disc of radius r inwards by s² / 2 r (first order in
    its curvature), so areas of diameter d shrink by the share 4 s² / d²: what counts is the difference between shots.
    Cover that is summed suffers less.
    """
    sharp = BLUR_PX if other_px is None else other_px / SPREAD_OF_SIGMA
    apart = allowed_area_error(want) * grain_px**2 / 4 / (1 if grain_px >= OUTLINED_PX else SUMMED)
    return SPREAD_OF_SIGMA * math.sqrt(sharp**2 + apart)


def resolved_spread_px(grain_px: float) -> float:
    """Widest edge, 10 to 90 %, at which a grain's middle keeps half of its contrast, px."""
    return SPREAD_OF_SIGMA * grain_px / HALF_CONTRAST


def sharpness_findings(
    spread_px: float | None, mm_per_px: float, grain_mm: float | None, other_px: float | None, want: float
) -> list[Finding]:
    """Judge the spread of edges by the grains and by the other shot's."""
    if spread_px is None:
        return [told("edge spread", None, "px", "no marker's edge can be read", "Keep glare and dirt off the markers.")]
    if grain_mm is None:
        return [
            told("edge spread", spread_px, "px", "10 to 90 % of the markers' edges", _in_mm(spread_px, mm_per_px)),
        ]
    grain_px = grain_mm / mm_per_px
    cost = f"blur shrinks grains: {allowance_percent(want):.2f} points with {100 * LEFT:.0f} % left"
    found = [
        at_most(
            "edge spread",
            spread_px,
            "px",
            min(spread_limit_px(grain_px, other_px, want), resolved_spread_px(grain_px)),
            cost + ("" if other_px is None else f"; the other shot has {other_px:.1f} px"),
            f"Focus on the floor and hold still or use a stand ({_in_mm(spread_px, mm_per_px)}).",
            "blurred",
        )
    ]
    if other_px is not None:
        found.append(
            at_most(
                "edge spread of the other shot",
                other_px,
                "px",
                spread_limit_px(grain_px, spread_px, want),
                "both must be about as sharp",
                "The other shot is less sharp than this one: retake that, if it can be.",
                "other-blurred",
            )
        )
    return found


def _in_mm(spread_px: float, mm_per_px: float) -> str:
    return f"{spread_px * mm_per_px:.2f} mm on the floor"
