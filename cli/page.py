"""``debriscount page``."""

from pathlib import Path
from typing import Annotated

import typer

from ._terminal import said_aside


def page(
    folders: Annotated[
        list[Path], typer.Argument(metavar="CAMPAIGN|RUN...", help="Campaigns, or folders with a run's result.")
    ],
    *,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The page, such as page.html.")],
    title: Annotated[str, typer.Option(metavar="TEXT", help="Heading; the campaign's name if not given.")] = "",
    times: Annotated[bool, typer.Option("--times", help="Show when photos were taken to the second.")] = False,
    file_names: Annotated[
        bool, typer.Option("--file-names", help="Show how photo files were called, not only which shot they are.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the page if it is there already.")] = False,
) -> None:
    """Make one page of runs: what was found, pictures, how it was measured, and the data.

    The page is a single file. It opens offline in any browser, asks nothing of anyone, and prints.
    """
    from debriscount.opencv import require_opencv

    require_opencv()
    from debriscount.page.private import Shown
    from debriscount.page.sources import read_sources
    from debriscount.page.write import write_page

    sources = read_sources(folders)
    for one in sources.unread:
        said_aside(f"Warning: {one.folder}: {one.reason}")
    written = write_page(sources, out, Shown(times=times, file_names=file_names), title=title, overwrite=overwrite)
    said_aside(f"wrote {written}: {len(sources.runs)} run{'s' * (len(sources.runs) != 1)}")
