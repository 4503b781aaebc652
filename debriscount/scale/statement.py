"""A weighing and what follows from it, for people and for programs."""

import textwrap
from pathlib import Path
from typing import Any

from .. import __version__
from ..inputs.weighing import Weighing
from ..stats.quantity import Quantity
from .pickup import WeighedPickup, weighed_pickup
from .readings import scale_errors

FORMAT = "debriscount/weighing/1"
_GRAM_DECIMALS, _PERCENT_DECIMALS = 5, 4
_MANY = 1e4  # degrees of freedom that make no difference any more

JsonObject = dict[str, Any]


def weighing_record(weighing: Weighing) -> JsonObject:
    """Return a weighing that stands alone as a record: `weighing_json` with format and version."""
    return {"format": FORMAT, "version": __version__} | weighing_json(weighing, weighed_pickup(weighing))


def weighing_json(weighing: Weighing, weighed: WeighedPickup) -> JsonObject:
    """Return a weighing and its figures as plain JSON values.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.
    weighed : WeighedPickup
        What follows from it.

    Returns
    -------
    dict
        Grams and percent. An uncertain figure is ``{"value", "u", "dof", "interval95"}``, ``dof`` None where ``u`` is
        taken as known; what was not weighed is None.
    """
    balance, hair, errors = weighed.balance, weighed.hair, scale_errors(weighing)
    return {
        "file": Path(weighing.file).name,
        "sha256": weighing.sha256,
        "scale": {
            "readability_g": round(weighing.scale.readability_g, _GRAM_DECIMALS),
            "repeatability_g": round(errors.repeatability_g, _GRAM_DECIMALS),
            "linearity_g": weighing.scale.linearity_g,
            "kitchen": weighing.scale.repeatability_g is None or weighing.scale.linearity_g is None,
        },
        "balance": {
            "dispensed_g": _grams(balance.dispensed_g),
            "left_in_cup_g": _grams(balance.left_in_cup_g),
            "bin_g": _grams(balance.bin_g),
            "swept_g": _grams(balance.swept_g),
            "elsewhere_g": _grams(balance.elsewhere_g),
            "unaccounted_g": _grams(balance.unaccounted_g),
            "closed": balance.closed,
        },
        "zones": {zone: {"swept_g": _grams(mass)} for zone, mass in weighed.swept_g.items()},
        "elsewhere": {part: {"mass_g": _grams(mass)} for part, mass in weighed.elsewhere_g.items()},
        "pickup_percent": _percent(weighed.pickup_percent),
        "by_collection_percent": _percent(weighed.by_collection_percent),
        "by_residue_percent": _percent(weighed.by_residue_percent),
        "elsewhere_percent": _percent(weighed.elsewhere_percent),
        "unaccounted_percent": _percent(weighed.unaccounted_percent),
        "not_swept": list(weighed.not_swept),
        "hair": None
        if hair is None
        else {
            "bin_percent": _percent(hair.bin_percent),
            "brush_percent": _percent(hair.brush_percent),
            "left_percent": _percent(hair.left_percent),
            "wrap_percent": _percent(hair.wrap_percent),
        },
        "flags": [
            {"kind": f.kind, "message": f.message, "excess_g": _grams(f.excess_g), "probability": f.probability}
            for f in balance.flags
        ],
    }


def weighing_text(weighing: Weighing, width: int = 80) -> str:
    """Return a weighing's balance and pickup as lines for people, none over ``width``; what is doubtful comes last."""
    weighed = weighed_pickup(weighing)
    balance, hair = weighed.balance, weighed.hair
    grams = {"dispensed": balance.dispensed_g, "left in the cup": balance.left_in_cup_g, "bin": balance.bin_g}
    grams |= {"hair cut off" if part == "hair" else part: mass for part, mass in weighed.elsewhere_g.items()}
    grams |= {f"swept up, {zone}": mass for zone, mass in weighed.swept_g.items()}
    grams["unaccounted for" if balance.closed else "left or unaccounted for"] = balance.unaccounted_g
    percent = {
        "pickup by scale": weighed.pickup_percent,
        "  from what was collected": weighed.by_collection_percent,
        "  from what was left": weighed.by_residue_percent,
    }
    if hair is not None:
        percent |= {"hair in the bin": hair.bin_percent, "hair left": hair.left_percent}
        percent |= {"hair on the brush": hair.brush_percent, "  of all hair picked up": hair.wrap_percent}
    rows = [(name, mass.text(), "g") for name, mass in grams.items() if mass is not None]
    rows += [(name, share.text(), "%") for name, share in percent.items() if share is not None]
    if weighed.pickup_percent is None:
        rows.append(("pickup by scale", "unknown: weigh the bin or what is left", ""))
    names, cells = (max(len(row[i]) for row in rows) for i in (0, 1))
    lines = [f"{name:{names}}  {cell:>{cells}} {unit}".rstrip() for name, cell, unit in rows]
    zones = ", ".join(weighed.not_swept)
    doubts = [f"Not swept: {zones}. What was left there is unknown."] if zones else []
    doubts += [f"Warning: {flag.message}" for flag in balance.flags]
    return "\n".join([*lines, *(textwrap.fill(doubt, width, subsequent_indent="  ") for doubt in doubts)]) + "\n"


def _grams(quantity: Quantity | None) -> JsonObject | None:
    return None if quantity is None else _quantity(quantity, _GRAM_DECIMALS)


def _percent(quantity: Quantity | None) -> JsonObject | None:
    return None if quantity is None else _quantity(quantity, _PERCENT_DECIMALS)


def _quantity(quantity: Quantity, decimals: int) -> JsonObject:
    return {
        "value": round(quantity.value, decimals) + 0.0,
        "u": round(quantity.u, decimals),
        "dof": round(quantity.dof, 1) if quantity.dof < _MANY else None,
        "interval95": [round(end, decimals) + 0.0 for end in quantity.interval95()],
    }
