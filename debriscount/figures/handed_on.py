"""Floor views on their way to the stage that is the last to need them."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray


class HandedOn(Mapping[str, NDArray[np.float32]]):
    """Views of which each is let go of once it is taken: those of ten passes take half a gigabyte.

    The one that the others are compared with stays.
    """

    def __init__(self, views: Mapping[str, NDArray[np.float32]], stays: str) -> None:
        self._views, self._names, self._stays = dict(views), tuple(views), stays

    def __getitem__(self, name: str) -> NDArray[np.float32]:
        """The view, which is there once."""
        return self._views[name] if name == self._stays else self._views.pop(name)

    def __contains__(self, name: object) -> bool:
        """Whether it was ever there."""
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        """Names of all, those let go of among them."""
        return iter(self._names)

    def __len__(self) -> int:
        """How many there ever were."""
        return len(self._names)
