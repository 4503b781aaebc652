"""Which fault of a shot is the cause of which: what to put right first, and what goes away with it."""

from collections.abc import Iterable, Sequence

from .records import Finding

#: Every fault, causes before their symptoms, each with the faults that explain it: what is blurred, say, also has its
#: markers off their places, and measuring them again would not help.
EXPLAINED_BY: dict[str, tuple[str, ...]] = {
    "wants-too-much": (),
    "same-photo": (),
    "markers-hidden": (),
    "not-found": (),
    "grain-size": (),
    "size-range": (),
    "unnamed-debris": ("grain-size",),
    "foreign-thing": ("unnamed-debris", "grain-size"),
    "solid-thing": ("grain-size",),
    "patch-cut": (),
    "blurred": (),
    "other-blurred": ("blurred",),
    "slanted": (),
    "burnt-out": (),
    "shadow": ("burnt-out", "foreign-thing"),
    "too-coarse": (),
    "faint": ("burnt-out",),
    "compressed": (),
    "noisy": ("faint",),
    "too-alike": ("faint", "noisy", "compressed"),
    "markers-off": ("blurred", "markers-hidden"),
    "places-uncertain": ("blurred", "markers-hidden", "markers-off", "slanted"),
    "sizes-differ": ("slanted",),
    "exposure-differs": ("burnt-out",),
    "colour-differs": ("burnt-out",),
    "compression-differs": ("compressed",),
    "noise-differs": ("blurred", "other-blurred", "noisy", "compressed", "exposure-differs", "compression-differs"),
}


def causes(faults: Iterable[Finding], elsewhere: Iterable[Finding] = ()) -> tuple[Finding, ...]:
    """Faults that no other explains, causes first; of several with one code that farthest beyond its limit.

    Parameters
    ----------
    faults : iterable of Finding
        Of one shot.
    elsewhere : iterable of Finding
        Faults of the shot that it was held against, which explain as well.
    """
    worst: dict[str, Finding] = {}
    for finding in sorted(faults, key=lambda fault: -fault.excess):
        worst.setdefault(finding.code, finding)
    there = {*worst, *(finding.code for finding in elsewhere)}
    order: Sequence[str] = [*EXPLAINED_BY, *sorted(set(worst) - set(EXPLAINED_BY))]
    return tuple(worst[code] for code in order if code in worst and not there.intersection(EXPLAINED_BY.get(code, ())))
