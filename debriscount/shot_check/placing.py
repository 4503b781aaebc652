"""Where a shot was taken from: markers, angle, scale, and how well places on the floor are known."""

import math

import numpy as np

from ..camera.view import MIDDLE, camera_place
from ..inputs.patch import Patch
from ..registration.locate import LocatedShots
from .allowance import LEFT, allowance_percent, allowed_area_error
from .records import Finding, at_least, at_most, told

#: Markers that are needed, and those from which a moved one can be told.
NEEDED, TELLING = 3, 4
#: Steepest view that markers and floor places have been measured at (tests/benchmarks/geometry.py).
STEEPEST_DEG = 30.0
#: Share of their area by which grains of one pixel are measured wrong; it falls with the square of their size (the
#: usual camera's runs from 1 to 4 pixels in tests/benchmarks/grain_size.py, between those of dark and of light debris).
FINE = 0.15
#: Difference between the pickup of a zone and of what it borders on: half of what is possible.
ZONES_APART = 0.5


def marker_findings(located: LocatedShots, name: str, patch: Patch) -> list[Finding]:
    """Return what is to be said of the markers of one shot."""
    seen = len(located.markers[name])
    findings = [
        at_least(
            "markers seen",
            seen,
            f"of {len(patch.markers)}",
            NEEDED,
            "three fix the plane of the floor",
            "Uncover them.",
            "markers-hidden",
        )
    ]
    for number in located.missing[name]:
        findings.append(
            told(
                f"marker {number}",
                None,
                "mm",
                f"{TELLING} markers tell when one has moved",
                f"Marker {number} is not seen: uncover it, and keep glare and shadow edges off it.",
            )
        )
    for one in located.left_out[name]:
        findings.append(
            told(
                f"marker {one.id} off",
                one.off_mm,
                "mm",
                "held against the other markers",
                f"Marker {one.id} lies {one.off_mm:.1f} mm from its place and is left out: put it back, and retake.",
            )
        )
    return findings


def steepness_deg(located: LocatedShots, name: str, patch: Patch) -> float:
    """Angle between the line of sight to the patch's middle and the vertical, degrees."""
    x, y, height = camera_place(located.views[name])
    return math.degrees(math.atan2(math.hypot(x - patch.width_mm / 2, y - patch.height_mm / 2), height))


def tilt_finding(steep_deg: float) -> Finding:
    """Judge how slanted the view is."""
    return at_most(
        "slant of the view",
        steep_deg,
        "deg",
        STEEPEST_DEG,
        "markers and places are measured up to there",
        "Hold the camera over the middle of the patch, looking straight down.",
        "slanted",
    )


def silhouette(steep_deg: float) -> float:
    """Area of floor that a grain hides when seen at a slant, over that from straight above.

    A grain as high as `MIDDLE` has it is taken for an ellipsoid; projected along a line at angle a to the vertical its
    outline is an ellipse longer by sqrt(1 + (h / w)² tan² a) in closed form.
    """
    return math.sqrt(1 + (2 * MIDDLE * math.tan(math.radians(steep_deg))) ** 2)


def same_slant_finding(steep_deg: float, other_deg: float, want: float) -> Finding:
    """Judge how differently two shots see the same grains."""
    return at_most(
        "grains seen larger or smaller",
        100 * abs(silhouette(steep_deg) / silhouette(other_deg) - 1),
        "%",
        100 * allowed_area_error(want),
        f"with {100 * LEFT:.0f} % left it costs {allowance_percent(want):.2f} points",
        "Hold the camera where it was for the other shot.",
        "sizes-differ",
    )


def coarsest_mm_per_px(located: LocatedShots, name: str, patch: Patch) -> float:
    """Floor that a pixel spans at the farthest corner of the patch, mm."""
    return float(located.views[name].mm_per_px(patch.corners_mm()).max())


def least_grain_px(want: float) -> float:
    """Diameter of the finest grains that are measured well enough, px of the photo."""
    return math.sqrt(FINE / allowed_area_error(want))


def scale_findings(mm_per_px: float, grain_mm: float | None, want: float) -> list[Finding]:
    """Judge millimetres per pixel by the middle size of the finest debris, if it is known."""
    least = least_grain_px(want)
    reason = f"small grains are measured to {FINE:g} / px² of their area"
    if grain_mm is None:
        good = f"Good for grains from {least * mm_per_px:.1f} mm on; give the debris file to have it judged."
        return [told("scale", mm_per_px, "mm/px", reason, good)]
    return [
        told("scale", mm_per_px, "mm/px", "at the farthest corner of the patch"),
        at_least(
            "finest debris",
            grain_mm / mm_per_px,
            "px",
            least,
            reason,
            f"Go closer or use more megapixels: {grain_mm / least:.2f} mm of floor a pixel at most.",
            "too-coarse",
        ),
    ]


def border_u_mm(located: LocatedShots, name: str, patch: Patch) -> float:
    """Standard uncertainty of a place at the patch's corners from lens and plane, root mean square, mm."""
    shot = list(located.views).index(name)
    return float(np.sqrt((located.fitted.place_u_mm(shot, patch.corners_mm()) ** 2).mean()))


def place_findings(residual_mm: float, border_mm: float, patch: Patch, want: float) -> list[Finding]:
    """Judge what is left between markers and plane, and how well lens and plane are known at the patch's corners."""
    around = 2 * (1 / patch.width_mm + 1 / patch.height_mm)
    exposed = max(1 / patch.edge_mm, around) if patch.walls and patch.edge_mm > 0 else around
    limit = allowance_percent(want) / (100 * ZONES_APART * exposed)
    reason = "moves grains over a zone's border"
    return [
        at_most(
            "markers off their places",
            residual_mm,
            "mm",
            limit,
            reason,
            "Measure the markers' places again, and lay them flat.",
            "markers-off",
        ),
        at_most(
            "lens and plane uncertain",
            border_mm,
            "mm",
            limit,
            reason,
            "Put markers farther out and on all sides, or give --lens.",
            "places-uncertain",
        ),
    ]
