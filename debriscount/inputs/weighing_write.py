"""weighing.toml: a weighing as the text of its file."""

from typing import Any

from .toml_write import toml_text
from .weighing import G_PER_UNIT, Net, Weighing

_REMARKS = {
    "readability": "smallest step of the display",
    "repeatability": "standard deviation of readings of one load",
    "linearity": "greatest error at any load, either way",
    "full": "cup with the portion",
    "empty": "cup after scattering",
    "portion": "scale set to zero with the cup on it",
    "usual_empty": "cup when clean",
    "usual_before": "bin when clean",
    "emptied": "content of the bin",
}
#: They undo what conversion to grams added: the heaviest load to a ten-millionth of a gram.
_DIGITS = 12


def weighing_toml(weighing: Weighing) -> str:
    """Return a weighing as a weighing file, in the unit that the scale showed.

    Parameters
    ----------
    weighing : Weighing
        ``file`` and ``sha256`` are not written.

    Returns
    -------
    str
        What `debriscount.inputs.weighing_file.read_weighing` reads as the same weighing.
    """
    unit = weighing.unit

    def named(key: str) -> str:
        return key if key in ("kind", "unit", "sensitivity_percent") else f"{key}_{unit}"

    content = {name: {named(key): value for key, value in table.items()} for name, table in _tables(weighing).items()}
    return toml_text(content, {named(key): remark for key, remark in _REMARKS.items()}, digits=_DIGITS)


def _tables(weighing: Weighing) -> dict[str, dict[str, Any]]:
    """Return the tables that say something, keys without their unit."""
    unit, portion = weighing.unit, weighing.dispensed
    cup = {"full": _loads(portion.gross_g, unit), "empty": _loads(portion.tare_g, unit)}
    if not portion.tare_g:
        cup = {"portion": _loads(portion.gross_g, unit)}
    caught = weighing.bin
    return {
        name: {key: value for key, value in table.items() if value not in (None, [])}
        for name, table in {
            "scale": _scale(weighing),
            "dispensed": {
                **cup,
                "left_in_cup": _net(weighing.left_in_cup, unit),
                "usual_empty": _loads(weighing.usual_cup_g, unit),
            },
            "bin": {
                "before": _loads(caught.tare_g, unit) if caught else None,
                "after": _loads(caught.gross_g, unit) if caught else None,
                "emptied": _net(weighing.emptied, unit),
                "usual_before": _loads(weighing.usual_bin_g, unit),
            },
            "swept": {zone: _net(net, unit) for zone, net in weighing.swept.items()},
            "elsewhere": {part: _net(net, unit) for part, net in weighing.elsewhere.items()},
        }.items()
        if any(value not in (None, []) for value in table.values())
    }


def _scale(weighing: Weighing) -> dict[str, Any]:
    scale, unit = weighing.scale, weighing.unit
    usual = scale.repeatability_g is None and scale.linearity_g is None
    grams = {
        "readability": scale.readability_g,
        "repeatability": scale.repeatability_g,
        "linearity": scale.linearity_g,
        "capacity": scale.capacity_g,
    }
    return {
        "kind": "kitchen" if usual else None,
        "unit": unit if unit != "g" else None,
        **{key: None if value is None else value / G_PER_UNIT[unit] for key, value in grams.items()},
        "sensitivity_percent": scale.sensitivity_percent or None,
    }


def _net(net: Net | None, unit: str) -> Any:
    if net is None:
        return None
    loads = _loads(net.gross_g, unit)
    return {"gross": loads, "tare": _loads(net.tare_g, unit)} if net.tare_g else loads


def _loads(values_g: tuple[float, ...], unit: str) -> Any:
    """Return one reading as a number, several as a list, in the weighing's unit."""
    values = [value / G_PER_UNIT[unit] for value in values_g]
    return values[0] if len(values) == 1 else values
