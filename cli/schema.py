"""``debriscount schema``."""

from typing import Annotated

import typer

from ._terminal import terminal_width


def schema(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="File format; without it, list all.")] = None,
    *,
    words: Annotated[bool, typer.Option("--words", help="Explain the columns of tables instead.")] = False,
) -> None:
    """Print the JSON Schema of a file format, or what the columns of tables mean."""
    import json

    from debriscount.report.schemas import SCHEMAS
    from debriscount.report.schemas import schema as schema_of
    from debriscount.report.words import words_text

    if words:
        typer.echo(words_text(terminal_width()), nl=False)
    elif name is None:
        typer.echo("\n".join(SCHEMAS))
    else:
        typer.echo(json.dumps(schema_of(name), indent=1, ensure_ascii=False))
