"""What is known of a kind of debris before its colour is learned from the photos."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Blur of a sharp phone photo resampled once, standard deviation in px (common practice, no source); it only
#: sets how far out the cover of small grains is gathered and how high their peaks are expected.
BLUR_PX = 0.8
#: Grains at least this many pixels across have an outline to measure; smaller ones are all edge, and only
#: the sum of their cover is right.
OUTLINED_PX = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class KindHint:
    """Rough linear colour, shape (3,), and the 5th and 95th percentile of grain diameter, px.

    ``size_known`` is False for sizes guessed from the photos, where blur makes small grains look larger.
    """

    colour: NDArray[np.float64]
    size_px: tuple[float, float]
    size_known: bool = True

    @property
    def outlined(self) -> bool:
        """Whether even small grains of this kind have an inside."""
        return self.size_px[0] >= OUTLINED_PX

    @property
    def least_peak(self) -> float:
        """Cover that the middle of a small grain reaches."""
        return peak_cover(self.size_px[0])

    @property
    def usual_peak(self) -> float:
        """Cover that the middle of a middling grain reaches."""
        return peak_cover(float(np.sqrt(self.size_px[0] * self.size_px[1])))

    @property
    def largest_peak(self) -> float:
        """Cover that the middle of a large grain reaches."""
        return peak_cover(self.size_px[1])


def peak_cover(diameter_px: float) -> float:
    """Cover that the middle of a grain reaches after the photo's blur: 1 - exp(-r^2 / 2 s^2).

    A disc under a Gaussian blur of standard deviation s, in closed form at its centre.
    """
    return float(1 - np.exp(-((diameter_px / 2) ** 2) / (2 * BLUR_PX**2)))
