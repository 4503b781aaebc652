"""Debris files by name or path, as options give them."""

from collections.abc import Sequence
from pathlib import Path


def debris_paths(named: Sequence[Path] | None, campaign: Path | None = None) -> list[Path]:
    """Return the file of each kind: what is no path is looked for in the campaign, then among the shipped kinds.

    Parameters
    ----------
    named : sequence of Path or None
        Such as "red-lentils" or "my/sand.toml".
    campaign : Path, optional
        A campaign's folder; the one around the present folder if not given.

    Raises
    ------
    InputFileError
        There is no such kind.
    """
    from debriscount.campaign.places import DEBRIS, around
    from debriscount.inputs.debris_names import find_debris

    home = campaign or around()
    return [find_debris(name, None if home is None else home / DEBRIS) for name in named or ()]
