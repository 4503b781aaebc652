"""What a page holds, and what it must not."""

import base64
import getpass
import hashlib
import io
import json
import platform
import re
import shutil
import socket
import zipfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import html5lib
import pytest
from PIL import Image

from debriscount.errors import InputFileError, OutputError
from debriscount.page.data import read_page
from debriscount.page.private import Shown
from debriscount.page.sources import read_sources
from debriscount.page.write import page_html, write_page

HTML = "{http://www.w3.org/1999/xhtml}"
NASTY = (
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>' onload='alert(1)",
    "{{ 7 * 7 }}{% for x in [] %}",
    "=HYPERLINK(1)",
    "a\u202eb\u200f\x1b[31m\x00c",
    "long " * 2_000,
)


def parsed(text: str) -> Any:
    """The page by html5lib, whose strict parser refuses what the HTML standard calls a parse error."""
    return html5lib.HTMLParser(strict=True).parse(text)


def changed(result: Path, out: Path, change: Any) -> Path:
    """A copy of a result with its record changed."""
    shutil.copytree(result, out)
    record = json.loads((out / "measurement.json").read_text(encoding="utf-8"))
    change(record)
    (out / "measurement.json").write_text(json.dumps(record), encoding="utf-8")
    return out


def archive(text: str) -> dict[str, bytes]:
    found = re.search(r'href="data:application/zip;base64,([^"]+)"', text)
    assert found is not None
    with zipfile.ZipFile(io.BytesIO(base64.b64decode(found[1]))) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def decoded(text: str) -> str:
    """All that is in a page: its text, and its pictures and data as they are."""
    parts = [text]
    for kind, content in re.findall(r"data:([a-z/]+)(?:;charset=utf-8)?;base64,([A-Za-z0-9+/=]+)", text):
        if kind != "application/zip":
            parts.append(base64.b64decode(content).decode("latin-1"))
    parts += [name + content.decode("utf-8") for name, content in archive(text).items()]
    return "\n".join(parts)


def test_a_page_is_valid_html_with_headings_in_order(page_file: Path) -> None:
    tree = parsed(page_file.read_text(encoding="utf-8"))
    levels = [int(e.tag[-1]) for e in tree.iter() if isinstance(e.tag, str) and re.fullmatch(HTML + "h[1-6]", e.tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    assert all(e.get("alt") is not None for e in tree.iter(HTML + "img"))


def test_a_browser_is_allowed_the_pages_own_style_and_script_alone(page_file: Path) -> None:
    tree = parsed(page_file.read_text(encoding="utf-8"))
    (policy,) = (e.get("content") for e in tree.iter(HTML + "meta") if e.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        (element,) = tree.iter(HTML + tag)
        total = base64.b64encode(hashlib.sha256(element.text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{total}'" in policy
    for element in tree.iter():
        assert not [name for name in element.keys() if str(name).startswith("on") or name == "style"]  # noqa: SIM118
        for name in ("src", "href"):
            address = element.get(name)
            assert address is None or address.startswith(("data:", "#"))


def test_hostile_text_stays_text(result: Path, tmp_path: Path) -> None:
    def change(record: dict[str, Any]) -> None:
        record["patch"]["name"] = NASTY[5] + NASTY[0]
        record["patch"]["zones"]["custom"][0]["name"] = NASTY[1]
        record["verdict"] = NASTY[0] + NASTY[2]
        for done in record["passes"]:
            done["kinds"] = {NASTY[k]: block for k, block in zip((3, 4), done["kinds"].values(), strict=True)}
            done["zones"][NASTY[1]] = done["zones"].pop("rug", done["zones"]["patch"])
            done["findings"][0]["sentence"] = NASTY[4]
        record["flags"] = [{"code": "x", "severity": "doubtful", "shot": NASTY[1], "zone": None, "sentence": NASTY[0]}]
        record["photos"]["before"]["file"] = NASTY[1]

    folder = changed(result, tmp_path / "a <script> & 'b'", change)
    text = page_html(read_sources([folder]), Shown(file_names=True), title=NASTY[1])
    tree = parsed(text)
    assert len(list(tree.iter(HTML + "script"))) == 1
    # After both passes, with their outlines; what lay before stands there once, though two views show it.
    assert len(list(tree.iter(HTML + "img"))) == 4
    assert text.count("<image ") == 2 and text.count("<use ") == 2
    assert text.count("data:image/jpeg") == 3
    assert not re.search("[\u202e\u200f\x1b\x00]", text)
    words = "".join(tree.itertext())
    assert NASTY[0] in words and "{{ 7 * 7 }}" in words
    assert max(len(part) for part in tree.itertext() if part.strip() and "{" not in part) < 2_000
    for name, content in archive(text).items():
        assert not re.search("[\u202e\u200f\x1b\x00]", content.decode())
        if name.endswith(".csv"):
            assert not re.search(r"(^|,)\"?=", content.decode(), re.MULTILINE)


def test_nothing_private_gets_out(result: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("USER", "LOGNAME", "HOSTNAME", "HOME"):
        monkeypatch.setenv(name, f"SECRET {name}")
    for module, function in ((socket, "gethostname"), (platform, "node"), (getpass, "getuser")):
        monkeypatch.setattr(module, function, lambda: "SECRET")

    def change(record: dict[str, Any]) -> None:
        for shot, photo in record["photos"].items():
            photo |= {"file": f"IMG_20261123_1415{len(shot):02}.jpg", "taken": "2026-11-23T14:15:30"}
        record["flags"] = [
            {
                "code": "x",
                "severity": "note",
                "shot": "before",
                "zone": None,
                "sentence": "IMG_20261123_141506.jpg is blurred",
            }
        ]

    folder = changed(result, tmp_path / "bench", change)
    exif = Image.Exif()
    exif[0x013B] = "SECRET AUTHOR"
    for name in ("floor-before.jpg", "floor-after.jpg"):
        with Image.open(folder / name) as image:
            image.save(folder / name, exif=exif, comment=b"SECRET COMMENT")
    everything = decoded(page_html(read_sources([folder]), Shown()))
    for secret in ("SECRET", "IMG_", "14:15", "141506", str(tmp_path), "Exif"):
        assert secret not in everything
    assert "2026-11-23" in everything
    shown = decoded(page_html(read_sources([folder]), Shown(times=True, file_names=True)))
    assert "IMG_20261123_141506.jpg" in shown and "2026-11-23T14:15:30" in shown


def test_the_same_runs_make_the_same_page(result: Path, second: Path) -> None:
    assert page_html(read_sources([result, second]), Shown()) == page_html(read_sources([result, second]), Shown())


def test_data_are_read_back_as_they_were_shown(page_file: Path, result: Path) -> None:
    data = read_page(page_file)
    assert list(data.records) == ["kitchen", "hall"]
    record, before = json.loads(data.records["kitchen"]), json.loads((result / "measurement.json").read_text())
    assert record["passes"] == before["passes"]
    assert record["photos"]["before"]["file"] == "before.jpg"
    files = archive(page_file.read_text(encoding="utf-8"))
    assert sum(name.endswith("grains.csv") for name in files) == 2
    assert files["figures.csv"].decode().startswith("campaign,run,date,machine")


def test_every_run_is_a_dot_with_its_figure(page_file: Path) -> None:
    tree = parsed(page_file.read_text(encoding="utf-8"))
    labels = [e.get("aria-label") or "" for e in tree.iter("{http://www.w3.org/2000/svg}svg")]
    assert "kitchen: kitchen: 50.0 % (48.0 to 52.5 %)" in labels
    assert "hall: hall: 50.0 % (48.0 to 52.5 %), doubtful" in labels


def test_a_result_without_floor_views_says_so(result: Path, tmp_path: Path) -> None:
    shutil.copytree(result, tmp_path / "old")
    for path in (tmp_path / "old").glob("floor-*"):
        path.unlink()
    assert "Measuring again adds them." in page_html(read_sources([tmp_path / "old"]), Shown())


def test_what_is_there_is_not_replaced_unless_asked(result: Path, tmp_path: Path) -> None:
    (tmp_path / "page.html").write_text("mine")
    with pytest.raises(OutputError, match="is there already"):
        write_page(read_sources([result]), tmp_path / "page.html", Shown())
    assert (tmp_path / "page.html").read_text() == "mine"
    write_page(read_sources([result]), tmp_path / "page.html", Shown(), overwrite=True)
    assert (tmp_path / "page.html").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_folder_without_a_result_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"holds no measurement\.json"):
        read_sources([tmp_path])


@pytest.mark.parametrize("key", ["passes", "grid", "kinds", "photos", "patch"])
def test_a_damaged_record_is_refused(result: Path, tmp_path: Path, key: str) -> None:
    folder = changed(result, tmp_path / "run", lambda record: record.pop(key))
    with pytest.raises(InputFileError, match=r"measurement\.json: is not whole"):
        page_html(read_sources([folder]), Shown())


def test_a_damaged_picture_is_refused(result: Path, tmp_path: Path) -> None:
    shutil.copytree(result, tmp_path / "run")
    (tmp_path / "run" / "floor-after.jpg").write_bytes(b"no picture")
    with pytest.raises(InputFileError, match=r"floor-after\.jpg: is not a picture that debriscount wrote"):
        page_html(read_sources([tmp_path / "run"]), Shown())


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"<!doctype html><p>another page", "holds no data of runs"),
        (b'<a href="data:application/zip;base64,AAAA">', "its data are damaged"),
    ],
)
def test_another_page_is_refused(tmp_path: Path, content: bytes, word: str) -> None:
    (tmp_path / "page.html").write_bytes(content)
    with pytest.raises(InputFileError, match=word):
        read_page(tmp_path / "page.html")
