"""How far what was measured scatters, for several reasons at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats


def whitening(sigma: Floats, reasons: Sequence[Floats], deviations: Sequence[float]) -> Floats:
    """Matrix (N, N) that makes N readings independent, with a standard deviation of 1.

    Parameters
    ----------
    sigma : ndarray of shape (N,)
        Standard deviation of each reading by itself.
    reasons : sequence of ndarray of shape (N, M)
        What M independent causes of a kind do to the readings, per unit.
    deviations : sequence of float
        Standard deviation of the causes of each kind.
    """
    covariance = np.diag(sigma**2)
    for moves, deviation in zip(reasons, deviations, strict=True):
        covariance += deviation**2 * moves @ moves.T
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


@dataclass(frozen=True, slots=True, eq=False)
class LeftOver:
    """What a fit leaves: how much of their causes' variance the readings show, and how much they should.

    Both methods return the factor that brings a standard deviation nearer to what the readings show. This is restricted
    maximum likelihood of variance components: each variance is multiplied by the sum of squares that it shows over
    what that is expected to be, which has the estimate for its fixed point [1]_ and keeps it positive. The unknowns
    of the fit take part of every residual; the expectation is of what they leave.

    References
    ----------
    .. [1] S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, Wiley 1992, chapter 8.
    """

    pull: Floats
    left: Floats

    @classmethod
    def of(cls, whiten: Floats, residuals: Floats, jacobian: Floats) -> "LeftOver":
        """Take what a fit of N whitened readings and Q further conditions left.

        Parameters
        ----------
        whiten : ndarray of shape (N, N)
            As `whitening` gives it.
        residuals : ndarray of shape (N + Q,)
            Of the readings, whitened, then of the conditions.
        jacobian : ndarray of shape (N + Q, P)
            Their derivatives by the P unknowns.
        """
        taken = whiten.T @ np.linalg.qr(jacobian)[0][: len(whiten)]
        return cls(whiten.T @ residuals[: len(whiten)], whiten.T @ whiten - taken @ taken.T)

    def by_themselves(self) -> float:
        """Factor for what each reading is off by itself."""
        return float(np.sqrt(self.pull @ self.pull / np.trace(self.left)))

    def together(self, moves: Floats) -> float:
        """Factor for causes that move readings together, as for `whitening`."""
        shown, expected = ((moves.T @ self.pull) ** 2).sum(), (moves * (self.left @ moves)).sum()
        return float(np.sqrt(shown / expected))
