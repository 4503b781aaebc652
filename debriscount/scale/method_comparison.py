"""How far two methods differ on the same things: limits of agreement after Bland and Altman."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..stats.quantity import Quantity

#: Standard deviations from the mean within which 95 % of normal differences lie.
COVERED_95 = 1.96


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOfAgreement:
    """Differences first less second of N things, in their unit.

    ``bias`` is the mean difference; 95 % of differences of single measurements are expected between ``lower`` and
    ``upper``. Each has its own interval, by Student's t. ``sd`` is the standard deviation of the differences;
    ``within`` holds the standard deviation of repeated measurements by either method, None where none were repeated.
    """

    n: int
    bias: Quantity
    sd: float
    lower: Quantity
    upper: Quantity
    within: tuple[float | None, float | None] = (None, None)


def limits_of_agreement(first: ArrayLike, second: ArrayLike, *, covered: float = COVERED_95) -> LimitsOfAgreement:
    """Compare two methods by the differences of their measurements.

    Parameters
    ----------
    first, second : array_like of shape (N,) or (N, M)
        Measurements of the same N things, two or more, in the same order; M repeated ones, where given, may differ in
        number between the methods. They are averaged, and the limits then widened to those of single measurements.
    covered : float
        Standard deviations from bias to limit; the paper of 1986 uses 2.

    Returns
    -------
    LimitsOfAgreement

    Raises
    ------
    ValueError
        The numbers of things differ or are below two, or a measurement is not finite.

    Notes
    -----
    Limits are bias ± 1.96 sd [1]_. With repeated measurements sd² = sd²(differences of means) + Σ (1 − 1/M) sd²(within
    method) [2]_, section 5. The standard error of a limit is √(sd²(means)/N + 1.96² var(sd)), where the variance of sd
    follows from that of each sum of squares; without repeats that is sd √(1/N + 1.96²/(2 (N − 1))), which the paper of
    1986 rounds to √(3/N) sd. Interval ends are its multiples by Student's t with N − 1 degrees of freedom.

    References
    ----------
    .. [1] J. M. Bland, D. G. Altman, Lancet i (1986) 307-310.
    .. [2] J. M. Bland, D. G. Altman, Stat. Methods Med. Res. 8 (1999) 135-160.
    """
    readings = [_readings(first), _readings(second)]
    n = len(readings[0])
    if len(readings[1]) != n or n < 2:
        raise ValueError(f"two methods need the same two or more things, but got {n} and {len(readings[1])}")
    difference = readings[0].mean(axis=1) - readings[1].mean(axis=1)
    bias, variance = float(difference.mean()), float(difference.var(ddof=1))
    within = (_within(readings[0]), _within(readings[1]))
    single, doubt = variance, 2 * variance**2 / (n - 1)  # the variance of a variance of normal values
    for values, sd in zip(readings, within, strict=True):
        if sd is not None:
            share, dof = 1 - 1 / values.shape[1], n * (values.shape[1] - 1)
            single += share * sd**2
            doubt += share**2 * 2 * sd**4 / dof
    sd = math.sqrt(single)
    u_sd = math.sqrt(doubt) / (2 * sd) if sd else 0.0
    u_limit = math.sqrt(variance / n + (covered * u_sd) ** 2)
    return LimitsOfAgreement(
        n=n,
        bias=Quantity(bias, math.sqrt(variance / n), n - 1),
        sd=sd,
        lower=Quantity(bias - covered * sd, u_limit, n - 1),
        upper=Quantity(bias + covered * sd, u_limit, n - 1),
        within=within,
    )


def _readings(values: ArrayLike) -> Floats:
    readings = np.asarray(values, float)
    readings = readings[:, None] if readings.ndim == 1 else readings
    if readings.ndim != 2 or not readings.shape[1] or not np.isfinite(readings).all():
        raise ValueError(
            f"measurements must be finite and of shape (N,) or (N, M), but their shape is {readings.shape}"
        )
    return readings


def _within(readings: Floats) -> float | None:
    """Standard deviation of repeated measurements, pooled over things; None where none were repeated."""
    return float(np.sqrt(readings.var(axis=1, ddof=1).mean())) if readings.shape[1] > 1 else None
