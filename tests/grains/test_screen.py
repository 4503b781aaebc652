"""What looks like the floor is left out: painted grains, specks and stains."""

import cv2
import numpy as np
from numpy.typing import NDArray

from debriscount.cover.colours import LearnedColour
from debriscount.cover.kinds import KindHint
from debriscount.grains.find import FoundGrains
from debriscount.grains.screen import screen_grains

LENTIL, FLOOR, STAIN = (np.array(c) for c in ([0.35, 0.06, 0.02], [0.3, 0.2, 0.11], [0.20, 0.12, 0.05]))
#: As bright as the floor, and yellower.
PALE = np.array([0.29, 0.215, 0.06])
KIND = KindHint(LENTIL, (11.0, 13.0))
COLOUR = LearnedColour(LENTIL, np.diag((0.1 * LENTIL) ** 2), (0.0, 0.0), 1000)
SHAPE = (300, 400)
STREWN = np.zeros(SHAPE, bool)
STREWN[50:250, 50:350] = True


def shot(*spots: tuple[int, int, NDArray[np.float64]]) -> tuple[FoundGrains, NDArray[np.float32]]:
    """Discs of 12 px taken for grains, and how they look."""
    labels = np.zeros(SHAPE, np.int32)
    view = np.tile(FLOOR, (*SHAPE, 1)).astype(np.float32)
    for k, (x, y, colour) in enumerate(spots, start=1):
        cv2.circle(labels, (x, y), 6, (k,), -1)
        view[labels == k] = colour
    count = len(spots)
    x_px, y_px = (np.array([float(s[i]) for s in spots]) for i in (0, 1))
    return FoundGrains(
        np.zeros(count, np.int16), x_px, y_px, np.full(count, 113.0), np.zeros(count), np.arange(count, dtype=np.int32),
        (labels > 0).astype(np.uint8), labels,
    ), view  # fmt: skip


def lattice(colour: NDArray[np.float64], xs: range, ys: range) -> list[tuple[int, int, NDArray[np.float64]]]:
    return [(x, y, colour) for x in xs for y in ys]


def test_stains_that_lie_around_the_patch_as_well_are_left_out() -> None:
    grains = lattice(LENTIL, range(70, 340, 30), range(70, 240, 40))
    stains = lattice(STAIN, range(15, 390, 30), range(15, 290, 20))
    stains = [s for s in stains if all(abs(s[0] - g[0]) > 14 or abs(s[1] - g[1]) > 14 for g in grains)]
    before, after = shot(*grains, *stains), shot(*grains[:5], *stains)
    screened = screen_grains(
        {"before": before[0], "after": after[0]}, {"before": before[1], "after": after[1]},
        [KIND], [COLOUR], np.ones(SHAPE, bool), STREWN,
    )  # fmt: skip
    assert len(screened["before"]) == len(grains)
    assert len(screened["after"]) == 5
    kept = screened["after"]
    assert set(np.unique(kept.labels)) == set(range(6))
    assert (kept.kind_map > 0).sum() == (kept.labels > 0).sum()


def test_where_the_floor_around_shows_nothing_all_stay() -> None:
    grains = lattice(LENTIL, range(70, 340, 30), range(70, 240, 40))
    before, after = shot(*grains), shot(*grains[:3])
    screened = screen_grains(
        {"before": before[0], "after": after[0]}, {"before": before[1], "after": after[1]},
        [KIND], [COLOUR], np.ones(SHAPE, bool), STREWN,
    )  # fmt: skip
    assert screened["before"] is before[0]
    assert len(screened["after"]) == 3


def test_what_shows_behind_a_wall_speaks_neither_for_floor_nor_for_debris() -> None:
    """A row of things of the debris' colour along the foot of a wall, where nothing was strewn."""
    grains = lattice(LENTIL, range(70, 340, 30), range(70, 240, 40))
    foot = lattice(LENTIL, range(15, 390, 15), range(8, 9))
    before, after = shot(*grains, *foot), shot(*grains[:5], *foot)
    usable = np.ones(SHAPE, bool)
    usable[:16] = False
    screened = screen_grains(
        {"before": before[0], "after": after[0]}, {"before": before[1], "after": after[1]},
        [KIND], [COLOUR], usable, STREWN,
    )  # fmt: skip
    inside = (screened[name].y_px > 16 for name in ("before", "after"))
    assert [int(i.sum()) for i in inside] == [len(grains), 5]


def test_blots_of_colour_noise_are_left_out_though_nothing_like_them_lies_around_the_patch() -> None:
    """Grains as bright as the floor on the whole, with a lit side and a dark one; blots have their hue and neither."""
    kind = KindHint(PALE, (11.0, 13.0))
    learned = LearnedColour(PALE, np.diag((0.1 * PALE) ** 2), (0.0, 0.0), 1000)
    grains = lattice(PALE, range(70, 340, 30), range(70, 240, 40))
    blots = [(x + 15, y + 20, PALE) for x, y, _ in grains[::12] if x < 320 and y < 220]
    shots = {"before": shot(*grains, *blots), "after": shot(*grains[:5])}
    rng = np.random.default_rng(1)
    for _, view in shots.values():
        np.multiply(view, 1 + 0.03 * rng.standard_normal((*SHAPE, 1)), out=view, casting="same_kind")
        for x, y, _ in grains:
            view[y - 5 : y, x - 4 : x + 5] *= 1.3
            view[y + 1 : y + 6, x - 4 : x + 5] *= 0.7
    screened = screen_grains(
        {name: found for name, (found, _) in shots.items()}, {name: view for name, (_, view) in shots.items()},
        [kind], [learned], np.ones(SHAPE, bool), STREWN,
    )  # fmt: skip
    assert len(screened["before"]) == len(grains)
    assert len(screened["after"]) == 5
