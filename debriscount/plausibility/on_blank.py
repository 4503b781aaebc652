"""Debris on the blank that a later shot shows gone, told from the photos alone: the floor learned may hold it."""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np

from ..arrays import Floats, Mask
from ..cover.colours import LearnedColour
from ..cover.floor import disc
from ..cover.kinds import KindHint
from ..cover.membership import KIND_SD, colour_places
from ..flags import Flag
from ..grains.find import FoundGrains
from ..stats.robust import robust_sd
from .mixups import FEWEST
from .standing_out import CHANGED, LogViews, largest_difference

#: How many robust deviations the last shot must differ from blank and *before*, in the logarithm of any channel, and
#: how much those two may differ.
SURE, ALIKE = 6.0, 0.25
#: Spreads within a kind up to which a thing has its colour, and the least grain of which a colour is seen, px.
NEAR, LEAST_PX = 3.0, 3.0
#: Area of such things over that of the debris of *before* from which it is told: 0.0003 at most in 18 rendered runs.
TOLD = 0.01


def gone_flags(
    views: LogViews,
    where: Mask,
    found: Mapping[str, FoundGrains],
    hints: Sequence[KindHint],
    colours: Sequence[LearnedColour],
) -> list[Flag]:
    """A flag if grains lie on the blank as in *before* and are gone in the last shot; arguments as `unnamed_flags`."""
    if "blank" not in views.matched or min(hint.size_px[0] for hint in hints) < LEAST_PX or not where.any():
        return []
    last = list(views.matched)[-1]
    sizes = min(h.size_px[0] for h in hints), max(h.size_px[1] for h in hints)
    kinds = [c.mean for c in colours]
    mask = gone_places(views, last, where, kinds, sizes)
    share = float(mask.sum() / max(int(((found["before"].kind_map > 0) & where).sum()), 1))
    number = cv2.connectedComponents(mask.astype(np.uint8))[0] - 1
    if share < TOLD or number < FEWEST:
        return []
    return [
        Flag(
            code="debris-on-blank",
            severity="unfit",
            sentence=f"{number} things of the debris' colour lie on the blank as in before, and are gone in {last}. "
            "Give a photo of the clean floor, or leave --blank out",
            shot="blank",
        )
    ]


def gone_places(
    views: LogViews,
    last: str,
    where: Mask,
    colours: Sequence[Floats],
    sizes_px: tuple[float, float],
) -> Mask:
    """Where blank and *before* show a thing of a kind's colour alike, and the last shot what lies around it.

    Masks have shape (H, W); ``colours`` are linear, shape (3,) each. ``sizes_px`` are a small and a
    large grain's diameter. Beside a grain of the last shot it is that shot which departs from its surroundings, by
    shade: so this holds among leftovers as well.
    """
    stayed, went = (largest_difference(views.log("blank"), views.log(other)) for other in ("before", last))
    lay, gone = views.stands_out("blank", last)
    limit = max(CHANGED, SURE * robust_sd(went[where], 0.0))
    mask = ((went > limit) & (stayed < ALIKE) & lay & gone & where).astype(np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(max(round(sizes_px[0] / 6), 1))), np.uint8)
    count, labels = cv2.connectedComponents(mask)
    rows, columns = np.nonzero(labels)
    label = labels[rows, columns]
    pixels = np.maximum(np.bincount(label, minlength=count), 1)
    blank = views.matched["blank"]
    colour = np.stack([np.bincount(label, blank[rows, columns, c], count) / pixels for c in range(3)], axis=-1)
    own = np.zeros(count, bool)
    for kind in colours:
        z = (colour_places(colour) - colour_places(np.asarray(kind)[None])) / KIND_SD
        own |= (z**2).sum(axis=1) < NEAR**2
    own[0] = False
    return np.asarray(own[labels])
