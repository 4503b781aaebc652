"""The manual's pages, and how they read on a terminal."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

import debriscount
from debriscount.errors import ManualTopicError
from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.lens_file import read_lens
from debriscount.inputs.patch_file import read_patch
from debriscount.inputs.weighing_file import read_weighing
from debriscount.manual import pages
from debriscount.manual.pages import TOPICS, page, page_text, topics_text

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "debriscount" / "manual"


def test_every_page_is_a_topic_and_the_readme_links_to_it() -> None:
    assert sorted(TOPICS) == sorted(file.stem for file in FOLDER.glob("*.md"))
    linked = re.findall(r"\[(\w+)\]\(debriscount/manual/(\w+)\.md\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert [name for name, _ in linked] == [file for _, file in linked] == list(TOPICS)


def test_the_readme_is_short() -> None:
    assert len((ROOT / "README.md").read_text(encoding="utf-8").splitlines()) <= 130


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_links_to_pages_that_are_there(topic: str) -> None:
    for name, file in re.findall(r"\[([^\]]+)\]\(([^)]+)\)", page(topic)):
        assert file == f"{name}.md"
        assert name in TOPICS


@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("width", [50, 80])
def test_a_page_says_all_that_is_written_in_the_columns_there_are(topic: str, width: int) -> None:
    """Every word comes out, in order; prose keeps to the columns, commands and files stand as they are."""
    text = page_text(topic, width)
    words = re.sub(r"\[(\w+)\]\(\w+\.md\)", r"`debriscount manual \1`", page(topic))
    assert re.findall(r"[\w%°]+", text.lower()) == re.findall(
        r"[\w%°]+", re.sub(r"^```\w*$", "", words, flags=re.MULTILINE).lower()
    )
    copied = [
        line for block in re.findall(r"^```\w*\n(.*?)^```", page(topic), re.S | re.M) for line in block.splitlines()
    ]
    lines = text.splitlines()
    for line in copied:
        assert f"  {line}".rstrip() in lines
    prose = [line for line in lines[1:] if line[2:] not in copied and line != line.upper()]
    assert not [line for line in prose if len(line) > width and " " in line.strip()]


@pytest.mark.parametrize(
    ("topic", "read"), [("patch", read_patch), ("lens", read_lens), ("debris", read_debris), ("weigh", read_weighing)]
)
def test_the_file_that_a_page_shows_can_be_read(topic: str, read: Callable[[Path], object], tmp_path: Path) -> None:
    (written,) = re.findall(r"^```toml\n(.*?)^```", page(topic), re.DOTALL | re.MULTILINE)
    (tmp_path / "a.toml").write_text(written, encoding="utf-8")
    read(tmp_path / "a.toml")


@pytest.mark.parametrize("topic", TOPICS)
def test_what_a_page_shows_of_python_is_python(topic: str) -> None:
    for written in re.findall(r"^```python\n(.*?)^```", page(topic), re.DOTALL | re.MULTILINE):
        for name in re.findall(r"debriscount\.(\w+)", written):
            assert name in debriscount.__all__
        compile(written, topic, "exec")


def test_a_title_fits_beside_its_topic() -> None:
    listed, where = topics_text(80).split("\n\n")
    assert "run debriscount demo" in where
    lines = listed.splitlines()
    assert [line.split()[0] for line in lines] == list(TOPICS)
    assert not [line for line in lines if "…" in line or len(line) > 80]


def test_marks_that_only_markdown_needs_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """*By hand*: a title, a paragraph that is wrapped, a list, a heading and a block of commands."""
    written = (
        "# A title\n\nSome *words* with `code`, see [weigh](weigh.md).\nTwice 12 % of it.\n\n"
        "- one\n  and more\n- two\n\n## More\n\n```sh\na --b  \\\n\n    c\n```\n"
    )
    monkeypatch.setattr(pages, "page", lambda topic: written)
    assert page_text("words", 30) == (
        "A title\n=======\n\nSome words with `code`, see\n`debriscount manual weigh`.\nTwice 12 % of it.\n\n"
        "- one and more\n- two\n\nMORE\n\n  a --b  \\\n\n      c\n"
    )


def test_an_unknown_topic_names_the_nearest_or_all() -> None:
    with pytest.raises(ManualTopicError, match=r'^the manual has no topic "wiegh"\. Did you mean weigh\?$'):
        page("wiegh")
    with pytest.raises(ManualTopicError, match=r"Topics: words, patch, .*, safety\.$"):
        page("../../errors")
