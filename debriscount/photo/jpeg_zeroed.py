"""Bytes of a JPEG that were lost and came back as zeros, of which a decoder may not complain.

Zeros are codes as well. Where the shortest code of AC coefficients is not the one that ends a block (ITU-T T.81,
Annex C and F.1.2.2), which it is not in the standard's own table for luma, zeros make every coefficient of every block
-1: no photo has that. A few dozen zeros may decode to as many blocks as were lost, and then nothing is missing.
"""

import re
from collections.abc import Iterator

from ..errors import PhotoFileError

#: As many code more than thirty coefficients of -1 after one another.
_RUN = re.compile(rb"\0{16,}")
_START, _END = b"\xff\xd8", b"\xff\xd9"
#: Frames that code a block as a whole (T.81, table B.1): baseline and extended, by Huffman codes.
_SEQUENTIAL = (0xC0, 0xC1)
_FRAMES = (*range(0xC0, 0xC4), *range(0xC5, 0xC8), *range(0xC9, 0xCC), *range(0xCD, 0xD0))
_TABLES, _SCAN = 0xC4, 0xDA
#: Number of codes of each of sixteen lengths, after a table's class and number (B.2.4.2).
_LENGTHS = 16
_AC = 1
_ENDS_BLOCK = 0


def check_zeroed(content: bytes) -> None:
    """Raise PhotoFileError, which does not name the file, where zeros stand in a JPEG's data that code no photo."""
    try:
        start = _coded_from(content)
    except IndexError:  # a header that is too short is the decoder's to tell of
        return
    if start is None:
        return
    end = content.find(_END, start)
    for run in _RUN.finditer(content, start, len(content) if end < 0 else end):
        if run.end() != end:  # some cameras fill up before the end
            raise PhotoFileError(
                f"is damaged or cut off ({len(run[0])} bytes of its data, from byte {run.start()} on, are zero). Copy"
                " it from the camera once more."
            )


def _coded_from(content: bytes) -> int | None:
    """Where the data of the only scan begin; None where zeros may code a photo, or how it is coded is not known."""
    first_codes: dict[int, int] = {}
    components = 0
    for marker, segment, end in _segments(content):
        if marker in _FRAMES:
            if marker not in _SEQUENTIAL:
                return None
            components = segment[5]
        elif marker == _TABLES:
            first_codes |= _first_ac_codes(segment)
        elif marker == _SCAN:
            used = [segment[2 + 2 * number] & 15 for number in range(segment[0])]
            # With several scans, one of chroma alone may be all zeros.
            whole = len(used) == components
            return end if whole and any(first_codes.get(table, _ENDS_BLOCK) != _ENDS_BLOCK for table in used) else None
    return None


def _segments(content: bytes) -> Iterator[tuple[int, bytes, int]]:
    """Marker, content and end of the segments up to the first scan's header, as far as they are whole."""
    at = len(_START)
    marker = 0
    while marker != _SCAN and content[at : at + 1] == b"\xff" and at + 4 <= len(content):
        marker = content[at + 1]
        if marker == 0xFF:  # filling
            at += 1
            continue
        end = at + 2 + int.from_bytes(content[at + 2 : at + 4], "big")
        if end > len(content):
            return
        yield marker, content[at + 4 : end], end
        at = end


def _first_ac_codes(segment: bytes) -> dict[int, int]:
    """What the shortest code, all zeros, stands for in each table of AC coefficients of a segment."""
    found = {}
    while len(segment) > 1 + _LENGTHS:
        kind, number = segment[0] >> 4, segment[0] & 15
        if kind == _AC:
            found[number] = segment[1 + _LENGTHS]
        segment = segment[1 + _LENGTHS + sum(segment[1 : 1 + _LENGTHS]) :]
    return found
