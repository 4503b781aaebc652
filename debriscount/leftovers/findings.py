"""Why debris stayed, in plain words: one sentence for each finding, the one that explains most first."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from ..stats.proportion import Interval
from .records import (
    CornerReach,
    Explanation,
    Lanes,
    Leftovers,
    MissedPlace,
    PassStep,
    Reach,
    Scatter,
    WallPickup,
    Walls,
)
from .wording import around, length_text, share_text

#: From 0 degrees, along x, in steps of 45; y points down.
_TOWARDS = ("right", "bottom right", "bottom", "bottom left", "left", "top left", "top", "top right")
_FILLED = 0.5  # a place that fills less of the box around it is no box
_TOLD_ENOUGH = 0.9  # share of the patch: what is told of less holds for a part, and the sentence says so
_LEFT = "of the leftovers"


def findings(
    leftovers: Leftovers,
    reach: Reach | None,
    lanes: Lanes | None,
    missed: Sequence[MissedPlace],
    walls: Walls,
    scatter: Scatter,
    step: PassStep | None = None,
) -> tuple[Explanation, ...]:
    """Say why debris stayed in a pass.

    Parameters
    ----------
    leftovers, reach, lanes, missed, walls, scatter
        What was found of the pass.
    step : PassStep, optional
        What the pass brought, with how much of what it did not reach the pass before had not reached either.

    Returns
    -------
    tuple of Explanation
        Those that explain most of the leftovers first, those without a share last. Shares overlap and must not be
        added: a strip between lanes was not reached either, and may lie along a wall. In brackets stand 95 % intervals.
        A figure that is unknown, that cannot be, or whose interval says nothing makes no sentence.
    """
    whole = leftovers.zones.get("patch")
    if whole is not None and whole.area_mm2 <= 0:
        return (Explanation("nothing left", None, "No debris is left in the patch."), *_flung(scatter))
    found = [
        *_strips(lanes, reach),
        *(_places(missed, lanes) if _is_told(reach) else ()),
        *_reached(reach, scatter),
        *_along_walls(walls),
        *_corners(walls.corners),
        *_moved(leftovers, scatter),
        *_flung(scatter),
        *_went(scatter),
        *_again(step),
    ]
    return tuple(sorted(found, key=lambda f: math.inf if f.share_percent is None else -f.share_percent))


def _strips(lanes: Lanes | None, reach: Reach | None) -> Iterator[Explanation]:
    if lanes is None:
        unseen = ""
        if reach is not None and reach.spacing_mm is not None:
            unseen = (
                f" Strips narrower than {reach.spacing_mm:.0f} mm, which is how far debris lies apart, may go unseen; "
                "if there are any, less was reached than is told."
            )
        yield Explanation("no lanes", None, f"No lanes are seen in what stayed.{unseen}")
        return
    number, width = len(lanes.strips), length_text(lanes.strip_mm, around(lanes.strip_mm, lanes.strip_u_mm))
    share = _share(lanes.share_percent)
    if number == 0 or share is None:
        return
    if number == 1:
        what, holds = f"A strip {width} wide between two lanes was never reached", "It holds"
    else:
        pitch = "" if lanes.pitch_mm is None else f" {length_text(lanes.pitch_mm)} apart"
        what, holds = f"Between lanes{pitch}, {number} strips {width} wide were never reached", "They hold"
    yield Explanation("strips", share, f"{what}. {holds} {share_text(share)} {_LEFT}.")


def _places(missed: Sequence[MissedPlace], lanes: Lanes | None) -> Iterator[Explanation]:
    """Places not reached, those of one sort together; strips only where the lanes do not say them already."""
    names = {
        "place": ("A place", "places"),
        "wide": ("A strip much wider than the others", "strips much wider than the others"),
        "strip": ("A strip", "strips"),
    }
    for what, (one, many) in names.items():
        some = [place for place in missed if place.what == what and place.share_percent > 0]
        share = _share(sum(place.share_percent for place in some))
        if not share or (what == "strip" and lanes is not None):
            continue
        extent = _extent(max(some, key=lambda place: place.area_mm2))
        which = f"{one}, {extent}, was" if len(some) == 1 else f"{len(some)} {many}, the largest {extent}, were"
        holds = "It holds" if len(some) == 1 else "They hold"
        yield Explanation(f"missed {what}", share, f"{which} never reached. {holds} {share_text(share)} {_LEFT}.")


def _extent(place: MissedPlace) -> str:
    """Sides of the box around a place, and its middle, in words."""
    corners = np.array(place.polygon_mm)
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    middle = f"x = {(left + right) / 2:.0f}, y = {(top + bottom) / 2:.0f} mm"
    box = f"{right - left:.0f} x {bottom - top:.0f} mm around {middle}"
    if place.area_mm2 < _FILLED * (right - left) * (bottom - top):
        return f"of {place.area_mm2 / 100:.0f} cm² within {box}"
    return f"about {box}"


def _is_told(reach: Reach | None) -> bool:
    """Whether the pass took enough to tell missed places from such where it took nothing."""
    whole = None if reach is None else reach.zones.get("patch")
    return whole is not None and whole.pickup_percent is not None


def _reached(reach: Reach | None, scatter: Scatter) -> Iterator[Explanation]:
    whole = None if reach is None else reach.zones.get("patch")
    if reach is None or whole is None:
        yield Explanation("reach unknown", None, "Where the machine went cannot be told.")
        return
    reached, pickup, interval = whole.share_percent, whole.pickup_percent, whole.interval95
    part = f" (known for {100 * reach.told_share:.0f} % of the patch)" if reach.told_share < _TOLD_ENOUGH else ""
    away = share_text(_rest_of(reached), _rest(interval))
    never = never95 = None
    # What was flung out is not picked up, but no leftover of the patch.
    flung = scatter.margin_percent or 0.0
    left = 0.0 if reached is None or pickup is None else 100 - reached * pickup / 100 - flung
    if reached is not None and left > 0:
        never = _share((100 - reached) / left * 100)
        never95 = None if interval is None else ((100 - interval[1]) / left * 100, (100 - interval[0]) / left * 100)
    if away is None:
        yield Explanation("reach unknown", None, "How much debris lay where the machine never went cannot be told.")
    else:
        # A pass that took next to nothing tells nothing of where it was.
        alike = " or where it took nothing, which looks the same" if pickup is None else ""
        sentence = f"{_capital(away)} of the debris lay where the machine never went{alike}{part}"
        holding = share_text(never, never95)
        more = "" if holding is None else f" That is {holding} {_LEFT}."
        yield Explanation("not reached", never, f"{sentence}.{more}")
    taken = share_text(pickup, whole.pickup_interval95)
    if taken is not None:
        passed = share_text(_rest_of(never), _rest(never95))
        more = "" if passed is None else f"; what it left there is {passed} {_LEFT}"
        yield Explanation("passed over", _rest_of(never), f"Where the machine went it picked up {taken}{more}.")


def _along_walls(walls: Walls) -> Iterator[Explanation]:
    for profile in walls.walls:
        share = _share(profile.share_percent)
        if profile.gap_mm is None or share is None:
            continue
        gap = length_text(profile.gap_mm, profile.gap_interval95)
        sentence = f"Along the {profile.wall} wall debris stayed up to {gap} from the foot"
        within, beyond = _share(profile.left_percent), _share(profile.beyond_percent)
        if within is not None:
            sentence += f": {share_text(within)} of what lay there"
            if beyond is not None:
                sentence += f", against {share_text(beyond)} on open floor"
        yield Explanation("wall", share, f"{sentence}. That is {share_text(share)} {_LEFT}.")
    if walls.walls and all(profile.gap_mm is None for profile in walls.walls):
        which = "the wall" if len(walls.walls) == 1 else "the walls"
        yield Explanation("no wall", None, f"Along {which} no strip is seen in which most of the debris stayed.")
    for found in walls.pickup:
        said = less_near_wall(found)
        if said:
            yield Explanation("near the wall", None, said)


def less_near_wall(found: WallPickup) -> str:
    """Say how much less was picked up near a wall than on open floor; empty where that is not known."""
    near, free, less, interval = found.near.percent, found.open.percent, found.less_percent, found.less_interval95
    if near is None or free is None or less is None or interval is None:
        return ""
    said = (
        f"Within {found.near_mm:g} mm of the {found.wall} wall {near:.0f} % was picked up, on open floor {free:.0f} %"
    )
    low, high = interval
    if low <= 0 <= high:
        return f"{said}; the difference may be chance (from {-low:.0f} points more to {high:.0f} less)."
    if less < 0:
        low, high = -high, -low
    return f"{said}: {abs(less):.0f} points {'less' if less > 0 else 'more'} ({low:.0f} to {high:.0f})."


def _corners(corners: Sequence[CornerReach]) -> Iterator[Explanation]:
    for corner in corners:
        share = _share(corner.share_percent)
        if corner.radius_mm is None or share is None:
            continue
        radius = length_text(corner.radius_mm, corner.radius_interval95)
        yield Explanation(
            "corner",
            share,
            f"In the corner of the {' and '.join(corner.walls)} walls debris stayed up to {radius} from the corner. "
            f"That is {share_text(share)} {_LEFT}.",
        )


def _moved(leftovers: Leftovers, scatter: Scatter) -> Iterator[Explanation]:
    whole = leftovers.zones.get("patch")
    if whole is None:
        return
    text = share_text(whole.shifted_percent, _rest(whole.untouched_interval95))
    if text is None:
        yield Explanation("moved unknown", None, f"How much {_LEFT} was moved cannot be told.")
        return
    sentence = f"{_capital(text)} {_LEFT} were moved but not picked up"
    median = scatter.median_distance_mm
    # Told of kinds that are matched alone, which must not pass for all.
    if median is not None and median > 0 and all(leftovers.matched.values()) and not text.startswith("at most"):
        sentence += f"; half of what the pass moved lies {length_text(median)} or more from where debris is missing"
    yield Explanation("moved", _share(whole.shifted_percent), f"{sentence}.")


def _flung(scatter: Scatter) -> Iterator[Explanation]:
    """Debris in the margin, where the interval tells it from none."""
    interval = scatter.margin_interval95
    if interval is None or interval[0] <= 0:
        return
    text = share_text(scatter.margin_percent, interval)
    if text is None:
        return
    side = ""
    if scatter.side is not None:
        most = scatter.margin_sides.get(scatter.side, 0.0) > 50
        side = f", {'most of it' if most else 'more than elsewhere'} over the {scatter.side} side"
    yield Explanation("flung", None, f"Debris was flung into the margin{side}: {text} of all.")


def _went(scatter: Scatter) -> Iterator[Explanation]:
    """Bare places that debris now lies on, and the direction that it took."""
    bare = _share(scatter.bare_percent)
    if bare:
        yield Explanation(
            "bare", None, f"{_capital(share_text(bare) or '')} of all debris was moved to places that were bare."
        )
    if scatter.direction_deg is not None and math.isfinite(scatter.direction_deg):
        towards = _TOWARDS[round(scatter.direction_deg / 45) % 8]
        yield Explanation("direction", None, f"Moved debris lies mostly to the {towards} of where some is missing.")


def _again(step: PassStep | None) -> Iterator[Explanation]:
    """What two passes missed alike, beside what chance would make of it."""
    if step is None:
        return
    both, chance = _share(step.missed_again_percent), _share(step.missed_again_by_chance_percent)
    if both is None or chance is None:
        return
    yield Explanation(
        "missed again",
        None,
        f"Of the debris that pass {step.number} did not reach, {share_text(both)} lay where the pass before had not "
        f"been either; by chance it would be {share_text(chance)}.",
    )


def _share(value: float | None) -> float | None:
    """Return a share that can be said of something; sums of rounded areas may exceed 100 by a hair."""
    if value is None or not math.isfinite(value) or not 0 <= value <= 100 + 1e-6:
        return None
    return min(value, 100.0)


def _rest(interval: Interval | None) -> Interval | None:
    return None if interval is None else (100 - interval[1], 100 - interval[0])


def _rest_of(share: float | None) -> float | None:
    return None if share is None else 100 - share


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
