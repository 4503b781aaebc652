"""Values and scatters that stand apart from the others of their kind: Grubbs' and Cochran's tests.

ISO 5725-2 calls what chance does in less than 5 % of cases a straggler, and in less than 1 % an outlier. Nothing is
left out here: a test says that somebody should look.

References
----------
.. [1] F. E. Grubbs, G. Beck, Technometrics 14 (1972) 847-854; ISO 5725-2:1994, 7.3.4 and table 5.
.. [2] W. G. Cochran, Annals of Eugenics 11 (1941) 47-52; ISO 5725-2:1994, 7.3.3 and table 4.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .repeats import mean_and_spread

#: Of two values, both lie equally far from their mean.
FEWEST_FOR_GRUBBS = 3
FEWEST_FOR_COCHRAN = 2


@dataclass(frozen=True, slots=True)
class Farthest:
    """What stands farthest out: its index, the test's statistic, and how often chance alone gives as much."""

    index: int
    statistic: float
    chance: float


def grubbs(values: ArrayLike) -> Farthest | None:
    """Test the value farthest from the mean of all, shape (N,); two-sided.

    The statistic is the distance of value and mean over s. None of fewer than three values, or where all are the same.
    """
    v = np.asarray(values, float)
    n = len(v)
    if n < FEWEST_FOR_GRUBBS or not np.ptp(v) > 0:
        return None
    mean, spread = mean_and_spread(v)
    off = np.abs(v - mean)
    g = float(off.max()) / spread
    return Farthest(int(off.argmax()), g, _grubbs_chance(g, n))


def _grubbs_chance(g: float, n: int) -> float:
    """Chance of as large a statistic: n times that of the single value (Bonferroni), exact where that is small [1]."""
    from scipy.special import stdtr

    below = (n - 1) ** 2 - n * g**2
    if below <= 0:
        return 0.0
    t = g * math.sqrt(n * (n - 2) / below)
    return min(1.0, 2 * n * float(stdtr(n - 2, -t)))


def grubbs_critical(n: int, chance: float = 0.05) -> float:
    """Statistic that chance exceeds so often, two-sided, among ``n`` values, three or more [1].

    G = (n − 1)/√n · √(t² / (n − 2 + t²)), t the quantile of Student's t with n − 2 degrees of freedom at
    1 − chance / (2 n).
    """
    from scipy.special import stdtrit

    if n < FEWEST_FOR_GRUBBS or not 0 < chance < 1:
        raise ValueError(f"no critical value for {n} values and a chance of {chance}")
    t2 = float(stdtrit(n - 2, chance / (2 * n))) ** 2
    return (n - 1) / math.sqrt(n) * math.sqrt(t2 / (n - 2 + t2))


def cochran(deviations: ArrayLike, n: float) -> Farthest | None:
    """Test the largest of several standard deviations, shape (P,), each of about ``n`` values.

    The statistic is the largest variance over the sum of all. ``n`` need not be whole: where numbers of values differ
    a little, ISO 5725-2, 7.3.3.2 takes the one that most have; their mean serves as well. None of fewer than two, or
    where all are 0.
    """
    variances = np.asarray(deviations, float) ** 2
    p, total = len(variances), float(variances.sum())
    if p < FEWEST_FOR_COCHRAN or not total > 0 or not n > 1:
        return None
    index = int(variances.argmax())
    c = float(variances[index]) / total
    return Farthest(index, c, _cochran_chance(c, p, n))


def _cochran_chance(c: float, p: int, n: float) -> float:
    """Chance of as large a statistic: p times that of the single variance (Bonferroni) [2]."""
    from scipy.special import fdtrc

    if c >= 1:
        return 0.0
    return min(1.0, p * float(fdtrc(n - 1, (p - 1) * (n - 1), (p - 1) * c / (1 - c))))


def cochran_critical(p: int, n: float, chance: float = 0.05) -> float:
    """Statistic that chance exceeds so often among ``p`` variances, two or more, of ``n`` values each [2].

    C = 1 / (1 + (p − 1) / F), F the quantile of Fisher's distribution at 1 − chance / p with n − 1 and (p − 1)(n − 1)
    degrees of freedom.
    """
    from scipy.special import fdtri

    if p < FEWEST_FOR_COCHRAN or not n > 1 or not 0 < chance < 1:
        raise ValueError(f"no critical value for {p} variances of {n} values and a chance of {chance}")
    return 1 / (1 + (p - 1) / float(fdtri(n - 1, (p - 1) * (n - 1), 1 - chance / p)))
