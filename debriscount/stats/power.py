"""How many runs it takes to tell a difference, by the non-central t distribution.

References
----------
.. [1] J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed., Erlbaum 1988, chapter 2.
"""

import math
from typing import Literal

import numpy as np

#: Chance of a false alarm that intervals and tests are made for.
USUAL_CHANCE = 0.05
#: More runs a group than anybody makes.
MOST_RUNS = 1_000_000

Design = Literal["groups", "welch", "pairs"]
#: Shares of the scatter that Welch's test may find in one of two groups, over which its power is averaged.
_SHARES = 64


def power(difference: float, sd: float, n: int, *, design: Design = "groups", chance: float = USUAL_CHANCE) -> float:
    """How often a difference of means is told, 0 to 1, by a two-sided t test.

    Parameters
    ----------
    difference : float
        True difference of the two means.
    sd : float
        Standard deviation of repeats within each group or, for pairs, of the differences within pairs; above 0, in the
        unit of the difference.
    n : int
        Values in each group, or pairs; two or more.
    design : {"groups", "welch", "pairs"}
        Whether two groups of ``n`` are compared, by Student's test with a common standard deviation or by Welch's, or
        ``n`` pairs.
    chance : float
        Of a false alarm.

    Returns
    -------
    float
        P(T > t or T < −t), T non-central t with 2 n − 2 degrees of freedom and δ = difference / sd · √(n/2); for
        pairs n − 1 and √n [1]. Welch's statistic is the same for groups of one size, but its degrees of freedom,
        (n − 1) / (r² + (1 − r)²), hang on the share r of the scatter that one group shows. For like groups r follows a
        beta distribution with (n − 1)/2 twice, independent of the statistic, over which the power is averaged.

    Raises
    ------
    ValueError
        ``sd``, ``n`` or ``chance`` is out of range.
    """
    from scipy.special import betaincinv, nctdtr, stdtrit

    if not (sd > 0 and n >= 2 and 0 < chance < 1 and math.isfinite(difference)):
        raise ValueError(f"no power for sd {sd}, {n} values and a chance of {chance}")
    dof, shift = (n - 1, math.sqrt(n)) if design == "pairs" else (2 * n - 2, math.sqrt(n / 2))
    tested = np.array([float(dof)])
    if design == "welch":
        share = betaincinv((n - 1) / 2, (n - 1) / 2, (np.arange(_SHARES) + 0.5) / _SHARES)
        tested = (n - 1) / (share**2 + (1 - share) ** 2)
    t, delta = stdtrit(tested, 1 - chance / 2), abs(difference) / sd * shift
    if delta > t.max() + 40:  # the distribution function underflows there; the normal tail is long gone
        return 1.0
    # Where scipy's function gives no number, so far from δ that nothing lies there, its value is 0.
    missed, wrong = (np.nan_to_num(nctdtr(dof, delta, x)) for x in (t, -t))
    return float(np.mean(1.0 - missed + wrong))


def runs_needed(
    difference: float, sd: float, wanted: float = 0.8, *, design: Design = "groups", chance: float = USUAL_CHANCE
) -> int:
    """Fewest values a group (or pairs) with which a difference is told as often as wanted.

    Parameters
    ----------
    difference, sd, design, chance
        As `power` takes them; the difference is not 0.
    wanted : float
        Power, between ``chance`` and 1.

    Returns
    -------
    int
        Two or more.

    Raises
    ------
    ValueError
        A number is out of range, or a million would not do.
    """
    if not (difference != 0 and sd >= 0 and chance < wanted < 1):
        raise ValueError(f"no number of runs for a difference of {difference}, sd {sd} and power {wanted}")
    if sd == 0:
        return 2
    high = 2
    while power(difference, sd, high, design=design, chance=chance) < wanted:
        high *= 2
        if high > MOST_RUNS:
            raise ValueError(f"a difference of {difference} with sd {sd} takes more than {MOST_RUNS} runs")
    low = max(2, high // 2)
    while low < high:
        middle = (low + high) // 2
        if power(difference, sd, middle, design=design, chance=chance) < wanted:
            low = middle + 1
        else:
            high = middle
    return low


def detectable(
    sd: float, n: int, wanted: float = 0.8, *, design: Design = "groups", chance: float = USUAL_CHANCE
) -> float:
    """Smallest difference that ``n`` values a group (or pairs) tell as often as wanted, in the unit of ``sd``."""
    from scipy.optimize import brentq

    if not (sd > 0 and n >= 2 and chance < wanted < 1):
        raise ValueError(f"no difference for sd {sd}, {n} values and power {wanted}")
    high = 1.0
    while power(high, 1.0, n, design=design, chance=chance) < wanted:
        high *= 2
    return sd * float(brentq(lambda d: power(d, 1.0, n, design=design, chance=chance) - wanted, 0.0, high, xtol=1e-10))
