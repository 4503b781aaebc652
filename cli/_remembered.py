"""What earlier weighings tell of scale and cup, so that nobody types it again."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from debriscount.errors import DebriscountError
from debriscount.inputs.weighing import G_PER_UNIT, Scale, Weighing

#: Earlier weighings that are looked at, newest first.
_LOOKED_AT = 5


def remembered_words(out: Path, campaign: Path | None) -> tuple[Mapping[str, str], str]:
    """Return options of ``weigh`` that scale and clean cup were given by before, and where that stands.

    Parameters
    ----------
    out : Path
        The file that is to be written; weighing files beside it are looked at where there is no campaign.
    campaign : Path or None
        Folder of the campaign: its [scale] counts before its last weighed run.

    Returns
    -------
    mapping of str to str
        Words for unit, readability, repeatability, linearity and clean_cup; empty if nothing is known.
    str
        Name of the file.
    """
    if campaign is not None:
        from debriscount.campaign.campaign_file import read_campaign
        from debriscount.campaign.places import CAMPAIGN

        known = read_campaign(campaign).scale
        if known is not None:
            scale = Scale(known.readability_g, known.repeatability_g, known.linearity_g)
            return _words(scale, known.unit, () if known.cup_g is None else (known.cup_g,)), CAMPAIGN
    for file in _earlier(out, campaign):
        weighing = _weighing(file)
        if weighing is not None:
            return _words(weighing.scale, weighing.unit, weighing.usual_cup_g), file.name
    return {}, ""


def _earlier(out: Path, campaign: Path | None) -> Iterator[Path]:
    """Weighing files, newest first."""
    if campaign is not None:
        from debriscount.campaign.places import run_folder
        from debriscount.campaign.read_runs import run_numbers

        for number in reversed(run_numbers(campaign)):
            if (file := run_folder(campaign, number) / "weighing.toml").is_file():
                yield file
                return
        return
    folder = out.parent
    if folder.is_dir():
        found = [path for path in folder.glob("*.toml") if path.is_file()]
        yield from sorted(found, key=lambda path: path.stat().st_mtime, reverse=True)[:_LOOKED_AT]


def _weighing(file: Path) -> Weighing | None:
    from debriscount.inputs.weighing_file import read_weighing

    try:
        return read_weighing(file)
    except DebriscountError:  # a file of another kind
        return None


def _words(scale: Scale, unit: str, cup_g: tuple[float, ...]) -> dict[str, str]:
    def word(value_g: float) -> str:
        return f"{round(value_g / G_PER_UNIT[unit], 9):g}"

    words = {"unit": unit, "readability": word(scale.readability_g)}
    words["repeatability"] = "kitchen" if scale.repeatability_g is None else word(scale.repeatability_g)
    words["linearity"] = "kitchen" if scale.linearity_g is None else word(scale.linearity_g)
    if cup_g:
        words["clean_cup"] = " ".join(word(value_g) for value_g in cup_g)
    return words
