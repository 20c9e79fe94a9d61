"""A line through the minutes of several runs, each run with a day of its own: what usual watts, power at speed,
conversions between scales and the drift watch are fitted with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
_ROUNDS, _LEAST_RUNS = 6, 5
_HUBER = 2.0  # minutes further out than this many robust deviations lose weight


@dataclass(frozen=True)
class Mixed:
    """Coefficients with their covariance, spread between runs and within, and each run's mean misfit."""

    coefficients: Floats
    covariance: Floats
    between: float
    within: float
    means: Floats
    information: Floats  # of the coefficients, and what it is about, at ``spreads`` within and between runs
    target: Floats
    spreads: tuple[float, float]

    def without(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Coefficients and their covariance as the fit would be without one of its runs (its design and response), at
        the same spreads; without robust weights. Units as the coefficients, [y] over [x]."""
        within, between = self.spreads
        shrink = between**2 / (within**2 + len(y) * between**2)
        s = x.sum(axis=0)
        left = self.information - (x.T @ x - shrink * np.outer(s, s)) / within**2
        right = self.target - (x.T @ y - shrink * s * float(y.sum())) / within**2
        # The sandwich stays the wider by as much as the run told.
        less = np.asarray(np.linalg.inv(left), dtype=float)
        return less @ right, self.covariance + np.maximum(less - np.linalg.inv(self.information), 0.0) * np.eye(len(s))

    def sd(self, index: int) -> float:
        """Standard error of one coefficient.

        In the unit of the coefficient, [y] over [x].
        """
        return float(self.covariance[index, index] ** 0.5)


def fit(
    groups: Sequence[tuple[Floats, Floats]],
    prior_sd: npt.ArrayLike,
    prior_mean: npt.ArrayLike = 0.0,
    start: tuple[float, float] = (0.04, 0.02),
    floor: tuple[float, float] = (0.005, 0.004),
    robust: bool = False,
) -> Mixed:
    """Fit ``y = X·b + run + minute`` with normal priors on ``b``.

    Parameters
    ----------
    groups : sequence of (numpy.ndarray (n, p), numpy.ndarray (n,))
        Design and response, a pair a run; each with a minute or more.
    prior_sd, prior_mean : array_like, shape (p,)
        What the runs do not tell stays near the prior mean.
    start, floor : (float, float)
        First guess and least value of the spread within runs and between them.
    robust : bool
        Whether minutes far out lose weight.

    Returns
    -------
    Mixed
        The covariance is a sandwich over runs: neighbouring minutes are alike in more than the model knows.
    """
    sds = np.asarray(prior_sd, dtype=float)
    centre = np.broadcast_to(np.asarray(prior_mean, dtype=float), sds.shape)
    precision = np.diag(1 / np.square(sds))
    within, between = start
    x, y = np.concatenate([x for x, _ in groups]), np.concatenate([y for _, y in groups])
    sizes = [len(y) for _, y in groups]
    first, of_run = np.cumsum([0, *sizes[:-1]]), np.repeat(np.arange(len(groups)), sizes)
    weights = np.ones(len(y))
    coefficients: Floats = centre.copy()
    covariance: Floats = np.eye(len(sds))
    means: Floats = np.zeros(len(groups))
    information, target, spreads = precision, precision @ centre, (within, between)
    for _ in range(_ROUNDS):
        # A run's minutes share its day; the covariance of such groups inverts in closed form.
        weighted = x * weights[:, None]
        weight, s = np.add.reduceat(weights, first), np.add.reduceat(weighted, first)
        shrink = between**2 / (within**2 + weight * between**2)
        shared = s * shrink[:, None]
        left = precision + (weighted.T @ x - shared.T @ s) / within**2
        right = precision @ centre + (weighted.T @ y - shared.T @ np.add.reduceat(weights * y, first)) / within**2
        # Kept with the spreads that they were made with, so that a run can be taken off again.
        information, target, spreads = left, right, (within, between)
        covariance = np.asarray(np.linalg.inv(left), dtype=float)
        coefficients = covariance @ right
        residual = y - x @ coefficients
        means = np.add.reduceat(residual * weights, first) / weight
        inside = np.abs(residual - means[of_run])
        within = float(max(1.4826 * np.median(inside), floor[0]))
        if len(groups) >= _LEAST_RUNS:  # fewer do not tell how days differ: the first guess stays
            between = float(max(1.4826 * np.median(np.abs(means - np.median(means))), floor[1]))
        if robust:
            weights = np.minimum(1.0, _HUBER * within / np.maximum(inside, 1e-12))
    residual = (y - x @ coefficients) * weights
    shrink = between**2 / (within**2 + np.add.reduceat(weights, first) * between**2)
    s = np.add.reduceat(x * weights[:, None], first)
    by_run = np.add.reduceat(x * residual[:, None], first)
    scores = (by_run - s * (shrink * np.add.reduceat(residual, first))[:, None]) / within**2
    meat = precision + scores.T @ scores
    sandwich = covariance @ meat @ covariance
    covariance = sandwich + np.diag(np.maximum(np.diag(covariance) - np.diag(sandwich), 0.0))
    return Mixed(coefficients, covariance, between, within, means, information, target, spreads)
