"""Coded pictures within a HEIF file, as their decoder takes them (ISO/IEC 14496-12 and -15, 23008-12)."""

from collections.abc import Iterator

#: A picture coded as HEVC, and one that others make up as its tiles.
_HEVC, _GRID = b"hvc1", b"grid"
#: Where an HEVC configuration says how long the lengths of units are, less one (14496-15, 8.3.3.1).
_LENGTH_AT = 21
_IN_THE_FILE, _IN_THE_BOX = 0, 1


class _Reader:
    """Numbers one after the other out of a part of the file."""

    def __init__(self, content: bytes, start: int, end: int) -> None:
        self._content, self.at, self.end = content, start, end

    def number(self, size: int) -> int:
        return int.from_bytes(self.taken(size), "big")

    def taken(self, size: int) -> bytes:
        if self.at + size > self.end:
            raise ValueError("a part of the file ends too early")
        self.at += size
        return self._content[self.at - size : self.at]

    def version(self) -> tuple[int, int]:
        """Version and flags, as full boxes begin."""
        return self.number(1), self.number(3)

    def boxes(self) -> Iterator[tuple[bytes, "_Reader"]]:
        """Type and content of the boxes that follow."""
        while self.at < self.end:
            start = self.at
            size, kind = self.number(4), self.taken(4)
            size = self.number(8) if size == 1 else size or self.end - start
            if not self.at <= start + size <= self.end:
                raise ValueError("a box is larger than the one that holds it")
            yield kind, _Reader(self._content, self.at, start + size)
            self.at = start + size

    def units(self, length_size: int) -> Iterator[bytes]:
        """Units that follow, each behind its length."""
        while self.at < self.end:
            yield self.taken(self.number(length_size))


def coded_pictures(content: bytes) -> list[list[bytes]]:
    """Return the HEVC pictures that make up a file's primary picture: one, or its tiles.

    Parameters
    ----------
    content : bytes
        The file.

    Returns
    -------
    list of list of bytes
        NAL units of each picture, those of its configuration first; no picture where it is coded in another way.

    Raises
    ------
    ValueError, KeyError, IndexError
        The file is not built as it should be.
    """
    meta = dict(_Reader(content, 0, len(content)).boxes())[b"meta"]
    meta.version()
    boxes = dict(meta.boxes())
    primary, types = _primary(boxes[b"pitm"]), _types(boxes[b"iinf"])
    items = _tiles(boxes[b"iref"], primary) if types[primary] == _GRID else [primary]
    items = [item for item in items if types[item] == _HEVC]
    configurations = _configurations(boxes[b"iprp"], content)
    places = _places(boxes[b"iloc"])
    pictures = []
    for item in items:
        method, extents = places[item]
        whole = {_IN_THE_FILE: _Reader(content, 0, len(content)), _IN_THE_BOX: boxes.get(b"idat")}[method]
        if whole is None:
            raise ValueError("a picture is in a box that is not there")
        data = b"".join(_Reader(content, whole.at + start, whole.end).taken(size) for start, size in extents)
        before, length_size = configurations[item]
        pictures.append([*before, *_Reader(data, 0, len(data)).units(length_size)])
    return pictures


def _primary(box: _Reader) -> int:
    version, _ = box.version()
    return box.number(4 if version else 2)


def _types(box: _Reader) -> dict[int, bytes]:
    version, _ = box.version()
    box.number(4 if version else 2)
    types = {}
    for _, entry in box.boxes():
        version, _ = entry.version()
        item = entry.number(4 if version > 2 else 2)
        entry.number(2)
        types[item] = entry.taken(4)
    return types


def _tiles(box: _Reader, grid: int) -> list[int]:
    version, _ = box.version()
    size = 4 if version else 2
    for kind, reference in box.boxes():
        if kind == b"dimg" and reference.number(size) == grid:
            return [reference.number(size) for _ in range(reference.number(2))]
    return []


def _configurations(box: _Reader, content: bytes) -> dict[int, tuple[list[bytes], int]]:
    """Units of each item's configuration, and the size of the lengths of its own units."""
    parts = list(box.boxes())
    properties = list(dict(parts)[b"ipco"].boxes())
    found = {}
    for kind, part in parts:
        if kind != b"ipma":
            continue
        version, flags = part.version()
        for _ in range(part.number(4)):
            item = part.number(4 if version else 2)
            for _ in range(part.number(1)):
                number = part.number(2) & 0x7FFF if flags & 1 else part.number(1) & 0x7F
                if number and properties[number - 1][0] == b"hvcC":
                    configuration = properties[number - 1][1]
                    found[item] = _configuration(_Reader(content, configuration.at, configuration.end))
    return found


def _configuration(box: _Reader) -> tuple[list[bytes], int]:
    length_size = (box.taken(_LENGTH_AT + 1)[_LENGTH_AT] & 3) + 1
    units = []
    for _ in range(box.number(1)):
        box.number(1)
        units += [box.taken(box.number(2)) for _ in range(box.number(2))]
    return units, length_size


def _places(box: _Reader) -> dict[int, tuple[int, list[tuple[int, int]]]]:
    """Of each item where it is, in the file or in a box of its own, and start and size of its parts there."""
    version, _ = box.version()
    sizes = box.number(2)
    offset_size, length_size, base_size, index_size = (sizes >> shift & 15 for shift in (12, 8, 4, 0))
    wide, methods = 4 if version > 1 else 2, version > 0
    found = {}
    for _ in range(box.number(wide)):
        item = box.number(wide)
        method = box.number(2) & 15 if methods else _IN_THE_FILE
        box.number(2)
        base = box.number(base_size)
        extents = []
        for _ in range(box.number(2)):
            box.number(index_size if methods else 0)
            extents.append((base + box.number(offset_size), box.number(length_size)))
        found[item] = method, extents
    return found
