"""What kind of photo a file holds: its first bytes decide, never its name."""

from collections.abc import Mapping
from contextlib import suppress
from io import BytesIO

from ..errors import PhotoFileError

#: Name in Pillow by the first bytes. Pillow knows more kinds, but those start foreign programs or are no photos.
_MAGIC = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\0", "TIFF"),
    (b"MM\0*", "TIFF"),
    (b"II+\0", "TIFF"),  # BigTIFF
    (b"MM\0+", "TIFF"),
    (b"GIF8", "GIF"),
    (b"BM", "BMP"),
)
_NAMES = "JPEG, HEIC, DNG, PNG, TIFF, WebP, AVIF, BMP or GIF"
#: Brands of an ISO base media file (ISO/IEC 14496-12) whose first picture is coded as HEIF (ISO/IEC 23008-12) or AVIF.
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"}
_AVIF_BRANDS = {b"avif", b"avis"}

# Tags of TIFF (revision 6.0) and of DNG (specification 1.4).
_NEW_SUBFILE_TYPE = 254
_REDUCED = 1
_DNG_VERSION = 50706


def container(content: bytes) -> str:
    """Return "HEIF", "DNG" or the name that Pillow has for the kind of file.

    Raises
    ------
    PhotoFileError
        The bytes are no photo that can be read; the message does not name the file.
    """
    found = next((name for magic, name in _MAGIC if content.startswith(magic)), None)
    if found == "TIFF":
        return _tiff_or_raw(content)
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    if content[4:8] == b"ftyp":
        brands = _brands(content)
        if brands & _AVIF_BRANDS:
            return "AVIF"
        if brands & _HEIF_BRANDS:
            return "HEIF"
    if found is None:
        raise PhotoFileError(f"is no photo that can be read. Give {_NAMES}.")
    return found


def _brands(content: bytes) -> set[bytes]:
    """Major and compatible brands out of the file type box; between them stands the minor version, no brand."""
    end = min(int.from_bytes(content[:4], "big"), 256)
    return {content[8:12]} | {content[i : i + 4] for i in range(16, end, 4)}


def _tiff_or_raw(content: bytes) -> str:
    """Tell TIFF from the raw files built like it, whose first picture is but a preview."""
    tags = _first_tags(content)
    if _DNG_VERSION in tags:
        return "DNG"
    if content[8:10] == b"CR" or tags.get(_NEW_SUBFILE_TYPE) == _REDUCED:
        raise PhotoFileError(
            "is a raw file in a format of the camera's maker. Convert it to DNG, or export it as JPEG at best quality."
        )
    return "TIFF"


def _first_tags(content: bytes) -> Mapping[int, object]:
    """Tags of the first picture; those that can be read, if they are damaged."""
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    header_size = 16 if b"+" in content[2:4] else 8
    tags = {}
    with suppress(Exception):
        directory = ImageFileDirectory_v2(content[:header_size])
        file = BytesIO(content)
        file.seek(directory.next)
        directory.load(file)
        tags = {tag: directory[tag] for tag in (_NEW_SUBFILE_TYPE, _DNG_VERSION) if tag in directory}
    return tags
