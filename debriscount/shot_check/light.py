"""Light on the patch: what is burnt out, how uneven it is, and what has changed since the other shot."""

import cv2
import numpy as np

from ..arrays import Floats, Mask
from ..cover.discriminant import SHADE
from ..cover.light import FAINTEST, fit_quadratic, quadratic_basis
from ..photo.colour import luminance
from ..safety import LAMP
from .allowance import LEFT, allowance_percent, allowed_area_error
from .look import ShotLook
from .records import Finding, at_most, told

#: Share of the leftovers' area that a stop of exposure moves, since cameras smooth and sharpen dark pictures otherwise
#: than bright ones: the largest of simulated shots up to three stops apart.
A_STOP = 0.04
#: Change of red or blue against green between shots up to which light was matched without loss in simulated shots, as a
#: factor.
OTHER_COLOUR = 1.5
#: Departure from smooth light from which a place is called out, natural logarithm: what shade usually takes.
DEPARTS = SHADE
#: The same for light that is added, as a lamp mirrored in the floor does: a tenth of the light is the most that the
#: cover stage reckons with (SHEEN there), since nothing but a reflection adds to it.
ADDED = 0.1


def burnt_finding(look: ShotLook, want: float) -> Finding:
    """Judge how much of the patch is burnt out: no debris lighter than the floor, and little else, is seen there."""
    burnt = float((look.clipped[look.inside] > 0.5).mean()) if look.inside.any() else 0.0
    return at_most(
        "floor burnt out",
        100 * burnt,
        "% of the patch",
        allowance_percent(want),
        "all that is left may lie there unseen",
        f"Expose less, or move or turn the lamp whose reflection shows; {LAMP}.",
        "burnt-out",
    )


def uneven_finding(look: ShotLook) -> Finding:
    """Tell how uneven the light is, in stops between the brightest and the darkest part of a smooth surface."""
    surface = _surface(_log_light(look)[1], look.inside)
    return told("light, brightest to darkest", float(np.ptp(surface[look.inside])) / np.log(2), "stops", "smooth part")


def dark_finding(look: ShotLook) -> Finding:
    """Tell of a dark place in a shot that stands alone: shadow, or the floor's own pattern, which it cannot tell."""
    off = _log_light(look)[1]
    off = off - _surface(off, look.inside)
    largest = _largest((off < -2 * DEPARTS) & look.inside)
    share = 100 * float(largest.sum() / max(int(look.inside.sum()), 1))
    return told(
        "darker place",
        share,
        "% of the patch",
        f"more than {100 * (1 - np.exp(-2 * DEPARTS)):.0f} % darker than smooth light",
        f"A dark place lies {_where(largest, look)}: if it is a shadow, clear it." if share > 1 else "",
    )


def change_findings(look: ShotLook, other: ShotLook, want: float) -> list[Finding]:
    """Judge exposure, colour and evenness of light against another shot of the same patch, read by the same cells."""
    both = look.inside & other.inside
    ratio = np.log(np.maximum(look.light[1], FAINTEST) / np.maximum(other.light[1], FAINTEST))[both]
    red, green, blue = np.median(ratio, axis=0)
    stops = float(abs(green) / np.log(2))
    colour = float(np.exp(max(abs(red - green), abs(blue - green))))
    return [
        at_most(
            "exposure against the other shot",
            stops,
            "stops",
            allowed_area_error(want) / A_STOP,
            f"{allowance_percent(want):.2f} points with {100 * LEFT:.0f} % left",
            "Fix the exposure by hand for all shots.",
            "exposure-differs",
        ),
        at_most(
            "colour of light against the other shot",
            colour,
            "times",
            OTHER_COLOUR,
            "measured up to there",
            "Fix the white balance, and light both shots with the same lamps.",
            "colour-differs",
        ),
        _strange_finding(look, other, both, want),
    ]


def _strange_finding(look: ShotLook, other: ShotLook, both: Mask, want: float) -> Finding:
    """Judge what has come or gone besides debris: a shadow, a foot, a reflection."""
    off = strange_light(look, other)
    largest = _largest(((off < -DEPARTS) | (off > ADDED)) & both)
    share = float(largest.sum() / max(int(both.sum()), 1))
    darker = bool(largest.any() and off[largest].mean() < 0)
    what = "A shadow or a foot lies" if darker else "A reflection or a lamp shines"
    return at_most(
        "shadow, foot or reflection",
        100 * share,
        "% of the patch",
        allowance_percent(want) / LEFT,
        f"light {100 * (1 - np.exp(-DEPARTS)):.0f} % less or {100 * (np.exp(ADDED) - 1):.0f} % more than smooth",
        f"{what} {_where(largest, look)}: clear it{'' if darker else f'; {LAMP}'}.",
        "shadow",
    )


def strange_light(look: ShotLook, other: ShotLook) -> Floats:
    """Logarithm of the ratio of two shots' light less its smooth part, by cell, shape (rows, columns).

    Of each cell the dark, the middle and the bright readings are compared with the other shot's, and the smallest
    departure counts: light changes all of them, debris only some. 0 where they disagree in sign.
    """
    both = look.inside & other.inside
    logs = _log_light(look) - _log_light(other)
    off = logs - _surface(logs[1], both)
    alike = (np.sign(off) == np.sign(off[1])).all(axis=0)
    return np.asarray(np.where(alike, np.sign(off[1]) * np.abs(off).min(axis=0), 0.0))


def _log_light(look: ShotLook) -> Floats:
    return np.asarray(np.log(np.maximum(luminance(look.light), FAINTEST)), float)


def _surface(values: Floats, known: Mask) -> Floats:
    rows, columns = values.shape
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    basis = quadratic_basis(x.ravel(), y.ravel(), columns, rows)
    return np.asarray((basis @ fit_quadratic(basis, values.ravel(), known.ravel())).reshape(values.shape))


def _where(mask: Mask, look: ShotLook) -> str:
    down, right = (look.cell_mm * (float(v.mean()) + 0.5) if len(v) else 0.0 for v in np.nonzero(mask))
    return f"about {right:.0f} mm right and {down:.0f} mm down from the top left corner"


def _largest(mask: Mask) -> Mask:
    """The largest of the mask's connected parts."""
    count, labels, statistics, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count == 1:
        return mask
    return np.asarray(labels == 1 + int(statistics[1:, cv2.CC_STAT_AREA].argmax()), bool)
