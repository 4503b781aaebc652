"""What one reading of a scale is worth, and a mass that is the difference of two.

A reading departs from the load by three things, taken as independent (EURAMET cg-18, 7.1 names the same; its text is
given here from memory):

- the display's step d: rectangular over one step, d/√12 a reading (JCGM 100, F.2.2.1). Repeats do not better it, since
  a scale that repeats well shows the same digit every time. A scale set to zero with the vessel on it has a zero within
  a quarter of a step (OIML R 76-1, 4.5.2, from memory), d/4/√3.
- repeatability s: of the mean of n repeats, s/√n.
- the error of indication, which belongs to the load and comes again every time. It is taken as a walk over the load:
  what two loads differ in error grows with the square root of the load between them. So it is next to nothing between
  two loads close together, tare and gross of a small portion share most of it, and two differences share as much of it
  as they share of the range of loads. Masses weighed on one scale are therefore correlated.

Beside these stands a factor common to all readings (``sensitivity_percent``), which cancels in every ratio. So does
the buoyancy of air, 0.05 to 0.1 % for grain and sand, which is left out.

What is not stated of a scale is taken as for a kitchen scale, one that nobody verified, which keeps twice the maximum
permissible errors of class III (OIML R 76-1, table 6; twice in service, 3.5.2) with e = d. Those are d up to 500 d and
2 d up to 2,000 d; a walk with d/√3 (rectangular) after 500 d is what meets both, and at 10,000 d it allows 4.5 d where
3 d would do. Its repeatability follows from the same: ten weighings of one load may spread over the permissible error
(3.6.1 and A.4.10, from memory), and ten normal readings spread over 3.08 standard deviations in the mean. That guess
may be off by half, which is worth two degrees of freedom (JCGM 100, G.4.2); repeats in the weighing, where there are
any, are pooled with it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..inputs.weighing import Net, Scale, Weighing
from ..stats.quantity import Quantity
from ..stats.repeats import mean_and_spread

#: Class III in service, in steps: permissible error after so many steps of load.
_USUAL_ERROR_STEPS, _AFTER_STEPS = 1.0, 500.0
#: Mean range of ten normal readings over their standard deviation (ISO 7870-2 and control-chart tables: d2 = 3.078).
_RANGE_OF_TEN = 3.078
_USUAL_DOF = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleErrors:
    """Errors of a scale's readings.

    ``digit_g`` and ``zero_g`` are standard uncertainties of one reading's rounding and of setting to zero;
    ``repeatability_g`` is a standard deviation with ``repeatability_dof`` degrees of freedom; the variance of the error
    of indication grows by ``walk_g`` g² a gram of load; ``factor`` is the relative standard uncertainty that all
    readings share.
    """

    digit_g: float
    zero_g: float
    repeatability_g: float
    repeatability_dof: float
    walk_g: float
    factor: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Masses:
    """Masses of one weighing, with what they share.

    ``grams`` of shape (N,), ``covariance`` and its part from repeatability alone, ``repeats``, of shape (N, N), g²;
    the latter is estimated with ``dof`` degrees of freedom.
    """

    names: tuple[str, ...]
    grams: Floats
    covariance: Floats
    repeats: Floats
    dof: float

    def combined(self, weights: Mapping[str, float]) -> Quantity:
        """Return a weighted sum of masses, with its uncertainty (JCGM 100, equation 13, and G.4.1 for the dof).

        Parameters
        ----------
        weights : mapping of str to float
            By name; masses that are not named do not enter.

        Returns
        -------
        Quantity
            In grams times the weights' unit.
        """
        w = np.array([weights.get(name, 0.0) for name in self.names])
        variance, repeats = float(w @ self.covariance @ w), float(w @ self.repeats @ w)
        dof = self.dof * (variance / repeats) ** 2 if repeats > 0 else math.inf
        return Quantity(float(w @ self.grams), math.sqrt(max(variance, 0.0)), dof)


def scale_errors(weighing: Weighing) -> ScaleErrors:
    """Errors of the scale of a weighing: what its file states, and the usual for the rest.

    Parameters
    ----------
    weighing : Weighing
        Its repeated readings say something of repeatability where the scale's is not stated. A stated linearity is
        reached at the scale's capacity or, where that is not stated, at the heaviest load weighed, so that as little of
        it cancels as can be.

    Returns
    -------
    ScaleErrors
    """
    scale = weighing.scale
    d = scale.readability_g
    repeatability_g, dof = _repeatability(scale, _groups(weighing))
    if scale.linearity_g is None:
        walk_g = (_USUAL_ERROR_STEPS * d) ** 2 / 3 / (_AFTER_STEPS * d)
    else:
        heaviest_g = max(max(group) for group in _groups(weighing))
        walk_g = scale.linearity_g**2 / 3 / max(scale.capacity_g or heaviest_g, d)
    return ScaleErrors(
        digit_g=d / math.sqrt(12),
        zero_g=d / 4 / math.sqrt(3),
        repeatability_g=repeatability_g,
        repeatability_dof=dof,
        walk_g=walk_g,
        factor=scale.sensitivity_percent / 100,
    )


def masses(weighing: Weighing) -> Masses:
    """Every mass of a weighing, with the covariance that comes of one scale.

    Parameters
    ----------
    weighing : Weighing
        Names are those of `Weighing.nets`.

    Returns
    -------
    Masses
    """
    return net_masses(weighing.nets, scale_errors(weighing))


def net_masses(nets: Mapping[str, Net], errors: ScaleErrors) -> Masses:
    """Masses as differences of readings, with the covariance that comes of one scale.

    Parameters
    ----------
    nets : mapping of str to Net
        Every reading belongs to one of them alone.
    errors : ScaleErrors
        Of the scale.

    Returns
    -------
    Masses

    Notes
    -----
    Masses share their error of indication over the loads that both span, and the scale's factor wholly. Where the scale
    was set to zero with a vessel on it, its load is not known; it is taken as none.
    """
    grams = np.array([net.mass_g for net in nets.values()])
    spans = [net.ends_g for net in nets.values()]
    repeats = errors.repeatability_g**2 * np.diag([_per_mean(net) for net in nets.values()])
    rounding = np.diag([_rounding(net, errors) for net in nets.values()])
    shared = errors.walk_g * np.array([[_shared_g(a, b) for b in spans] for a in spans])
    factor = errors.factor**2 * np.outer(grams, grams)
    return Masses(
        names=tuple(nets),
        grams=grams,
        covariance=repeats + rounding + shared + factor,
        repeats=repeats,
        dof=errors.repeatability_dof,
    )


def stated_repeatability(scale: Scale) -> tuple[float, float]:
    """Standard deviation of one reading as stated or as usual, g, and its degrees of freedom."""
    if scale.repeatability_g is not None:
        return scale.repeatability_g, math.inf
    return _USUAL_ERROR_STEPS * scale.readability_g / _RANGE_OF_TEN, _USUAL_DOF


def _repeatability(scale: Scale, groups: list[tuple[float, ...]]) -> tuple[float, float]:
    """Standard deviation of one reading, g, and its degrees of freedom; repeats tell where it is not stated."""
    stated_g, dof = stated_repeatability(scale)
    if math.isinf(dof):
        return stated_g, dof
    squares = dof * stated_g**2
    for group in groups:
        if len(group) > 1:
            squares += (len(group) - 1) * mean_and_spread(group)[1] ** 2
            dof += len(group) - 1
    return math.sqrt(squares / dof), dof


def _groups(weighing: Weighing) -> list[tuple[float, ...]]:
    """Readings of one load each."""
    loads = [load for net in weighing.nets.values() for load in (net.gross_g, net.tare_g)]
    return [load for load in (*loads, weighing.usual_cup_g, weighing.usual_bin_g) if load]


def _per_mean(net: Net) -> float:
    """Variance of a mass for one of a single reading: 1/n for the mean of each of its loads."""
    return 1 / len(net.gross_g) + (1 / len(net.tare_g) if net.tare_g else 0.0)


def _rounding(net: Net, errors: ScaleErrors) -> float:
    return errors.digit_g**2 + (errors.digit_g**2 if net.tare_g else errors.zero_g**2)


def _shared_g(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Load that two spans have in common, g; negative where one of them runs downwards."""
    common = min(max(a), max(b)) - max(min(a), min(b))
    same_way = (a[1] >= a[0]) == (b[1] >= b[0])
    return max(common, 0.0) * (1 if same_way else -1)
