"""Debris that no file names: what came or went in another colour than any kind's and the floor's."""

from collections.abc import Mapping, Sequence

import cv2
import numpy as np

from ..arrays import Floats, Mask
from ..cover.colours import LearnedColour
from ..cover.floor import disc
from ..cover.kinds import KindHint
from ..cover.membership import colour_places
from ..flags import Flag
from ..grains.find import FoundGrains
from ..photo.colour import linear_to_srgb
from ..stats.robust import robust_sd, sampled
from .standing_out import LogViews

#: How many robust deviations of the floor's own a place must have changed by, and by how much at least: in the
#: logarithms of a colour's ratios, and of light, which only debris adds.
SURE, HUE, BRIGHTER = 6.0, 0.12, 0.15
#: Ratios of colours, as logarithms, within which a thing has a kind's colour; and within which it is floor in other
#: light, unless it is brighter by more.
OWN_COLOUR, FLOORS_OWN = np.array([0.2, 0.3]), 0.1
#: Rims that debris leaves beside its outline, px, and the least width of a thing, in small grains.
RIM_PX, LEAST = 2, 1 / 3
#: Area of such things over that of the debris told, from which it is said, and from which the figures are not fit to
#: publish. It was 0.02 at most in 24 rendered runs, and 0.07 to 1.7 where one of two kinds had no file.
SAID, SPOILS = 0.05, 0.3
#: Times as much as the debris named, from which on the number says no more.
MOST = 10.0
#: Every so many rows and columns the floor's own change is read.
SAMPLED = 2
#: Matrix by which `cv2.transform` makes ratios of red and blue over green, as logarithms, and light of a colour's.
_HUE_AND_LIGHT = np.array([[1, -1, 0], [0, -1, 1], [1 / 3, 1 / 3, 1 / 3]], np.float32)


def unnamed_flags(
    views: LogViews,
    where: Mask,
    found: Mapping[str, FoundGrains],
    hints: Sequence[KindHint],
    colours: Sequence[LearnedColour],
) -> list[Flag]:
    """A flag if something of a colour that no debris file names came or went.

    Parameters
    ----------
    views : LogViews
    where : ndarray of bool, shape (H, W)
        The patch, as far as all shots show it.
    found : mapping of str to FoundGrains
    hints, colours : sequence
        The kinds of debris. Where their grains are too small for an outline, nothing is said.
    """
    if not all(hint.size_known and hint.outlined for hint in hints) or not where.any():
        return []
    matched, last = views.matched, list(views.matched)[-1]
    pairs = (
        [(name, "blank") for name in matched if name != "blank"]
        if "blank" in matched
        else [("before", last), (last, "before")]
    )
    debris = np.logical_or.reduce([f.kind_map > 0 for f in found.values()])
    least_px = LEAST * min(hint.size_px[0] for hint in hints)
    means = [c.mean for c in colours]
    # Debris of *before* shades the floor, which is then brighter where it is gone.
    masks = {
        n: unnamed_places(views, n, bare, where, debris, means, least_px, by_light=bare != "before")
        for n, bare in pairs
    }
    name = max(masks, key=lambda n: int(masks[n].sum()))
    first = next(n for n in matched if n != "blank")
    named = int((found[first].kind_map > 0)[where].sum())
    share = float(masks[name].sum() / max(named, masks[name].sum() / MOST, 1))
    if share < SAID:
        return []
    red, green, blue = (
        round(255 * float(v)) for v in linear_to_srgb(np.median(sampled(matched[name][masks[name]]), axis=0))
    )
    return [
        Flag(
            code="unnamed-debris",
            severity="unfit" if share > SPOILS else "doubtful",
            sentence=f"something of the colour #{red:02x}{green:02x}{blue:02x} that no debris file names came or went, "
            f"{_as_much(share)}. Give a debris file for each kind that was strewn",
        )
    ]


def _as_much(share: float) -> str:
    return f"{100 * share:.0f} % as much as the debris named" if share < MOST else "and hardly any of the debris named"


def unnamed_places(
    views: LogViews,
    name: str,
    other: str,
    where: Mask,
    debris: Mask,
    colours: Sequence[Floats],
    least_px: float,
    by_light: bool = True,
) -> Mask:
    """Where a shot departs from another, ``least_px`` wide or more, to neither a kind's colour nor the floor's.

    Masks have shape (H, W), ``colours`` are linear, shape (3,) each. What is merely brighter than floor counts if
    ``by_light``.
    """
    change = cv2.subtract(views.log(name), views.log(other))
    planes = [np.asarray(plane, np.float32) for plane in cv2.split(cv2.transform(change, _HUE_AND_LIGHT))]
    some = where[::SAMPLED, ::SAMPLED]
    spread = [robust_sd(plane[::SAMPLED, ::SAMPLED][some], 0.0) if some.any() else 0.0 for plane in planes]
    red, blue, light = planes
    brighter = BRIGHTER if by_light else np.inf
    changed = light > max(brighter, SURE * spread[2])
    for hue, own in zip((red, blue), spread[:2], strict=True):
        changed |= np.abs(hue) > max(HUE, SURE * own)
    near = cv2.dilate(debris.astype(np.uint8), disc(RIM_PX)) > 0
    mask = (changed & ~near & where).astype(np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(max(round(least_px / 2), 1))), np.uint8)
    count, labels = cv2.connectedComponents(mask)
    # The middle of a thing tells its colour; its rim is mixed with floor.
    middle = cv2.erode(mask, disc(max(round(least_px / 2), 1)))
    view = views.matched[name]
    rows, columns = np.nonzero(np.where(middle > 0, labels, 0))
    label = labels[rows, columns]
    pixels = np.maximum(np.bincount(label, minlength=count), 1)
    things, floor = (
        colour_places(np.stack([np.bincount(label, v[rows, columns, c], count) / pixels for c in range(3)], axis=-1))
        for v in (view, views.matched[other])
    )
    usual = colour_places(np.median(sampled(view[where & ~near]), axis=0)[None]) if (where & ~near).any() else floor
    known = np.zeros(count, bool)
    for bare in (floor, usual):
        away = things - bare
        known |= (np.abs(away[:, :2]) < FLOORS_OWN).all(axis=1) & (away[:, 2] < brighter)
    for colour in colours:
        known |= (np.abs(things - colour_places(np.asarray(colour)[None]))[:, :2] < OWN_COLOUR).all(axis=1)
    known[0] = True
    return np.asarray(~known[labels])
