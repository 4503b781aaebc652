"""How much debris stays where the machine acted, and which places it acted on, learned from one pass.

Three kinds of reason may leave a place unreached: a strip between lanes, a gap along a wall or in a corner, and
anything else that neighbours share. Every choice among them is a mixture of its own; as which of them were at work is
unknown, they are averaged by their probability [1]_.

References
----------
.. [1] J. A. Hoeting, D. Madigan, A. E. Raftery, C. T. Volinsky, "Bayesian model averaging: a tutorial", Statistical
   Science 14 (1999) 382-417.
.. [2] F. Pauli, W. Racugno, L. Ventura, "Bayesian composite marginal likelihoods", Statistica Sinica 21 (2011) 149-164:
   likelihoods of dependent parts, raised to a power so that their posterior is as wide as it should be.
"""

from dataclasses import dataclass

import numpy as np

from ...arrays import Floats, Mask
from ...inputs.patch import Patch
from ..gaps import beyond_gaps
from ..records import Fates
from .chains import Straight, straight_strips
from .mixture import LogEvidence, Mixture, share
from .neighbours import Neighbours, find_neighbours
from .sites import Sites

#: Places without which nothing is learned: fewer do not tell a share that stays from places not reached.
_LEAST_PLACES = 30
#: Share reached that the first search for strips goes by, until it is learned.
_FIRST_SHARE = 0.9
#: Sets of parameters drawn; 40 place a standard deviation to a ninth of itself.
_DRAWS = 40
#: How many places share one piece of evidence: neighbours are predicted from one another, so that their likelihoods are
#: not independent. Uncertainties are those of a likelihood raised to the inverse [2]_.
_SHARED = 2.0
#: A few grains in a hundred are matched wrongly, and no fewer should ever be believed, ln(0.97 / 0.03): one wrong grain
#: would outweigh many right ones.
_MOST_SAID = 3.5


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Survival:
    """What was learned of a pass.

    ``reached`` is the chance that each of N places was reached; ``stays`` the share that stays where the machine acted
    and ``evidence`` the log likelihoods of what is seen in each place if it was reached and if not. ``draws`` of shape
    (T, N) holds chances as other reasons and parameters that are as probable give them. ``lost`` is the share lost
    where it never acted, ``usual`` the share of places that it reached.
    """

    sites: Sites
    near: Neighbours
    reached: Floats
    stays: Floats
    evidence: LogEvidence
    draws: Floats
    lost: float
    usual: float

    def of_grains(self, fates: Fates) -> "GrainEvidence":
        """What each grain of the patch says of its place; ``fates`` are those that the places were gathered from."""
        inside = self.sites.of_grain >= 0
        stayed, stays = fates.stayed[inside], self.stays[self.sites.of_grain[inside]]
        noise = self.sites.grain_noise[inside]
        trial = stayed * np.log((1 - self.lost) / stays) + (1 - stayed) * np.log(self.lost / (1 - stays))
        # Of a share that is an estimate: normal about one or the other.
        off = (stayed - stays) ** 2 - (stayed - 1 + self.lost) ** 2
        ratio = np.where(noise == 0, trial, off / (2 * np.where(noise == 0, 1, noise)))
        return GrainEvidence(inside, np.clip(ratio, -_MOST_SAID, _MOST_SAID), self.usual)


@dataclass(frozen=True, slots=True, eq=False)
class GrainEvidence:
    """What grains say of their places.

    ``inside`` tells which grains of the earlier shot lie in the patch; ``ratio`` has an entry for each of these, in
    their order: the log likelihood of its fate if the machine did not reach its place over that if it did. ``usual`` is
    the share of places reached.
    """

    inside: Mask
    ratio: Floats
    usual: float


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    mixture: Mixture
    params: Floats
    log_evidence: float


def learn_survival(sites: Sites, patch: Patch, *, seed: int = 0) -> Survival | None:
    """Learn where the machine acted and how much stays there.

    Parameters
    ----------
    sites : Sites
        Places with debris, from `gather_sites`.
    patch : Patch
        Its walls, along which and in whose corners a machine may leave debris.
    seed : int
        Seed of the draws, so that the same grains give the same figures.

    Returns
    -------
    Survival or None
        None where places are too few to be learned from.
    """
    if len(sites) < _LEAST_PLACES:
        return None
    near = find_neighbours(sites)
    params, usual = _first_guess(sites), _FIRST_SHARE
    strips: Straight | None = None
    fits: list[_Fitted] = []
    # Strips are looked for twice: with what stays as if all were reached, then with what was learned.
    for _ in range(2):
        evidence = Mixture(sites, np.zeros((len(sites), 0)), np.ones(len(sites))).evidence(params)
        # A gap along a wall would be taken for a strip, and hide strips that run another way.
        beyond = beyond_gaps(sites.x_mm, sites.y_mm, patch, evidence, np.full(len(sites), usual))
        away = evidence[0] * beyond, evidence[1] * beyond
        strips = straight_strips(sites.x_mm, sites.y_mm, away, usual, strips)
        again = _fits(sites, patch, near, strips, evidence, params, [fit.params for fit in fits])
        # What was learned may be worse to go by than the first guess: a gap that is taken for floor hides itself.
        fits = [max(pair, key=lambda fit: fit.log_evidence) for pair in zip(fits or again, again, strict=True)]
        best = max(fits, key=lambda fit: fit.log_evidence)
        params = best.params[: sites.groups + 1]
        # Off 0 and 1, or no chain would ever change its state.
        usual = float(np.clip(share(strips.log_odds + away[0] - away[1]).mean(), 0.02, 0.995))
    behind = np.array([fit.log_evidence - best.log_evidence for fit in fits])
    chances = np.array([fit.mixture.reached(fit.params) for fit in fits])
    rng = np.random.default_rng(seed)
    drawn = rng.multinomial(_DRAWS, _normed(behind / _SHARED))
    draws = np.array(
        [
            fits[number].mixture.reached(params)
            for number in np.flatnonzero(drawn)
            for params in fits[number].mixture.draw(fits[number].params, int(drawn[number]), _SHARED, rng)
        ]
    )
    return Survival(
        sites=sites,
        near=near,
        reached=_normed(behind) @ chances,
        stays=best.mixture.stays(best.params)[sites.group],
        evidence=best.mixture.evidence(best.params),
        draws=draws,
        lost=float(share(best.params[sites.groups : sites.groups + 1])[0]),
        usual=usual,
    )


def _normed(log_weights: Floats) -> Floats:
    weights = np.exp(log_weights)
    return np.asarray(weights / weights.sum())


def _first_guess(sites: Sites) -> Floats:
    """Logits of what stays by group as if all were reached, when it tells least, and of what is lost."""
    # One for all groups: of one that all stayed in, such as a gap along a wall, nothing could be learned from its own.
    # Off the ends a climb begins where it has a slope.
    stays = np.full(sites.groups, np.clip(sites.stayed.mean(), 0.02, 0.8))
    lost = Mixture(sites, np.zeros((len(sites), 0)), np.ones(len(sites))).prior[sites.groups, 0]
    return np.append(np.log(stays / (1 - stays)), lost)


def _fits(
    sites: Sites,
    patch: Patch,
    near: Neighbours,
    strips: Straight,
    evidence: LogEvidence,
    params: Floats,
    starts: list[Floats],
) -> list[_Fitted]:
    """A fitted mixture for every choice among the reasons; ``starts`` are their modes so far, if any."""
    nothing = np.zeros((len(sites), 0))
    stays = Mixture(sites, nothing, np.ones(len(sites))).stays(params)[sites.group]
    choices: list[Mixture] = []
    for in_lanes in (np.ones(len(sites)), share(strips.log_odds)):
        for with_near, covariates in ((False, nothing), (True, _covariates(near, stays, in_lanes))):
            mixture = Mixture(sites, covariates, in_lanes)
            choices.append(mixture)
            if patch.walls:
                chance = mixture.chance(mixture.prior[:, 0])
                besides = in_lanes * beyond_gaps(sites.x_mm, sites.y_mm, patch, evidence, chance)
                # What lies in a gap says nothing of what neighbours share for another reason.
                around = _covariates(near, stays, besides) if with_near else nothing
                choices.append(Mixture(sites, around, besides))
    fits = []
    for number, mixture in enumerate(choices):
        mode = mixture.climb(starts[number] if starts else params)
        # The second half is that with strips; the choice of their directions may bring as much by chance.
        cost = strips.chance_gain if number >= len(choices) // 2 else 0.0
        fits.append(_Fitted(mixture, mode, mixture.log_evidence(mode) - cost))
    return fits


def _covariates(near: Neighbours, stays: Floats, trust: Floats) -> Floats:
    """A column of ones and one a ring, shape (N, R + 1)."""
    return np.column_stack([np.ones(len(stays)), near.odds(stays, trust)])
