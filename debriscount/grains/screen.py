"""Of what was found, keep what looks like debris more than like the floor of these photos."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ..cover.colours import LearnedColour
from ..cover.kinds import KindHint
from ..cover.looks import floor_contrasts, look_limit, looks_of, usual_look
from .find import FoundGrains

#: Share of a grain's pixels on which another shot may show debris if the grain came or went.
ELSEWHERE = 0.2


def screen_grains(
    found: Mapping[str, FoundGrains],
    views: Mapping[str, NDArray[np.float32]],
    kinds: Sequence[KindHint],
    colours: Sequence[LearnedColour],
    usable: NDArray[np.bool_],
    strewn: NDArray[np.bool_],
) -> dict[str, FoundGrains]:
    """The grains of every shot that do not look like the floor.

    Parameters
    ----------
    found : mapping of str to FoundGrains
        What was found in every shot.
    views : mapping of str to ndarray of float32, each of shape (H, W, 3)
        Light-matched views, linear light.
    kinds, colours : sequence
        The kinds and their learned colours.
    usable : ndarray of bool, shape (H, W)
        Floor that all shots show.
    strewn : ndarray of bool, shape (H, W)
        Where debris was strewn.

    Returns
    -------
    dict of str to FoundGrains

    Notes
    -----
    What is found around the patch in *before*, and anywhere in the blank, is floor; what came or went is debris.
    `look_limit` finds how unlike debris a grain may look before more of its like are floor than debris.
    """
    looks = {name: looks_of(_inside(f), len(f), views[name]) for name, f in found.items()}
    keep = {name: np.ones(len(f), bool) for name, f in found.items()}
    patch_px, around_px = float((usable & strewn).sum()), float((usable & ~strewn).sum())
    for k, (kind, colour) in enumerate(zip(kinds, colours, strict=True)):
        changed = [
            looks[name].look[(f.kind == k) & (looks[name].area_px > 0) & _alone(name, found)]
            for name, f in found.items()
            if name != "blank"
        ]
        usual = usual_look(np.concatenate(changed), kind, colour)
        unlike = {
            name: np.where(
                usual.faint(looks[name].look, floor_contrasts(views[name], usable & (f.labels == 0), kind)),
                np.inf,
                usual.unlike(looks[name].look),
            )
            for name, f in found.items()
        }
        first = "before" if "before" in found else next(iter(found))
        own = found[first].kind == k
        at = looks[first].row, looks[first].column
        own &= usable[at]  # what shows behind a wall's foot is neither strewn floor nor floor like it
        pool = [(unlike[first][own], looks[first].area_px[own], strewn[at][own])]
        around = around_px
        if "blank" in found:
            bare = (found["blank"].kind == k) & usable[looks["blank"].row, looks["blank"].column]
            pool.append((unlike["blank"][bare], looks["blank"].area_px[bare], np.zeros(int(bare.sum()), bool)))
            around += around_px + patch_px
        u, a, s = (np.concatenate([p[i] for p in pool]) for i in range(3))
        limit = look_limit(u, a, s, patch_px, around)
        for name, f in found.items():
            keep[name][(f.kind == k) & (unlike[name] >= limit) & (looks[name].area_px > 0)] = False
    return {name: _kept(f, keep[name]) for name, f in found.items()}


def _inside(found: FoundGrains) -> NDArray[np.int32]:
    return np.where(found.kind_map > 0, found.labels, 0)


def _alone(name: str, found: Mapping[str, FoundGrains]) -> NDArray[np.bool_]:
    """Whether each grain of a shot lies where some other shot but the blank shows no debris."""
    own = found[name]
    labels = _inside(own)
    area = np.maximum(np.bincount(labels.ravel(), minlength=len(own) + 1), 1)
    alone = np.zeros(len(own) + 1, bool)
    for other, f in found.items():
        if other not in (name, "blank"):
            alone |= np.bincount(labels.ravel(), (f.kind_map > 0).ravel(), len(own) + 1) < ELSEWHERE * area
    return alone[1:]


def _kept(found: FoundGrains, keep: NDArray[np.bool_]) -> FoundGrains:
    """Those grains alone."""
    if keep.all():
        return found
    number = np.concatenate([[0], np.cumsum(keep) * keep]).astype(np.int32)
    labels = number[found.labels]
    gone = (found.labels > 0) & (labels == 0)
    kind_map = np.where(gone, np.uint8(0), found.kind_map)
    return FoundGrains(
        found.kind[keep], found.x_px[keep], found.y_px[keep], found.area_px[keep], found.limit_px[keep],
        found.clump[keep], kind_map, labels,
    )  # fmt: skip
