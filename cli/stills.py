"""``debriscount stills`` and ``debriscount clip``."""

from pathlib import Path
from typing import Annotated

import typer

from ._terminal import progress_bar, said_aside

Size = Annotated[
    str,
    typer.Option(metavar="WxH", help="Width and height in pixels, such as 1920x1080, 3840x2160 or 1080x1920."),
]


def stills(
    folders: Annotated[list[Path], typer.Argument(metavar="RUN...", help="Folders with results, or campaigns.")],
    *,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for the stills.")],
    size: Size = "1920x1080",
    text: Annotated[
        bool, typer.Option("--text/--no-text", help="With words beside the pictures, or with nothing around them.")
    ] = True,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace stills of other runs.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Make pictures of runs for a film: before and after, what stayed, zones with figures, strips, bars.

    With several runs, one more shows what they left beside each other, with machine and settings.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.page.sources import read_sources
    from debriscount.stills.write import frame_of, write_stills

    frame = frame_of(size)
    sources = read_sources(folders)
    for one in sources.unread:
        said_aside(f"Warning: {one.folder}: {one.reason}")
    pictured = [run for run in sources.runs if run.record]
    with progress_bar(not quiet) as progress:
        written = write_stills(
            pictured or sources.runs, out, frame,
            text=text, overwrite=overwrite, progress=progress,
        )  # fmt: skip
    said_aside(f"wrote {len(written)} stills of {frame.width} x {frame.height} px to {out}")


def clip(
    folder: Annotated[Path, typer.Argument(metavar="RUN", help="Folder with a run's result.")],
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The clip, such as wipe.mp4 or wipe.webm.")],
    size: Size = "1920x1080",
    rate: Annotated[int, typer.Option(min=10, max=60, metavar="N", help="Frames a second.")] = 25,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the clip if it is there already.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Show no progress.")] = False,
) -> None:
    """Make a short clip that wipes from before to after while what is left is counted."""
    from debriscount.opencv import require_opencv

    require_opencv()
    from fractions import Fraction

    from debriscount.inputs.save import refuse_existing, save_files
    from debriscount.page.sources import read_sources
    from debriscount.stills.clip import clip_frames, clip_length, encoded
    from debriscount.stills.views import views_of
    from debriscount.stills.write import frame_of

    frame, speed = frame_of(size).even(), Fraction(rate)
    if not overwrite:
        refuse_existing([out])
    views = views_of(read_sources([folder]).runs[-1])
    with progress_bar(not quiet) as progress:
        content = encoded(clip_frames(views, frame, speed), frame, speed, out, progress)
    save_files({out: content}, overwrite=overwrite)
    said_aside(
        f"wrote {out}: {clip_length(speed) / rate:.0f} s, {frame.width} x {frame.height} px, {rate} frames a second"
    )
