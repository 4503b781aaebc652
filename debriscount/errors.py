"""Everything that can be wrong with what a person gives us, one class per thing they can put right.

Each message says what is wrong, where, and what to do. The command line prints it and exits with
``exit_code``: 2 for input that must be corrected, 3 for a photo that is not fit to measure.
"""

from .printable import printable

#: Characters of a message: room for the paths of a run's photos, and none for a file that wants to fill the terminal.
_MOST = 2000


class DebriscountError(Exception):
    """Base of every error that a user can put right."""

    exit_code = 2

    def __str__(self) -> str:
        """Return the message on one line, without what could command a terminal: it quotes files and their names."""
        return printable(" ".join(super().__str__().splitlines()), _MOST)


class InputFileError(DebriscountError, ValueError):
    """A file that a person writes (patch.toml, debris.toml) has a fault."""


class PhotoFileError(DebriscountError, ValueError):
    """A photo file is missing, damaged or no photo at all."""


class FilmFileError(DebriscountError, ValueError):
    """A film file is missing, damaged or no film at all, or it cannot be sampled as asked."""


class PatchLayoutError(DebriscountError, ValueError):
    """A patch's size, walls, zones or marker places cannot work."""


class LensError(DebriscountError, ValueError):
    """A lens does not go with a photo, or the board for a calibration is described wrongly."""


class SheetError(DebriscountError, ValueError):
    """A sheet of markers cannot be printed as asked, or the patch file cannot be corrected for how it was printed."""


class SceneError(DebriscountError, ValueError):
    """A scene cannot be simulated: a field is out of range, or a marker out of sight."""


class CountOptionsError(DebriscountError, ValueError):
    """The options of count contradict each other, the photo or the debris file."""


class ShotOptionsError(DebriscountError, ValueError):
    """The options of shot contradict each other, or ask for an accuracy out of range."""


class WeighingError(DebriscountError, ValueError):
    """An answer about a weighing is impossible, or the weighing as a whole is."""


class CampaignError(DebriscountError, ValueError):
    """A campaign, or a run of it, is not there, is not whole or cannot be changed as asked."""


class ClusterError(DebriscountError, OSError):
    """A cluster that the work was to be given to does not answer."""


class CompareError(DebriscountError, ValueError):
    """Runs cannot be grouped, compared or planned as asked."""


class PortionError(DebriscountError, ValueError):
    """Portions, their weights or their photos cannot be used as given."""


class ManualTopicError(DebriscountError, ValueError):
    """The manual has no page of that name."""


class OutputError(DebriscountError, OSError):
    """A result cannot be written where it was asked for."""


class ShotOrderError(DebriscountError, ValueError):
    """Debris grew everywhere: *before* and *after* look exchanged."""


class PhotoUnfitError(DebriscountError, ValueError):
    """A photo can be read but not measured."""

    exit_code = 3


class MarkerError(PhotoUnfitError):
    """Too few of the patch's markers are seen, or they do not lie where the patch file says."""


class CalibrationError(PhotoUnfitError):
    """No lens can be learnt from the photos of a board."""


class PhotosDifferError(PhotoUnfitError):
    """The photos of one run do not show the same floor."""


class NoDebrisError(PhotoUnfitError):
    """The *before* photo shows no debris, so that no share of it can be given."""


class UnknownDebrisError(PhotoUnfitError):
    """What of a photo is debris cannot be told without a file that says what it looks like."""


class MissingLibraryError(DebriscountError, ImportError):
    """A system library that OpenCV needs is not installed."""
