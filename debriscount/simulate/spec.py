"""What a made-up scene is to be: frozen records, checked when the scene is made."""

from dataclasses import dataclass, field

from ..inputs.debris import DebrisKind
from ..inputs.patch import Patch

Rgb = tuple[int, int, int]
Polygon = tuple[tuple[float, float], ...]

FLOORS = ("plain", "planks", "tile", "terrazzo", "carpet")
SHAPES = ("round", "long", "irregular")
PATHS = ("lanes", "wander", "spiral", "everywhere")


@dataclass(frozen=True, slots=True)
class Floor:
    """A kind of floor, one of ``FLOORS``.

    ``color_srgb`` is the floor's own colour, ``second_srgb`` that of joints (planks), grout (tile) or
    specks (terrazzo); None takes the kind's usual colours. ``contrast`` scales all texture, 0 to 3.
    ``unit_mm`` is the width of a plank or tile, the typical speck, the pile. ``gloss`` is the light
    that a lamp's reflection adds, 1 being a white surface. ``debris_specks`` is the share of
    terrazzo specks that have a debris' colour.
    """

    kind: str = "planks"
    color_srgb: Rgb | None = None
    second_srgb: Rgb | None = None
    contrast: float = 1.0
    unit_mm: float | None = None
    gloss: float = 0.0
    debris_specks: float = 0.25


@dataclass(frozen=True, slots=True)
class Portion:
    """Debris of one kind and how much of it is scattered.

    Either ``cover_share`` (summed silhouettes over the area of the patch) or ``grams``, which needs
    the kind's area mass. ``shape`` is one of ``SHAPES``; ``aspect`` is length over width of long
    grains; ``height_share`` height over width; ``color_spread`` the standard deviation of a grain's
    lightness as a share of it.
    """

    kind: DebrisKind
    cover_share: float | None = None
    grams: float | None = None
    shape: str = "round"
    aspect: float = 3.0
    height_share: float = 0.45
    color_spread: float = 0.08


@dataclass(frozen=True, slots=True)
class Strewing:
    """How debris lies: in ``clumps`` heaps, along walls, or anywhere.

    ``clumped_share`` and ``wall_share`` are the shares of grains in heaps of standard deviation
    ``clump_mm`` and within about ``wall_mm`` of a wall. ``single_layer`` moves grains off one another.
    """

    clumps: int = 4
    clumped_share: float = 0.25
    clump_mm: float = 25.0
    wall_share: float = 0.1
    wall_mm: float = 15.0
    single_layer: bool = True


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One pass of the machine.

    ``path`` is one of ``PATHS``. In "lanes" a place is passed over if its distance across ``heading_deg`` from a lane's
    middle is less than half of ``width_mm``; lanes repeat every ``pitch_mm``. ``pitch_spread_mm`` is the standard
    deviation of each lane's own offset from there; ``wobble_mm`` the root mean square by which its middle strays
    from its straight line, in waves of a few hundred millimetres. "wander" drives straight chords over patch and margin
    and turns at their border by a random angle; "spiral" winds outward from a random spot, ``pitch_mm`` from winding to
    winding; both are ``width_mm`` wide and end when ``reach_share`` of the patch is passed over. "everywhere" passes
    over all places.

    Never reached, whatever the path, are places within ``wall_gap_mm`` of a wall, within ``corner_radius_mm`` of the
    foot of a corner where two walls meet, and inside the polygons ``missed_mm``.

    Where it passes, ``pickup`` is the chance of being picked up, in the edge and corner zones ``edge_pickup`` and
    ``corner_pickup``. Of what it passes over and leaves, ``displaced_share`` is moved by about ``displaced_mm``, mostly
    along ``heading_deg``; ``flung_share`` of what it passes over lands in the margin: along the patch's side
    ``flung_side``, or anywhere in it.
    """

    heading_deg: float = 0.0
    pitch_mm: float = 150.0
    width_mm: float = 135.0
    offset_mm: float = 40.0
    pickup: float = 0.92
    edge_pickup: float = 0.55
    corner_pickup: float = 0.25
    displaced_share: float = 0.3
    displaced_mm: float = 20.0
    flung_share: float = 0.005
    path: str = "lanes"
    reach_share: float = 0.85
    wobble_mm: float = 0.0
    pitch_spread_mm: float = 0.0
    wall_gap_mm: float = 0.0
    corner_radius_mm: float = 0.0
    missed_mm: tuple[Polygon, ...] = ()
    flung_side: str | None = None


@dataclass(frozen=True, slots=True)
class Camera:
    """The camera over the patch.

    ``height_mm`` above the floor; None is as low as all markers are still seen. The camera leans
    by ``tilt_deg`` and stands towards ``azimuth_deg`` (0 along x, 90 along y). ``focal_share`` is the
    focal length over the long side of the photo. ``k1`` goes with it: a point at u focal lengths
    from the principal point moves to u (1 + k1 |u|²). Between shots a hand-held camera moves by
    about a centimetre and a degree, one on a tripod by tenths of a millimetre. ``across`` by ``down`` photos make a
    shot, each of its own part of the patch; neighbours share ``overlap`` of their width.
    """

    height_mm: float | None = None
    tilt_deg: float = 4.0
    azimuth_deg: float = 90.0
    roll_deg: float = 0.0
    megapixels: float = 12.0
    focal_share: float = 0.75
    k1: float = -0.01
    center_offset_px: tuple[float, float] = (0.0, 0.0)
    hand_held: bool = True
    across: int = 1
    down: int = 1
    overlap: float = 0.3


@dataclass(frozen=True, slots=True)
class Light:
    """The light in the room.

    The main light comes from ``azimuth_deg`` at ``elevation_deg``; ``shadow`` is how much of the
    light its cast shadows take, ``contact`` how much is missing where a grain meets the floor,
    ``shading`` how much a grain's flanks differ. ``gradient`` is the relative change across the patch,
    ``person`` the depth of a soft shadow that moves between shots, ``wall_shade`` the loss at the foot
    of a wall.
    """

    azimuth_deg: float = 215.0
    elevation_deg: float = 55.0
    shadow: float = 0.35
    contact: float = 0.2
    shading: float = 0.5
    gradient: float = 0.15
    person: float = 0.08
    wall_shade: float = 0.2


@dataclass(frozen=True, slots=True)
class Imaging:
    """From light to file.

    ``blur_px`` is the standard deviation of the blur in linear light; ``full_well`` and ``read``
    (electrons) make the noise; ``bayer`` takes one colour a pixel and interpolates; ``denoise`` and
    ``sharpen`` are strengths, 0 to 1. ``exposure_drift`` and ``white_drift`` are standard deviations
    between shots, as shares; ``vignette`` the loss of light in the photo's corners.
    ``jpeg_quality`` is OpenCV's, 1 to 100; ``chroma_420`` halves the colour's resolution.
    """

    exposure: float = 1.0
    exposure_drift: float = 0.05
    white_drift: float = 0.02
    vignette: float = 0.15
    blur_px: float = 0.65
    full_well: float = 4200.0
    read: float = 5.0
    bayer: bool = False
    denoise: float = 0.4
    sharpen: float = 0.3
    jpeg_quality: int = 92
    chroma_420: bool = True


@dataclass(frozen=True, slots=True)
class SceneSpec:
    """All that makes a scene; the same spec makes the same files with the same library versions.

    ``passes`` may be empty, for a scene of *blank* and *before* alone.
    """

    patch: Patch
    portions: tuple[Portion, ...]
    floor: Floor = field(default_factory=Floor)
    scatter: Strewing = field(default_factory=Strewing)
    passes: tuple[Cleaning, ...] = (Cleaning(),)
    camera: Camera = field(default_factory=Camera)
    light: Light = field(default_factory=Light)
    imaging: Imaging = field(default_factory=Imaging)
    blank: bool = True
    seed: int = 0

    @property
    def shot_names(self) -> tuple[str, ...]:
        """Names of the shots in the order in which they are taken."""
        afters = ("after" if i == 0 else f"after{i + 1}" for i in range(len(self.passes)))
        return (*(("blank",) if self.blank else ()), "before", *afters)

    def photo_names(self, shot: str) -> tuple[str, ...]:
        """Names of the photos that make a shot: its own or, of several, numbered from 1 in a folder of its name."""
        number = self.camera.across * self.camera.down
        return (shot,) if number == 1 else tuple(f"{shot}/{k + 1}" for k in range(number))

    @property
    def shot_of(self) -> dict[str, str]:
        """The shot of every photo, by the photo's name in the order in which they are taken."""
        return {photo: shot for shot in self.shot_names for photo in self.photo_names(shot)}
