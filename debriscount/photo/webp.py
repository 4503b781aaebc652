"""WebP's own word of its size, since opening one takes memory for all its pixels already (RFC 9649, 2.5 to 2.7)."""

_SIMPLE, _LOSSLESS, _EXTENDED = b"VP8 ", b"VP8L", b"VP8X"


def webp_size(content: bytes) -> tuple[int, int]:
    """Return width and height, px, out of the header of a WebP file; (0, 0) where it has none."""
    kind, head = content[12:16], content[20:30]
    if kind == _EXTENDED:
        return int.from_bytes(head[4:7], "little") + 1, int.from_bytes(head[7:10], "little") + 1
    if kind == _LOSSLESS:
        bits = int.from_bytes(head[1:5], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if kind == _SIMPLE:
        return int.from_bytes(head[6:8], "little") & 0x3FFF, int.from_bytes(head[8:10], "little") & 0x3FFF
    return 0, 0
