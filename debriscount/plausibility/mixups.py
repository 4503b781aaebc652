"""Shots in the wrong order, of another run, or with debris where none can be; and debris files that do not fit."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ..arrays import Floats, Mask
from ..cover.kinds import KindHint
from ..cover.maps import CoverMaps
from ..errors import ShotOrderError
from ..flags import Flag
from ..grains.find import FoundGrains
from ..inputs.debris import DebrisKind
from ..leftovers.records import Explained
from ..photo.read import Photo
from ..pickup.grain_sizes import area_spread
from ..pickup.records import PassFigures
from .checks import TOO_FINE_PX
from .standing_out import LogViews

#: Fewest things that say something about a whole photo.
FEWEST = 10
#: How many times as much must stand out from the blank alone as from *before* alone for the two to be exchanged.
EXCHANGED = 3.0
#: Cover of a pixel and its neighbours from which it is taken for debris, whatever a grain may look like.
COVERED = 0.5
#: Share of a grain's pixels that another shot must cover for it to lie there too, and may cover if it does not.
THERE, NOT_THERE = 0.7, 0.1
#: Share of a later shot's debris that may seem to have come back to its old place, where so many grains did: none does
#: (none of 7 rendered runs of two passes), but fine ones may be overlooked in the shot between.
CAME_BACK, FEWEST_BACK = 0.1, 3
#: Share of the debris of *before* that lies on the blank as well, in how many grains, from which it is told: less may
#: be a flaw of the floor. What is seen is the least of it, since what stayed in all shots counts as floor.
TOLD, FEWEST_LYING = 0.002, 2
#: Untouched share of the leftovers, percent, below which they are those of another run: a machine leaves most of what
#: it leaves where it never went or only passed over it (59 to 100 % in 32 rendered passes).
OTHER_RUN_PERCENT = 20.0
#: Factor by which the usual thing may seem larger or smaller than it should by its file. Light and clumps moved it by
#: up to 1.4 in 35 rendered runs.
OTHER_SIZE = 1.8
#: Factor between a kind's small and large grains from which on its file tells no size: crumbs, which vary most of all
#: that is strewn by itself, vary by 3.
TELLS_NO_SIZE = 10.0
#: Lower quartile of a normal distribution in its standard deviations.
QUARTILE = -0.674
#: Things smaller than this are noise, px.
LEAST_PX = 4


def covered(cover: NDArray[np.float32]) -> Mask:
    """Where a shot shows debris of whatever shape and size, shape (H, W)."""
    return np.asarray(cv2.blur(cover, (3, 3)) > COVERED)


def lying_too(found: FoundGrains, there: Mask) -> Mask:
    """Which grains lie where ``there``, of shape (H, W), shows debris as well, shape (N,)."""
    return np.asarray(_share_in(found, there) >= THERE)


def came_back(found: FoundGrains, earlier: Mask, between: Mask) -> Mask:
    """Which grains lie where debris lay earlier but not in between, shape (N,); masks have shape (H, W)."""
    return lying_too(found, earlier) & (_share_in(found, between) <= NOT_THERE)


def check_shot_order(
    photos: Mapping[str, Photo],
    found: Mapping[str, FoundGrains],
    maps: CoverMaps,
    strewn: Mask,
    views: LogViews,
) -> None:
    """Raise ShotOrderError if the blank is *before*, or a later pass shows what an earlier one had taken.

    Parameters
    ----------
    photos : mapping of str to Photo
    found : mapping of str to FoundGrains
    maps : CoverMaps
        The cover of every shot.
    strewn : ndarray of bool, shape (H, W)
        The patch, as far as all shots show it.
    views : LogViews
    """
    if "blank" in found:
        blank, before = (covered(maps.shots[name].cover) & strewn for name in ("blank", "before"))
        more = blank.sum() > before.sum() and _things(blank) >= FEWEST
        # What the blank hides is not known as floor, nor, then, what is debris: but where things lie is.
        pair = ("blank", "before")
        went, came = (np.logical_and.reduce([*views.stands_out(*two), strewn]) for two in (pair, pair[::-1]))
        if more or (went.sum() > EXCHANGED * came.sum() and _things(went) >= FEWEST):
            raise ShotOrderError(
                f"{photos['blank'].name}: is given as the blank but shows more debris than {photos['before'].name}, "
                "given as before. Are the two exchanged?"
            )
    for one, other in pairwise(name for name in found if name.startswith("after")):
        back = came_back(found[other], found["before"].kind_map > 0, found[one].kind_map > 0)
        area = found[other].area_px
        # The floor's own pattern comes and goes as well; but of two passes exchanged the later one shows more debris.
        grown = area.sum() > found[one].area_px.sum()
        if grown and back.sum() >= FEWEST_BACK and area[back].sum() > CAME_BACK * area.sum():
            raise ShotOrderError(
                f"{photos[other].name}: {back.sum()} grains lie just where they lay before the first pass, and are "
                f"missing in {photos[one].name}, which is given as the earlier one. Give the passes in the order in "
                "which they were photographed."
            )


def blank_flags(before: FoundGrains, blank_cover: NDArray[np.float32]) -> list[Flag]:
    """A flag if debris of *before* lay on the floor of the blank already; cover has shape (H, W)."""
    lying = lying_too(before, covered(blank_cover))
    share = float(before.area_px[lying].sum() / max(before.area_px.sum(), 1e-9))
    if lying.sum() < FEWEST_LYING or share < TOLD:
        return []
    return [
        Flag(
            code="debris-on-blank",
            severity="unfit",
            sentence=f"{lying.sum()} grains, {100 * share:.1f} % of the debris before the first pass, lie on the blank "
            "as well. Give a photo of the clean floor, or leave --blank out",
            shot="blank",
        )
    ]


def other_run_flags(passes: Sequence[PassFigures], explained: Explained, hints: Sequence[KindHint]) -> list[Flag]:
    """A flag for every pass of whose leftovers hardly any lay there before; none for grains found by chance alone."""
    if min(hint.size_px[0] for hint in hints) < TOO_FINE_PX:
        return []
    flags = []
    for figures in passes:
        why = explained.why(figures.number)
        left = None if why is None else why.leftovers.zones.get("patch")
        share = None if left is None else left.untouched_percent
        if share is not None and share < OTHER_RUN_PERCENT and figures.zones["patch"].after.grains >= 2 * FEWEST:
            flags.append(
                Flag(
                    code="another-run",
                    severity="doubtful",
                    sentence=f"of what pass {figures.number} left only {share:.0f} % lay in its place before. Is the "
                    "photo of another run? If the machine moved all that it left, the figure stands",
                    shot="after" if figures.number == 1 else f"after{figures.number}",
                )
            )
    return flags


def size_flags(
    kinds: Sequence[DebrisKind],
    hints: Sequence[KindHint],
    cover: NDArray[np.float32],
    strewn: Mask,
    mm_per_px: float,
) -> list[Flag]:
    """A flag if debris is much larger or smaller than the files say, by what hangs together in ``cover``, (H, W).

    There is one as well for a file whose sizes are too far apart to say anything.
    That is looked at before grains are told, which goes by the files' sizes.
    """
    if not all(hint.size_known for hint in hints):
        return []
    wide = [kind for kind, hint in zip(kinds, hints, strict=True) if hint.size_px[1] > TELLS_NO_SIZE * hint.size_px[0]]
    if wide:
        return [_no_size_flag(wide[0])]
    usual, wanted = usual_size_px(covered(cover) & strewn), [_quartile_px(hint) for hint in hints]
    if usual is None or min(wanted) / OTHER_SIZE <= usual <= max(wanted) * OTHER_SIZE:
        return []
    low, high = min(hint.size_px[0] for hint in hints), max(hint.size_px[1] for hint in hints)
    files, word = " and ".join(kind.name for kind in kinds), "smaller" if usual < min(wanted) else "larger"
    return [
        Flag(
            code="grain-size",
            severity="doubtful",
            sentence=f"things of the debris' colour are about {usual * mm_per_px:.2g} mm across, and {word} than the "
            f"debris file says of {files} ({low * mm_per_px:.2g} to {high * mm_per_px:.2g} mm). Is it the right file?",
        )
    ]


def _no_size_flag(kind: DebrisKind) -> Flag:
    low, high = kind.size_mm
    return Flag(
        code="size-range",
        severity="doubtful",
        sentence=f"the debris file says that grains of {kind.name} measure {low:.2g} to {high:.2g} mm, so that a stain "
        "or a cable may pass for one. Give the 5th and 95th percentile of their diameters",
    )


def usual_size_px(mask: Mask) -> float | None:
    """Diameter of the usual thing in a mask of shape (H, W), px; None where there are too few.

    The lower quartile by area leaves out specks, which have little, and clumps, which have the most; where clumps have
    nearly all, half of the things are no larger than the median by number.
    """
    _, _, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    area = np.sort(stats[1:, cv2.CC_STAT_AREA].astype(float))
    area = area[area >= LEAST_PX]
    if len(area) < FEWEST:
        return None
    quartile = area[np.searchsorted(np.cumsum(area), area.sum() / 4)]
    return float(2 * np.sqrt(min(quartile, max(np.median(area), 0.25 * quartile)) / np.pi))


def _quartile_px(hint: KindHint) -> float:
    """The lower quartile by area of a kind's diameters, which are log-normal, as far as things of that size are seen.

    By area the middle of the logarithm lies two of its variances higher (Hatch and Choate 1929).
    """
    spread = area_spread(hint) / 2
    middle = float(np.log(hint.size_px).mean()) + 2 * spread**2
    return max(float(np.exp(middle + QUARTILE * spread)), 2 * float(np.sqrt(LEAST_PX / np.pi)))


def _share_in(found: FoundGrains, mask: Mask) -> Floats:
    """Share of each grain's pixels that lie in a mask, shape (N,); 0 for a grain without any."""
    labels = np.where(found.kind_map > 0, found.labels, 0)
    rows, columns = np.nonzero(labels)
    number = labels[rows, columns] - 1
    pixels = np.bincount(number, minlength=len(found))
    return np.asarray(np.bincount(number, mask[rows, columns], len(found)) / np.maximum(pixels, 1))


def _things(mask: Mask) -> int:
    return int(cv2.connectedComponents(mask.astype(np.uint8))[0]) - 1
