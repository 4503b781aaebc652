"""Propagate distributions through a model (JCGM 101).

References
----------
.. [1] JCGM 101:2008, Supplement 1 to the GUM: propagation of distributions using a Monte Carlo method.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats

Draw = Callable[[np.random.Generator, int], Floats]
Draws = Mapping[str, Floats]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Propagated:
    """Mean, standard uncertainty and probabilistically symmetric 95 % interval of a model's outputs.

    ``mean`` and ``u`` have shape (M,), ``interval95`` (M, 2), ``covariance`` (M, M). ``by_source`` is the standard
    uncertainty, shape (M,), that each source brings alone, the others held at their mean.
    """

    mean: Floats
    u: Floats
    interval95: Floats
    by_source: dict[str, Floats]
    covariance: Floats


def propagate(model: Callable[[Draws], Floats], sources: Mapping[str, Draw], trials: int, seed: int) -> Propagated:
    """Draw from every source, evaluate the model, and summarise its outputs [JCGM 101, 7.2 to 7.7].

    Parameters
    ----------
    model : callable
        Takes draws by source, each of shape (trials, ...), and returns shape (trials, M).
    sources : mapping of str to callable
        Each takes a generator and the number of trials.
    trials : int
        Draws; 20,000 place the ends of a 95 % interval to about a fiftieth of its length.
    seed : int
        Seed of the generator, so that the same photos give the same figures.

    Returns
    -------
    Propagated
    """
    rng = np.random.default_rng(seed)
    draws = {name: np.asarray(draw(rng, trials), float) for name, draw in sources.items()}
    outputs = model(draws)
    still = {name: np.broadcast_to(d.mean(axis=0), d.shape) for name, d in draws.items()}
    by_source = {name: np.std(model({**still, name: draws[name]}), axis=0, ddof=1) for name in draws}
    ends = np.quantile(outputs, [0.025, 0.975], axis=0)
    covariance = np.atleast_2d(np.cov(outputs, rowvar=False))
    return Propagated(
        mean=outputs.mean(axis=0),
        u=np.sqrt(np.diag(covariance)),
        interval95=np.asarray(ends.T),
        by_source=by_source,
        covariance=covariance,
    )
