"""What repeated measurements say: their mean, and the scatter within and between groups of them."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from .quantity import Quantity
from .regression import FTest, f_test

#: The difference that two results exceed in 5 % of cases, over their standard deviation: 1.96 √2 (ISO 5725-6, 4.1.4).
LIMIT_FACTOR = 2.8


@dataclass(frozen=True, slots=True, kw_only=True)
class OneFactor:
    """One-factor analysis of groups of repeats, in the unit of the values.

    ``mean`` is that of all values; ``repeatability`` the standard deviation within groups with ``dof`` degrees of
    freedom, ``between`` the standard deviation of the groups' own levels, and ``reproducibility`` both together.
    ``test`` says how often chance alone sets the groups as far apart.
    """

    mean: float
    repeatability: float
    between: float
    dof: int
    test: FTest

    @property
    def reproducibility(self) -> float:
        """Standard deviation of single values from any group."""
        return math.hypot(self.repeatability, self.between)

    @property
    def limit(self) -> float:
        """Repeatability limit: two repeats differ by more in 5 % of cases."""
        return LIMIT_FACTOR * self.repeatability


def mean_and_spread(values: Iterable[float]) -> tuple[float, float]:
    """Mean and standard deviation of two or more repeats (JCGM 100, 4.2.1 and 4.2.2)."""
    from statistics import fmean

    numbers = list(values)
    mean = fmean(numbers)
    off = [number - mean for number in numbers]
    # What the mean's own rounding leaves is taken out (corrected two-pass algorithm, Chan, Golub and LeVeque 1983).
    total = math.fsum(x * x for x in off) - math.fsum(off) ** 2 / len(off)
    return mean, math.sqrt(max(total, 0.0) / (len(off) - 1))


def mean_of(values: Sequence[float] | Floats) -> Quantity | None:
    """Mean of repeats, shape (N,), with its standard uncertainty s / √n (JCGM 100, 4.2.3).

    None of fewer than two: a single value does not say how well it repeats.
    """
    if len(values) < 2:
        return None
    mean, spread = mean_and_spread(values)
    return Quantity(mean, spread / math.sqrt(len(values)), len(values) - 1)


def pooled(deviations: ArrayLike, dofs: ArrayLike) -> tuple[float, int] | None:
    """Standard deviation common to several samples, and its degrees of freedom (ISO 5725-2, 7.4.5.1).

    Parameters
    ----------
    deviations : array_like of shape (M,)
        Standard deviations.
    dofs : array_like of shape (M,)
        Degrees of freedom of each.

    Returns
    -------
    (float, int) or None
        √(Σ ν s² / Σ ν) and Σ ν; None without a degree of freedom.
    """
    s, nu = np.asarray(deviations, float), np.asarray(dofs, float)
    total = float(nu.sum())
    return (math.sqrt(float((nu * s**2).sum()) / total), round(total)) if total > 0 else None


def one_factor(groups: Sequence[ArrayLike]) -> OneFactor:
    """Split scatter into that within groups and that between them.

    Parameters
    ----------
    groups : sequence of array_like
        Two or more, each with one value or more, of which one group has two; numbers of values may differ.

    Returns
    -------
    OneFactor

    Raises
    ------
    ValueError
        There are too few groups or values, or one is not finite.

    Notes
    -----
    s_r² is the mean square within groups; s_L² = (mean square between − s_r²) / n₀, never below 0, with
    n₀ = (N − Σ n² / N) / (p − 1) for p groups of n values, N in all [1]_. Squares are summed about the mean of all
    values, so that stiff data keep their digits.

    References
    ----------
    .. [1] ISO 5725-2:1994, 7.4.5.
    """
    samples = [np.asarray(group, float) for group in groups]
    sizes = np.array([len(sample) for sample in samples])
    if len(samples) < 2 or not sizes.all() or sizes.max() < 2:
        raise ValueError(f"groups of {sizes.tolist()} values do not show scatter within and between them")
    values: Floats = np.concatenate(samples)
    if not np.isfinite(values).all():
        raise ValueError("values must be finite")
    total, p = int(sizes.sum()), len(samples)
    mean = float(values.mean())
    off = [sample - mean for sample in samples]  # digits of a large common level cancel once, here
    means = np.array([o.mean() for o in off])
    within = float(sum(((o - m) ** 2).sum() for o, m in zip(off, means, strict=True)))
    centre = float((sizes * means).sum()) / total
    between = float((sizes * (means - centre) ** 2).sum())
    dof = total - p
    s_r2 = within / dof
    n0 = (total - float((sizes**2).sum()) / total) / (p - 1)
    s_l2 = max(0.0, (between / (p - 1) - s_r2) / n0)
    return OneFactor(
        mean=mean,
        repeatability=math.sqrt(s_r2),
        between=math.sqrt(s_l2),
        dof=dof,
        test=f_test(between, p - 1, within, dof),
    )
