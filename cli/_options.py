"""Options that several commands have in common, so that each means one thing and is told in the same words."""

from pathlib import Path
from typing import Annotated

import typer

PatchFile = Annotated[Path, typer.Option(metavar="FILE", help="Patch file: size, walls, markers, zones.")]
Blank = Annotated[Path | None, typer.Option(metavar="PHOTO", help="Photo of the clean floor, or a folder of them.")]
Debris = Annotated[
    list[Path] | None, typer.Option(metavar="NAME", help="Kind of debris, by name or file; once for each.")
]
LensFile = Annotated[Path | None, typer.Option(metavar="FILE", help="Lens file of the camera, from debriscount lens.")]
WallSides = Annotated[
    list[str] | None, typer.Option(metavar="SIDE", help="Side with a wall: top, right, bottom or left; once for each.")
]
MostMegapixels = Annotated[float, typer.Option(metavar="N", help="Refuse larger photos before decoding them.")]
OverwriteResult = Annotated[bool, typer.Option("--overwrite", help="Replace a result of other photos in DIR.")]
OverwriteFile = Annotated[bool, typer.Option("--overwrite", help="Replace an existing file.")]
Json = Annotated[bool, typer.Option("--json", help="Print the record as JSON instead of text.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print no text and no progress.")]
Yes = Annotated[bool, typer.Option("--yes", "-y", help="Ask nothing; take the usual answer for what is not given.")]
