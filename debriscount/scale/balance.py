"""Mass balance of a run: what was dispensed must be in the bin, swept up, elsewhere, or unaccounted for."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ..inputs.weighing import Net, Weighing
from ..safety import MACHINE_OFF
from ..stats.quantity import Quantity, chance_of
from ..stats.repeats import mean_and_spread
from .readings import Masses, ScaleErrors, net_masses, stated_repeatability

#: A difference is beyond doubt when a sound weighing shows one as large, either way, less than once in a thousand.
DOUBT = 0.001
#: By name, weights that make a mass of the balance out of the masses weighed.
Weights = dict[str, float]


@dataclass(frozen=True, slots=True)
class BalanceFlag:
    """Something that a sound weighing would not show.

    ``kind`` is "impossible" (more was found than dispensed), "unaccounted" (part of what was dispensed was not found),
    "bin loss" (the bin became lighter), "bin residue" (the bin kept part of what it gained), "cup tare" and "bin tare"
    (not as heavy as when clean), or "repeats" (readings of one load disagree). ``excess_g`` is by how much, with its
    uncertainty; ``probability`` how often a sound weighing shows as much, either way.
    """

    kind: str
    message: str
    excess_g: Quantity
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """Where the debris dispensed went, grams; None for what was not weighed.

    ``unaccounted_g`` is dispensed less bin, swept and elsewhere. Only where the balance is ``closed``, bin and all
    leftovers weighed, is that a loss; otherwise it holds leftovers too, and may still not be negative. ``swept_g`` is
    the sum over zones.
    """

    dispensed_g: Quantity
    left_in_cup_g: Quantity | None
    bin_g: Quantity | None
    swept_g: Quantity | None
    elsewhere_g: Quantity | None
    unaccounted_g: Quantity | None
    closed: bool
    flags: tuple[BalanceFlag, ...]


def balance_weights(weighing: Weighing) -> dict[str, Weights]:
    """Which masses make up each part of the balance.

    Returns
    -------
    dict of str to dict of str to float
        "dispensed" and, as far as they were weighed, "bin", "swept", "elsewhere" and "unaccounted".
    """
    dispensed: Weights = {"dispensed": 1.0} | ({"left in cup": -1.0} if weighing.left_in_cup else {})
    parts: dict[str, Weights] = {"dispensed": dispensed}
    if weighing.bin or weighing.emptied:
        # The bin itself says more than what came out of it: nothing stays behind unseen.
        parts["bin"] = {"bin" if weighing.bin else "emptied": 1.0}
    if weighing.swept:
        parts["swept"] = {f"swept {zone}": 1.0 for zone in weighing.swept}
    if weighing.elsewhere:
        parts["elsewhere"] = dict.fromkeys(weighing.elsewhere, 1.0)
    if "bin" in parts:
        found = [weights for name, weights in parts.items() if name != "dispensed"]
        parts["unaccounted"] = summed([(1.0, dispensed), *((-1.0, weights) for weights in found)])
    return parts


def summed(terms: Iterable[tuple[float, Mapping[str, float]]]) -> Weights:
    """Sum of weights, each times a factor."""
    total: Weights = {}
    for factor, weights in terms:
        for name, weight in weights.items():
            total[name] = total.get(name, 0.0) + factor * weight
    return total


def mass_balance(weighing: Weighing, weighed: Masses, errors: ScaleErrors, *, swept_all: bool = True) -> Balance:
    """Balance of a weighing, with what in it cannot be.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.
    weighed : Masses
        Its masses, from `debriscount.scale.readings.masses`.
    errors : ScaleErrors
        Of its scale.
    swept_all : bool
        Whether what was swept up is all that was left; otherwise the rest is part of what is unaccounted for.

    Returns
    -------
    Balance
    """
    parts = {name: weighed.combined(weights) for name, weights in balance_weights(weighing).items()}
    closed = "bin" in parts and "swept" in parts and swept_all
    unaccounted = parts.get("unaccounted")
    flags = [
        *_sum_flags(unaccounted, closed),
        *_bin_flags(weighing, weighed),
        *_tare_flags(weighing, errors),
        *_repeat_flags(weighing, errors),
    ]
    return Balance(
        dispensed_g=parts["dispensed"],
        left_in_cup_g=weighed.combined({"left in cup": 1.0}) if weighing.left_in_cup else None,
        bin_g=parts.get("bin"),
        swept_g=parts.get("swept"),
        elsewhere_g=parts.get("elsewhere"),
        unaccounted_g=unaccounted,
        closed=closed,
        flags=tuple(flags),
    )


def _sum_flags(unaccounted: Quantity | None, closed: bool) -> Iterable[BalanceFlag]:
    if unaccounted is None or chance_of(unaccounted) >= DOUBT:
        return
    if unaccounted.value < 0:
        advice = "Was the scale set to zero, the bin clean before the run, all of the portion weighed?"
        yield _flag("impossible", "{} more was found than dispensed, which is impossible{}. " + advice, unaccounted)
    elif closed:
        advice = f"Look at brush, filter and wheels ({MACHINE_OFF}), and for what was spilled or lies outside."
        yield _flag("unaccounted", "{} of what was dispensed was found nowhere{}. " + advice, unaccounted)


def _bin_flags(weighing: Weighing, weighed: Masses) -> Iterable[BalanceFlag]:
    if weighing.bin is None:
        return
    gain = weighed.combined({"bin": 1.0})
    if gain.value < 0 and chance_of(gain) < DOUBT:
        says = "the bin weighs {} less after the run than before{}. Are the readings exchanged?"
        yield _flag("bin loss", says, gain)
    if weighing.emptied is None:
        return
    residue = weighed.combined({"bin": 1.0, "emptied": -1.0})
    if chance_of(residue) < DOUBT:
        says = "the bin kept {} of what it gained" if residue.value > 0 else "the bin gave {} more than it gained"
        yield _flag("bin residue", says + "{}. Is it clean, and the tare right?", residue)


def _tare_flags(weighing: Weighing, errors: ScaleErrors) -> Iterable[BalanceFlag]:
    """Cup and bin against what they weigh when clean."""
    for what, net, usual_g in (
        ("cup", weighing.dispensed, weighing.usual_cup_g),
        ("bin", weighing.bin, weighing.usual_bin_g),
    ):
        if net is None or not net.tare_g or not usual_g:
            continue
        excess = net_masses({"excess": Net(net.tare_g, usual_g)}, errors).combined({"excess": 1.0})
        if chance_of(excess) < DOUBT:
            than = "heavier" if excess.value > 0 else "lighter"
            advice = "Is it clean, the same one, and was the scale set to zero?"
            yield _flag(f"{what} tare", f"the {what} is {{}} {than} than when clean{{}}. {advice}", excess)


def _repeat_flags(weighing: Weighing, errors: ScaleErrors) -> Iterable[BalanceFlag]:
    """Repeats that scatter more than the scale does: chi-squared test of their variance, F where that is a guess."""
    from scipy.special import chdtrc, fdtrc

    repeatability_g, known = stated_repeatability(weighing.scale)  # not what these repeats say themselves
    usual = repeatability_g**2 + errors.digit_g**2
    for name, net in weighing.nets.items():
        for load in (net.gross_g, net.tare_g):
            dof = len(load) - 1
            if dof < 1:
                continue
            ratio = mean_and_spread(load)[1] ** 2 / usual
            often = float(chdtrc(dof, dof * ratio) if math.isinf(known) else fdtrc(dof, known, ratio))
            if often < DOUBT:
                apart = Quantity(max(load) - min(load), math.sqrt(2 * usual), known)
                yield BalanceFlag(
                    "repeats",
                    f"repeats of one load ({name}) are {apart.value:.3g} g apart, more than the scale"
                    f" scatters{_odds(often)}. Is one of them misread?",
                    apart,
                    often,
                )


def _flag(kind: str, says: str, excess: Quantity) -> BalanceFlag:
    """Flag whose sentence has places for the amount and for how often it comes by chance."""
    often = chance_of(excess)
    amount = Quantity(abs(excess.value), excess.u, excess.dof)
    return BalanceFlag(kind, says.format(f"{amount.text()} g", _odds(often)), excess, often)


def _odds(often: float) -> str:
    return " (chance below one in a million)" if often < 1e-6 else f" (chance {often:.1g})"
