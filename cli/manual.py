"""``debriscount manual``."""

from typing import Annotated

import typer

from ._terminal import terminal_width


def manual(
    topic: Annotated[str | None, typer.Argument(metavar="[TOPIC]", help="Page to print; without it, list all.")] = None,
) -> None:
    """Print a page of the manual, or the list of its pages."""
    from debriscount.manual.pages import page_text, topics_text

    typer.echo(topics_text(terminal_width()) if topic is None else page_text(topic, terminal_width()), nl=False)
