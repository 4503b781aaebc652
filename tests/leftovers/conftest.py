"""Fates of grains as they truly were, from made-up scenes without photos."""

from debriscount.grains.table import GrainTable
from debriscount.leftovers.records import Fates
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
