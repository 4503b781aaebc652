"""A weighing and what follows from it, for people and for programs."""

from pathlib import Path

from .. import __version__
from ..columns import aligned, wrapped
from ..inputs.record_file import WEIGHING
from ..inputs.weighing import Weighing
from ..scale.pickup import WeighedPickup, weighed_pickup
from ..scale.readings import scale_errors
from ..serialize import JsonObject, picked, plain

FORMAT = WEIGHING


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
    balance, scale = weighed.balance, weighing.scale
    return {
        "file": Path(weighing.file).name,
        "sha256": weighing.sha256,
        "scale": {
            **picked(scale, "readability_g"),
            **picked(scale_errors(weighing), "repeatability_g"),
            "linearity_g": scale.linearity_g,
            "kitchen": scale.repeatability_g is None or scale.linearity_g is None,
        },
        "balance": picked(balance, "dispensed_g left_in_cup_g bin_g swept_g elsewhere_g unaccounted_g closed"),
        "zones": {zone: {"swept_g": plain(mass, "swept_g")} for zone, mass in weighed.swept_g.items()},
        "elsewhere": {part: {"mass_g": plain(mass, "mass_g")} for part, mass in weighed.elsewhere_g.items()},
        **picked(
            weighed,
            "pickup_percent by_collection_percent by_residue_percent elsewhere_percent unaccounted_percent not_swept "
            "hair",
        ),
        "flags": [{**plain(flag), "probability": flag.probability} for flag in balance.flags],
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
    rows = [[name, f"{mass.text()} g"] for name, mass in grams.items() if mass is not None]
    rows += [[name, f"{share.text()} %"] for name, share in percent.items() if share is not None]
    if weighed.pickup_percent is None:
        rows.append(["pickup by scale", "unknown: weigh the bin or what is left"])
    zones = ", ".join(weighed.not_swept)
    doubts = [f"Not swept: {zones}. What was left there is unknown."] if zones else []
    doubts += [f"Warning: {flag.message}" for flag in balance.flags]
    return "\n".join([*aligned(rows, width), *(wrapped(doubt, "  ", width) for doubt in doubts)]) + "\n"
