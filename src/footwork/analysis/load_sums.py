"""Loads of many days on one measure: each way of knowing load against the better one on the runner's own days, and sums
with the error that days share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.load_ways import LOAD_EXPONENT
from footwork.quantities import Estimate, Floats

LEVEL_SD, SLOPE_SD = 0.25, 0.2  # ln load by one way against the better: prior about no difference; our conventions
SPORT_SD = 0.15  # of another sport against running, before anything tells it; our convention
LEAST_PAIRS = 5  # fewer: the prior speaks, and says so
OUTLYING = 2.5  # in spreads: days further out lose weight
ROUNDS = 8


@dataclass(frozen=True)
class Calibration:
    """How one way of knowing load reads against the better one: ``ln better = ln load + a + b·(ln load − middle)``.

    ``covariance`` (2, 2) of a and b; ``pairs`` are the days that told them.
    """

    level: float
    slope: float
    middle: float
    covariance: Floats
    pairs: int

    def design(self, load: float) -> Floats:
        """What an error of a and of b does to ln of a load, shape (2,)."""
        return np.array([1.0, float(np.log(load)) - self.middle])

    def applied(self, load: float) -> float:
        """The load on the measure of the better way. [CP-min]"""
        return load * float(np.exp(self.design(load) @ np.array([self.level, self.slope]))) if load > 0 else 0.0


def calibrate(
    better: npt.ArrayLike, way: npt.ArrayLike, error: float, level_sd: float = LEVEL_SD, middle: float = 45.0
) -> Calibration:
    """Learn how a way of knowing load reads, from days on which the better one is known too.

    Parameters
    ----------
    better, way : array_like, shape (n,)
        Loads of the same activities. [CP-min]
    error : float
        SD of ln of their ratio from day to day: both ways' own errors.
    level_sd : float
        Prior SD of the level [1].
    middle : float
        Where the level is meant without any day. [CP-min]

    Returns
    -------
    Calibration
        By a normal prior about no difference; with fewer than five pairs it is that prior.
    """
    x, y = (np.log(np.maximum(np.asarray(v, dtype=float), 1e-3)) for v in (way, better))
    at = float(x.mean()) if len(x) else float(np.log(middle))
    prior = np.diag([1 / level_sd**2, 1 / SLOPE_SD**2])
    if len(x) < LEAST_PAIRS:
        return Calibration(0.0, 0.0, float(np.log(middle)), np.linalg.inv(prior), len(x))
    design, gap = np.column_stack([np.ones(len(x)), x - at]), y - x
    weights = np.ones(len(x))
    for _ in range(ROUNDS):
        precision = prior + (design * weights[:, None]).T @ design / error**2
        found = np.linalg.solve(precision, (design * weights[:, None]).T @ gap / error**2)
        far = np.abs(gap - design @ found) / (OUTLYING * error)
        weights = 1.0 / np.maximum(far, 1.0)
    # Days that are further apart than both ways' errors say widen what they tell.
    spread = float(np.sum(weights * (gap - design @ found) ** 2) / max(float(weights.sum()) - 2.0, 1.0)) / error**2
    return Calibration(float(found[0]), float(found[1]), at, np.linalg.inv(precision) * max(spread, 1.0), len(x))


@dataclass(frozen=True)
class Part:
    """One activity's load as it is added: CP-minutes, its own SD of ln, and the errors it shares with others, by name:
    what one of level and one of slope do to its ln, shape (2,)."""

    load: float
    error: float
    shared: tuple[tuple[str, Floats], ...] = ()


def of_capacity(share: float) -> Floats:
    """What a relative error of critical power does to ln of a load at a steady share x of it, ``1 + 1.9 x``: shape
    (2,)."""
    return np.array([1.0 + LOAD_EXPONENT * share, 0.0])


def summed(parts: Sequence[Part], covariances: Mapping[str, Floats], of: str = "activities") -> Estimate:
    """The sum of loads with its 95 % interval.

    Parameters
    ----------
    parts : sequence of Part
    covariances : mapping of str to numpy.ndarray, shape (2, 2)
        Of the errors that parts share, by the names they give [1].

    Returns
    -------
    Estimate
        In CP-minutes; 0 without parts.
    """
    total = sum(p.load for p in parts)
    if not parts or total <= 0:
        return Estimate(0.0, 0.0, 0.0, "CP-min", len(parts), "load", of)
    variance = sum((p.error * p.load) ** 2 for p in parts)
    gathered: dict[str, Floats] = {}
    for part in parts:
        for name, design in part.shared:
            gathered[name] = gathered.get(name, np.zeros(2)) + part.load * design
    variance += sum(float(v @ covariances[name] @ v) for name, v in gathered.items())
    # Errors of load are relative: the interval is one of its logarithm.
    spread = float(np.sqrt(np.log1p(variance / total**2)))
    low, high = (total * float(np.exp(z * spread)) for z in (-1.96, 1.96))
    return Estimate(total, low, high, "CP-min", len(parts), "load", of)
