"""A mixture of places reached and not reached, and the shares and weights that explain best what stayed.

A place was reached or it was not. Where it was not, all but a small share of the debris is found again; where it was, a
share stays that is the same within a zone and kind. The chance that a place was reached depends on covariates of it and
on what is known besides (a mixture of experts [1]_). The posterior mode is found by scoring with the outer products of
the places' gradients [2]_; how much better one such mixture explains a pass than another, and how uncertain its
parameters are, follows from the Laplace approximation [3]_.

References
----------
.. [1] M. I. Jordan, R. A. Jacobs, "Hierarchical mixtures of experts and the EM algorithm", Neural Computation 6 (1994)
   181-214.
.. [2] E. K. Berndt, B. H. Hall, R. E. Hall, J. A. Hausman, "Estimation and inference in nonlinear structural models",
   Annals of Economic and Social Measurement 3 (1974) 653-665.
.. [3] L. Tierney, J. B. Kadane, "Accurate approximations for posterior moments and marginal densities", Journal of the
   American Statistical Association 81 (1986) 82-86.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import Floats
from .sites import Sites

LogEvidence = tuple[Floats, Floats]

#: Mean and standard deviation of parameters before anything is seen, all logits or weights of log odds. What stays
#: where the machine acts may be anything (a fifth, from a hundredth to four fifths); what is lost where it never came
#: is one or two grains in a hundred, which is how often grains are misjudged. A place whose neighbours were all taken
#: from was itself missed once in a thousand times, give or take a factor of three: places are not missed one grain at a
#: time, which no grain could disprove. A ring that tells by itself has the weight 1.
_STAYS = (-1.5, 1.5)
_LOST = (-4.5, 0.5)
_ALONE = (7.0, 1.0)
_RING = (1.0, 0.5)
#: Most that stays where a machine acts: where it moves less than a grain in ten it has not acted, and grains that all
#: stayed would otherwise be no evidence against it.
_MOST_STAYS = 0.9
#: Scoring steps at most; a dozen are usual.
_STEPS = 30
#: How near to 0 and 1 chances and shares may come; beyond, their logarithms say no more of any pass.
_LEAST = 1e-9
#: Groups where all places share one figure.
_ONE_FOR_ALL = np.zeros(1, np.intp)


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """A mixture over N places.

    ``covariates`` of shape (N, C), a column of ones first, with C = 0 if nothing near a place tells of it; ``besides``
    of shape (N,) is the chance that it was not missed for a reason of another kind. Parameters are the logits of the
    share that stays by group and of the share lost where the machine never came, then C weights.
    """

    sites: Sites
    covariates: Floats
    besides: Floats

    @property
    def prior(self) -> Floats:
        """Mean and standard deviation of each parameter, shape (P, 2)."""
        weights = [_ALONE, *[_RING] * (self.covariates.shape[1] - 1)] if self.covariates.shape[1] else []
        return np.array([*[_STAYS] * self.sites.groups, _LOST, *weights])

    def stays(self, params: Floats) -> Floats:
        """Share that stays where the machine acts, by group."""
        return np.minimum(share(params[: self.sites.groups]), _MOST_STAYS)

    def evidence(self, params: Floats) -> LogEvidence:
        """Log likelihood of what is seen in every place if it was reached, and if not."""
        groups = self.sites.groups
        stays, lost = self.stays(params), share(params[groups : groups + 1])
        return _log_likely(self.sites, stays, self.sites.group), _log_likely(self.sites, 1 - lost, _ONE_FOR_ALL)

    def chance(self, params: Floats) -> Floats:
        """Chance of being reached that all but what is seen in a place gives it."""
        return np.clip(self._near(params) * self.besides, _LEAST, 1 - _LEAST)

    def reached(self, params: Floats) -> Floats:
        """Chance that each place was reached, given all."""
        one, none = self.evidence(params)
        chance = self.chance(params)
        return share(np.log(chance) - np.log1p(-chance) + one - none)

    def climb(self, start: Floats) -> Floats:
        """Mode of the posterior, by steps that are halved until they climb; missing weights start at their prior."""
        prior = self.prior
        params = np.concatenate([start, prior[len(start) :, 0]])[: len(prior)]
        value, slope, outer = self._posterior(params)
        for _ in range(_STEPS):
            step = np.linalg.solve(outer + np.diag(prior[:, 1] ** -2), slope)
            step *= min(1.0, 2.0 / float(np.abs(step).max()))
            # A step of a 64th of its length changes nothing that counts.
            for _ in range(6):
                tried = self._posterior(params + step)
                if tried[0] > value:
                    break
                step /= 2
            else:
                return params
            params, gained = params + step, tried[0] - value
            value, slope, outer = tried
            # A hundredth of a unit of log likelihood is a seventh of a standard deviation.
            if gained < 0.01:
                break
        return params

    def log_evidence(self, params: Floats) -> float:
        """Log probability of all that was seen, parameters integrated out, but for what every mixture has in common."""
        value, _, outer = self._posterior(params)
        spread = self.prior[:, 1]
        return float(value - np.linalg.slogdet(np.eye(len(params)) + outer * np.outer(spread, spread))[1] / 2)

    def draw(self, params: Floats, many: int, shared: float, rng: np.random.Generator) -> Floats:
        """Parameters as uncertain as they are about the mode, shape (many, P), if ``shared`` places tell as one."""
        outer = self._posterior(params)[2] / shared
        covariance = np.linalg.inv(outer + np.diag(self.prior[:, 1] ** -2))
        return np.asarray(rng.multivariate_normal(params, covariance, many))

    def _near(self, params: Floats) -> Floats:
        if not self.covariates.shape[1]:
            return np.ones(len(self.sites))
        return share(self.covariates @ params[self.sites.groups + 1 :])

    def _posterior(self, params: Floats) -> tuple[float, Floats, Floats]:
        """Log posterior, its gradient, and the summed outer products of the places' gradients."""
        sites, groups = self.sites, self.sites.groups
        one, none = self.evidence(params)
        near = self._near(params)
        chance = np.clip(near * self.besides, _LEAST, 1 - _LEAST)
        if_reached, if_not = np.log(chance) + one, np.log1p(-chance) + none
        reached = share(if_reached - if_not)
        # The likelier way over its share of both ways is both ways' sum.
        both = np.maximum(if_reached, if_not) - np.log(np.maximum(reached, 1 - reached))
        # A row a parameter: sums over places run along the rows.
        slope = np.zeros((len(params), len(sites)))
        own, most = _slope(sites, self.stays(params)[sites.group]), share(params[:groups]) >= _MOST_STAYS
        slope[sites.group, np.arange(len(sites))] = np.where(most[sites.group], 0.0, reached * own)
        slope[groups] = -(1 - reached) * _slope(sites, 1 - share(params[groups : groups + 1]))
        if self.covariates.shape[1]:
            slope[groups + 1 :] = (reached - chance) / (1 - chance) * (1 - near) * self.covariates.T
        mean, spread = self.prior.T
        off = (params - mean) / spread
        return float(both.sum() - (off**2).sum() / 2), slope.sum(axis=1) - off / spread, slope @ slope.T


def share(logit: Floats) -> Floats:
    """Share of a logit, kept off 0 and 1 so that its logarithms are finite."""
    # Beyond 30 either way a share differs from 0 or 1 by less than what it is kept off.
    return np.asarray(np.clip(1 / (1 + np.exp(-np.clip(logit, -30, 30))), _LEAST, 1 - _LEAST))


def _log_likely(sites: Sites, stays: Floats, group: NDArray[np.intp]) -> Floats:
    """Log likelihood of what stayed: a trial for a single grain, normal for a cell.

    ``stays`` of shape (G,) holds shares that stay, ``group`` which of them is each place's.
    """
    trial = sites.stayed * np.log(stays)[group] + (1 - sites.stayed) * np.log1p(-stays)[group]
    if sites.single.all():
        return np.asarray(trial)
    off = sites.stayed - stays[group]
    return np.where(sites.single, trial, -(off**2) / (2 * np.where(sites.single, 1, sites.noise)))


def _slope(sites: Sites, stays: Floats) -> Floats:
    """Derivative of `_log_likely` by the logit of ``stays``."""
    off = sites.stayed - stays
    if sites.single.all():
        return np.asarray(off)
    return np.where(sites.single, off, off * stays * (1 - stays) / np.where(sites.single, 1, sites.noise))
