"""What the scale said about one run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import fmean

from .patch import ZONES

#: The international avoirdupois ounce, exactly (NIST Handbook 44, appendix C).
G_PER_UNIT = {"g": 1.0, "oz": 28.349523125}
#: No scale for this job carries more; a larger number is a slip.
MOST_G = 100_000.0
#: What may have been swept up: the leftovers of a zone, or all of them together.
SWEPT = (*ZONES, "total")
#: Where debris stays beside the bin; hair is what was cut off the brush.
ELSEWHERE = ("brush", "filter", "wheels", "hair")


@dataclass(frozen=True, slots=True)
class Scale:
    """What is known of a scale; what is None is as usual for a kitchen scale (`debriscount.scale.readings`).

    ``readability_g`` is the step of its display, ``repeatability_g`` the standard deviation of readings of one load,
    ``linearity_g`` the greatest error at any load, either way, once it shows zero without load, ``capacity_g`` its
    greatest load, ``sensitivity_percent`` the standard uncertainty of a factor that all its readings share.
    """

    readability_g: float
    repeatability_g: float | None = None
    linearity_g: float | None = None
    capacity_g: float | None = None
    sensitivity_percent: float = 0.0


@dataclass(frozen=True, slots=True)
class Net:
    """A mass as the difference of two loads, each read once or more.

    Without ``tare_g`` the scale was set to zero with the vessel on it, and ``gross_g`` is the mass itself.
    """

    gross_g: tuple[float, ...]
    tare_g: tuple[float, ...] = ()

    @property
    def ends_g(self) -> tuple[float, float]:
        """Loads between which the mass lies: means of the tare, or 0, and of the gross readings."""
        return fmean(self.tare_g) if self.tare_g else 0.0, fmean(self.gross_g)

    @property
    def mass_g(self) -> float:
        """Gross less tare."""
        tare_g, gross_g = self.ends_g
        return gross_g - tare_g


@dataclass(frozen=True, slots=True)
class Weighing:
    """Everything weighed for one run, in grams; ``unit`` is what the scale showed.

    ``dispensed`` is what left the cup, or was in it: then ``left_in_cup`` is what stayed there. ``bin`` is the bin of
    the machine after the run less before, ``emptied`` its content once emptied. ``swept`` is keyed by ``SWEPT``,
    ``elsewhere`` by ``ELSEWHERE``. ``usual_cup_g`` and ``usual_bin_g`` are readings of cup and bin when they were
    clean, empty where there are none. ``file`` and ``sha256`` say where it stands.
    """

    scale: Scale
    dispensed: Net
    left_in_cup: Net | None = None
    usual_cup_g: tuple[float, ...] = ()
    bin: Net | None = None
    usual_bin_g: tuple[float, ...] = ()
    emptied: Net | None = None
    swept: Mapping[str, Net] = field(default_factory=dict)
    elsewhere: Mapping[str, Net] = field(default_factory=dict)
    unit: str = "g"
    file: str = ""
    sha256: str = ""

    @property
    def nets(self) -> dict[str, Net]:
        """Every mass by name: dispensed, left in cup, bin, emptied, "swept open", "brush" and so on."""
        single = {
            "dispensed": self.dispensed,
            "left in cup": self.left_in_cup,
            "bin": self.bin,
            "emptied": self.emptied,
        }
        several = {f"swept {zone}": net for zone, net in self.swept.items()} | dict(self.elsewhere)
        return {name: net for name, net in single.items() if net is not None} | several
