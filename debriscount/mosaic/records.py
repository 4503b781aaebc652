"""What is kept of photos that were joined: frozen records whose fields carry their units."""

from dataclasses import dataclass

from ..flags import Flag


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedPart:
    """One of the photos that make a shot: file, SHA-256, the markers seen in it, and the share of the shot it shows."""

    file: str
    sha256: str
    markers_seen: tuple[int, ...]
    share_percent: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Joined:
    """What is known of a photo that was joined of several.

    ``ties`` are the places that neighbours show both, ``apart_mm`` the median distance between where they have them,
    which holds the noise of each such place, ``unseen`` the share of the patch's floor that none shows.
    """

    parts: tuple[JoinedPart, ...]
    ties: int
    apart_mm: float
    unseen: float
    flags: tuple[Flag, ...]
