"""Readings that were written down in one another's place: which exchange would put a run right."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from ..inputs.weighing import Net, Weighing
from ..stats.quantity import Quantity
from .agreement import ACTION, with_uncertainty
from .pickup import weighed_pickup

#: Readings of one load with a vessel and without, in a reader's words.
_READINGS = {
    "dispensed": "the full and the empty cup",
    "left in cup": "what was left in the cup and the cup",
    "bin": "the bin before and after the run",
    "emptied": "the full and the empty tray of the bin's content",
}
_MASSES = {
    "dispensed": "the portion",
    "left in cup": "what was left in the cup",
    "bin": "the bin",
    "emptied": "the bin's content",
}


@dataclass(frozen=True, slots=True)
class Exchange:
    """Two readings, in a reader's words, and the pickup by scale, percent, once they change places."""

    what: str
    pickup_percent: Quantity

    @property
    def sentence(self) -> str:
        """What the exchange explains."""
        then = with_uncertainty(self.pickup_percent)
        return f"{self.what} seem to be exchanged; the other way round the scale says {then} % and all of it fits"


def exchanges_that_explain(
    photo: Quantity, before_g: Quantity | None, weighing: Weighing, zones: Iterable[str] | None = None
) -> tuple[Exchange, ...]:
    """Exchanges of readings after which nothing is left to explain.

    Parameters
    ----------
    photo : Quantity
        Pickup by photo, percent.
    before_g : Quantity or None
        Mass of *before* by photo.
    weighing : Weighing
        As it was written down.
    zones : iterable of str, optional
        The zones of the patch.

    Returns
    -------
    tuple of Exchange
        The one that fits best first. With it no mass is negative, the balance has no flag, and photo and scale do
        not disagree, in pickup and, where it is known, in the mass of *before*.

    Notes
    -----
    Tried are the two readings of each mass, and two masses as a whole: those are the lines of a form that stand
    together or are alike. Any reading against any other would explain too much by chance.
    """
    zones = None if zones is None else tuple(zones)
    found: list[tuple[float, Exchange]] = []
    for what, other in _exchanged(weighing):
        if any(net.mass_g < 0 for net in other.nets.values()) or other.dispensed.mass_g <= 0:
            continue
        weighed = weighed_pickup(other, zones)
        pickup, dispensed = weighed.pickup_percent, weighed.balance.dispensed_g
        if pickup is None or weighed.balance.flags or dispensed.value <= 0:
            continue
        apart = [_apart(photo, pickup), *([] if before_g is None else [_apart(before_g, dispensed)])]
        if max(apart) < ACTION:
            found.append((math.hypot(*apart), Exchange(what, pickup)))
    return tuple(exchange for _, exchange in sorted(found, key=lambda pair: pair[0]))


def _apart(a: Quantity, b: Quantity) -> float:
    """Difference in standard uncertainties."""
    u = math.hypot(a.u, b.u)
    return abs(a.value - b.value) / u if u > 0 else math.inf


def _exchanged(weighing: Weighing) -> Iterator[tuple[str, Weighing]]:
    nets = weighing.nets
    for name, net in nets.items():
        if net.tare_g:
            yield (
                _READINGS.get(name, f"the full and the empty vessel of {_mass(name)}"),
                _with(weighing, {name: Net(net.tare_g, net.gross_g)}),
            )
    for a, b in combinations(nets, 2):
        yield f"{_mass(a)} and {_mass(b)}", _with(weighing, {a: nets[b], b: nets[a]})


def _mass(name: str) -> str:
    if name.startswith("swept "):
        zone = name.removeprefix("swept ")
        return "what was swept up" if zone == "total" else f"what was swept up ({zone})"
    return _MASSES.get(name, f"what was found elsewhere ({name})")


def _with(weighing: Weighing, nets: dict[str, Net]) -> Weighing:
    """Return the weighing with some of its masses replaced, by the names of `Weighing.nets`."""
    return replace(
        weighing,
        dispensed=nets.get("dispensed", weighing.dispensed),
        left_in_cup=nets.get("left in cup", weighing.left_in_cup),
        bin=nets.get("bin", weighing.bin),
        emptied=nets.get("emptied", weighing.emptied),
        swept={zone: nets.get(f"swept {zone}", net) for zone, net in weighing.swept.items()},
        elsewhere={part: nets.get(part, net) for part, net in weighing.elsewhere.items()},
    )
