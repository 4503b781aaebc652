"""The data inside a page: records and tables as one archive, put in and read back."""

import base64
import io
import json
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ..errors import InputFileError
from ..inputs.text_file import file_content
from ..serialize import JsonObject
from .private import Shown

#: How the archive's list of contents says what it is.
FORMAT = "debriscount/page/1"
LIST = "contents.json"
_LINK = re.compile(rb'href="data:application/zip;base64,([A-Za-z0-9+/=]+)"')
#: The same for all, so that it tells nothing and the same runs make the same bytes.
_DATE = (2000, 1, 1, 0, 0, 0)
_MOST_PAGE, _MOST_DATA = 400_000_000, 400_000_000


@dataclass(frozen=True, slots=True)
class PageData:
    """What a page holds for others: records by the run's name, and how they were made fit for other eyes."""

    records: Mapping[str, bytes]
    shown: Shown


def archive(files: Mapping[str, bytes], records: Mapping[str, str], shown: Shown, version: str) -> bytes:
    """Return files as a ZIP archive.

    Parameters
    ----------
    files : mapping of str to bytes
        By path.
    records : mapping of str to str
        Path of each run's record, by the run's name.
    shown : Shown
        How they were made fit for other eyes.
    version : str
        Of debriscount.
    """
    contents: JsonObject = {
        "format": FORMAT,
        "version": version,
        "times": shown.times,
        "file_names": shown.file_names,
        "records": dict(records),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in {LIST: json.dumps(contents, indent=1, ensure_ascii=False).encode(), **files}.items():
            packed.writestr(zipfile.ZipInfo(name, _DATE), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def data_link(content: bytes) -> str:
    """The archive as an address that a browser can save."""
    return f"data:application/zip;base64,{base64.b64encode(content).decode()}"


def read_page(path: Path) -> PageData:
    """Read the data out of a page.

    Raises
    ------
    InputFileError
        The file is no page that ``debriscount page`` wrote, or is damaged.
    """
    found = _LINK.search(file_content(path, "page", _MOST_PAGE))
    if found is None:
        raise InputFileError(f"{path}: holds no data of runs. Give a page that debriscount page wrote.")
    try:
        with zipfile.ZipFile(io.BytesIO(base64.b64decode(found[1]))) as packed:
            if sum(entry.file_size for entry in packed.infolist()) > _MOST_DATA:
                raise InputFileError(f"{path}: its data are larger than those of any page.")
            contents = json.loads(packed.read(LIST))
            if contents.get("format") != FORMAT:
                raise InputFileError(
                    f"{path}: was made by another version of debriscount. Use that one, or a newer one."
                )
            records = {name: packed.read(entry) for name, entry in contents["records"].items()}
        shown = Shown(times=bool(contents["times"]), file_names=bool(contents["file_names"]))
    except (ValueError, KeyError, TypeError, AttributeError, zipfile.BadZipFile, RuntimeError, EOFError) as error:
        raise InputFileError(f"{path}: its data are damaged ({error}). Get the page again.") from None
    return PageData(records, shown)
