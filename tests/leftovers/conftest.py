"""Fates of grains as they truly were, from made-up scenes without photos."""

from debriscount.grains.table import GrainTable
from debriscount.inputs.patch import Patch
from debriscount.leftovers.lanes.find import find_lanes
from debriscount.leftovers.reach.find import Pickups, find_reach
from debriscount.leftovers.reach.sites import gather_sites
from debriscount.leftovers.reach.survival import Survival, learn_survival
from debriscount.leftovers.records import Fates, Lanes, Reach, Walls
from debriscount.leftovers.walls.find import find_walls
from debriscount.registration.grid import FloorGrid
from debriscount.simulate.spec import SceneSpec
from debriscount.simulate.truth import SceneTruth, draw_truth


def true_grains(truth: SceneTruth, state: int) -> GrainTable:
    """The grains that lie on patch and margin in a state, with their true places and areas."""
    lying = truth.lying[state]
    grains, places = truth.grains, truth.places_mm[state][lying]
    return GrainTable(
        grains.kind[lying], places[:, 0], places[:, 1], grains.area_mm2[lying], truth.zone_codes(state)[lying]
    )


def true_fates(spec: SceneSpec, first: int = 0, last: int = 1) -> Fates:
    """What became of the grains from state ``first`` (0 is *before*) to state ``last``."""
    truth = draw_truth(spec)
    moved = ((truth.places_mm[first] != truth.places_mm[last]).any(axis=1)) | ~truth.lying[last]
    kinds = len(truth.kinds)
    return Fates(
        earlier=true_grains(truth, first),
        later=true_grains(truth, last),
        stayed=(~moved[truth.lying[first]]).astype(float),
        untouched=(~moved[truth.lying[last]]).astype(float),
        matched=(True,) * kinds,
        least_shift_mm=(0.3,) * kinds,
        u_untouched_percent=(1.0,) * kinds,
        chance_percent=(0.0,) * kinds,
    )


def learned(fates: Fates, patch: Patch) -> Survival | None:
    return learn_survival(gather_sites(fates, patch), patch)


def reach_of(fates: Fates, patch: Patch, pickups: Pickups, grid: FloorGrid | None = None) -> Reach | None:
    survival = learned(fates, patch)
    return None if survival is None else find_reach(survival, fates, patch, pickups, grid)


def lanes_in(fates: Fates, patch: Patch) -> Lanes | None:
    survival = learned(fates, patch)
    return None if survival is None else find_lanes(survival.of_grains(fates), fates, patch)


def walls_in(fates: Fates, patch: Patch) -> Walls:
    survival = learned(fates, patch)
    return find_walls(None if survival is None else survival.of_grains(fates), fates, patch)
