"""The pages of the manual, and what is printed of them."""

import re
import textwrap
from difflib import get_close_matches
from importlib.resources import files

from ..errors import ManualTopicError

#: The topics in the order of the work; each is a page of that name beside this file.
TOPICS = (
    "words",
    "patch",
    "photos",
    "shot",
    "lens",
    "measure",
    "room",
    "results",
    "leftovers",
    "debris",
    "portion",
    "count",
    "weigh",
    "agreement",
    "campaign",
    "runs",
    "compare",
    "plan",
    "page",
    "stills",
    "film",
    "simulate",
    "records",
    "safety",
)
_WHERE = "To try the commands, run debriscount demo and change to the folder debriscount-demo/lentils-oak-corner."
_FENCE = "```"
_INDENT = "  "
_LIST_ITEM = re.compile(r"(- |\d+\. )")
_EMPHASIS = re.compile(r"\*([^*\s][^*]*)\*")
_LINK = re.compile(r"\[(\w+)\]\(\1\.md\)")  # to another page
#: What must not be parted at the end of a line: commands, and a number and its %.
_KEPT = re.compile(r"`[^`]+`|\d %")
_NO_BREAK = "\N{NO-BREAK SPACE}"


def page(topic: str) -> str:
    """Return a page of the manual as it is written, in Markdown.

    Parameters
    ----------
    topic : str
        One of ``TOPICS``.

    Returns
    -------
    str

    Raises
    ------
    ManualTopicError
        There is no such topic; the message names the nearest, or all.
    """
    if topic not in TOPICS:
        near = get_close_matches(topic.lower(), TOPICS, n=1)
        advice = f"Did you mean {near[0]}?" if near else f"Topics: {', '.join(TOPICS)}."
        raise ManualTopicError(f'the manual has no topic "{topic}". {advice}')
    return (files(__package__) / f"{topic}.md").read_text(encoding="utf-8")


def page_text(topic: str, width: int) -> str:
    """Return a page as plain text for a terminal.

    Parameters
    ----------
    topic : str
        One of ``TOPICS``.
    width : int
        Columns. Commands and files longer than that are not broken, so that they can be copied.

    Returns
    -------
    str

    Raises
    ------
    ManualTopicError
        As `page` does.
    """
    blocks = [_block_text(block, width) for block in _blocks(page(topic).splitlines())]
    return "\n\n".join(blocks) + "\n"


def topics_text(width: int) -> str:
    """Return one line for each topic, its name and the title of its page cut to the width, and how to try commands.

    Parameters
    ----------
    width : int
        Columns.

    Returns
    -------
    str
    """
    column = max(map(len, TOPICS)) + 2
    titles = (page(topic).split("\n", 1)[0].removeprefix("# ") for topic in TOPICS)
    lines = [
        f"{topic:<{column}}{textwrap.shorten(title, width - column, placeholder=' …')}"
        for topic, title in zip(TOPICS, titles, strict=True)
    ]
    return "\n".join([*lines, "", textwrap.fill(_WHERE, width, break_on_hyphens=False)]) + "\n"


def _blocks(lines: list[str]) -> list[list[str]]:
    """Part a page at blank lines, but for those within a fenced block."""
    blocks: list[list[str]] = []
    fenced, fresh = False, True
    for line in lines:
        if not fenced and not line.strip():
            fresh = True
            continue
        if fresh:
            blocks.append([])
        blocks[-1].append(line)
        fresh = False
        fenced ^= line.startswith(_FENCE)
    return blocks


def _block_text(block: list[str], width: int) -> str:
    if block[0].startswith(_FENCE):
        return "\n".join(f"{_INDENT}{line}".rstrip() for line in block[1:-1])
    if block[0].startswith("# "):
        title = block[0].removeprefix("# ")
        return f"{title}\n{'=' * min(len(title), width)}"
    if block[0].startswith("#"):
        return block[0].lstrip("# ").upper()
    paragraphs: list[list[str]] = []
    for line in block:
        if not paragraphs or _LIST_ITEM.match(line):
            paragraphs.append([])
        paragraphs[-1].append(line.strip())
    return "\n".join(_wrapped(" ".join(paragraph), width) for paragraph in paragraphs)


def _wrapped(text: str, width: int) -> str:
    """Fill a paragraph or an item of a list, without marks that only Markdown needs."""
    mark = _LIST_ITEM.match(text)
    plain = _EMPHASIS.sub(r"\1", _LINK.sub(r"`debriscount manual \1`", text))
    kept = _KEPT.sub(lambda found: found[0].replace(" ", _NO_BREAK), plain)
    filled = textwrap.fill(
        kept,
        width,
        subsequent_indent=" " * len(mark[0]) if mark else "",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled.replace(_NO_BREAK, " ")
