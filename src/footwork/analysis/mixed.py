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
        Design and response, a pair a run.
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
    weights = [np.ones(len(y)) for _, y in groups]
    coefficients: Floats = centre.copy()
    covariance: Floats = np.eye(len(sds))
    means: Floats = np.zeros(len(groups))
    information, target, spreads = precision, precision @ centre, (within, between)
    for _ in range(_ROUNDS):
        # A run's minutes share its day; the covariance of such groups inverts in closed form.
        left, right = precision.copy(), precision @ centre
        for (x, y), w in zip(groups, weights, strict=True):
            shrink = between**2 / (within**2 + w.sum() * between**2)
            weighted = x * w[:, None]
            s, total = weighted.sum(axis=0), float(w @ y)
            left += (weighted.T @ x - shrink * np.outer(s, s)) / within**2
            right += (weighted.T @ y - shrink * s * total) / within**2
        # Kept with the spreads that they were made with, so that a run can be taken off again.
        information, target, spreads = left, right, (within, between)
        covariance = np.asarray(np.linalg.inv(left), dtype=float)
        coefficients = covariance @ right
        residuals = [y - x @ coefficients for x, y in groups]
        means = np.array([float(np.average(r, weights=w)) for r, w in zip(residuals, weights, strict=True)])
        inside = np.concatenate([r - m for r, m in zip(residuals, means, strict=True)])
        within = float(max(1.4826 * np.median(np.abs(inside)), floor[0]))
        if len(groups) >= _LEAST_RUNS:  # fewer do not tell how days differ: the first guess stays
            between = float(max(1.4826 * np.median(np.abs(means - np.median(means))), floor[1]))
        if robust:
            weights = [
                np.minimum(1.0, _HUBER * within / np.maximum(np.abs(r - m), 1e-12))
                for r, m in zip(residuals, means, strict=True)
            ]
    meat = precision.copy()
    for (x, y), w in zip(groups, weights, strict=True):
        r = (y - x @ coefficients) * w
        shrink = between**2 / (within**2 + w.sum() * between**2)
        score = (x.T @ r - shrink * (x * w[:, None]).sum(axis=0) * r.sum()) / within**2
        meat += np.outer(score, score)
    sandwich = covariance @ meat @ covariance
    covariance = sandwich + np.diag(np.maximum(np.diag(covariance) - np.diag(sandwich), 0.0))
    return Mixed(coefficients, covariance, between, within, means, information, target, spreads)
