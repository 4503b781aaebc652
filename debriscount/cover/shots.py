"""The shots of a run on their way to one light, and the bare floor that they show together."""

from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .alone import floor_around, likely_floor, pattern_around
from .changes import floor_without_blank
from .colours import LearnedColour
from .discriminant import SHADE, SHEEN
from .floor import RIM_PX, average_bare, disc
from .kinds import KindHint
from .light import stiff_gain, supple_gain
from .noise import FloorNoise, learn_mix, learn_noise, sigma_map


@dataclass(frozen=True, slots=True, eq=False)
class BareFloor:
    """The bare floor, its noise, where no shot shows it, and the debris' colours where they were learned with it.

    ``doubt_px`` is how much of what lies still may be debris or floor.
    """

    mean: NDArray[np.float32]
    noise: FloorNoise
    hidden: NDArray[np.bool_]
    colours: tuple[LearnedColour, ...] = ()
    doubt_px: float = 0.0


class Shots:
    """The shots of a run on their way to one light, and the floor they show."""

    def __init__(
        self,
        views: MutableMapping[str, NDArray[np.float32]],
        usable: NDArray[np.bool_],
        kinds: Sequence[KindHint],
        strewn: NDArray[np.bool_],
        spend: bool = False,
    ) -> None:
        """Take aligned views as `cover_maps` does, and match their light roughly."""
        self.usable, self.kinds, self.strewn, self.alone = usable, kinds, strewn, len(views) == 1
        self.reference = "blank" if "blank" in views else list(views)[-1]
        self.dirty_names = [name for name in views if name != "blank"]
        target = views[self.reference]
        self.matched = {}
        for name in list(views):
            view = views.pop(name) if spend else views[name]
            if name != self.reference:
                view = np.multiply(view, stiff_gain(view, target, usable), out=view if spend else None)
            self.matched[name] = view
        self.smallest, self.largest = min(k.size_px[0] for k in kinds), max(k.size_px[1] for k in kinds)
        # In a window three large grains wide floor is the median; of finer grains fifteen pixels hold enough.
        self.window = max(3 * self.largest, 15.0)
        # Grains of a few pixels are narrower than the photo's colour blocks: their colour is smeared, their
        # brightness is not, and their own shade is too small to be told from them.
        self.fine = not all(k.outlined for k in kinds)
        self.shade = SHEEN if self.fine else SHADE
        #: Diameter over which noise averages; None where grains are too fine for it.
        self.averaged_px = None if self.fine else self.smallest

    def dirty(self) -> list[NDArray[np.float32]]:
        """The shots that show debris."""
        return [self.matched[name] for name in self.dirty_names]

    def first_floor(self) -> BareFloor:
        """Floor and noise before any debris is known."""
        nothing = np.zeros(self.usable.shape, bool)
        if self.alone:
            view = self.matched[self.reference]
            mean, bare = likely_floor(view, self.usable, self.kinds)
            return BareFloor(mean, pattern_around(view, mean, bare, self.averaged_px), nothing)
        other = self.matched.get("blank", self.dirty()[0])
        difference = self.dirty()[-1] - other
        self.model = learn_noise(difference, other, self.usable)
        sigma = sigma_map(self.model, other)
        mix = np.eye(3) if self.fine else learn_mix(difference, sigma, self.usable, self.smallest)
        if "blank" in self.matched:
            return BareFloor(self.matched["blank"], FloorNoise(sigma, mix), nothing)
        mean, colours, doubt = floor_without_blank(self.matched, self.usable, self.kinds, self.strewn)
        return BareFloor(mean, FloorNoise(sigma_map(self.model, mean), mix), nothing, colours, doubt)

    def match_light(self, covered: Mapping[str, NDArray[np.bool_]]) -> None:
        """Bring the shots' light closer together, where none shows debris."""
        target = self.matched[self.reference]
        for name, view in self.matched.items():
            if name != self.reference:
                busy = covered[name] | covered[self.reference] | ~self.usable
                both = cv2.dilate(busy.astype(np.uint8), disc(RIM_PX)) == 0
                # Light changes over no less than two grains; narrower windows would follow the pattern of the floor.
                self.matched[name] = view * supple_gain(view, target, both, max(2 * self.largest, 24.0))

    def floor(self, covered: Mapping[str, NDArray[np.bool_]], before: BareFloor) -> BareFloor:
        """Floor and noise now that debris is known; ``before`` is what was known until now."""
        if self.alone:
            view, bare = self.matched[self.reference], self.usable & ~covered[self.reference]
            mean = floor_around(view, bare, self.largest)
            return BareFloor(mean, pattern_around(view, mean, bare, self.averaged_px), before.hidden)
        names = list(self.matched)
        mean, hidden = average_bare(
            [self.matched[n] for n in names],
            [covered[n] for n in names],
            before.noise.sigma,
            self.largest,
            before.mean,
            self.matched.get("blank"),
        )
        return BareFloor(
            mean, FloorNoise(sigma_map(self.model, mean), before.noise.mix), hidden, before.colours, before.doubt_px
        )
