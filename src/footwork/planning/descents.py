"""Running downhill: what it costs, how hard runners run it, and how fast they go; a prior, and what a runner's own
minutes add to it by grade.

A speed downhill tells only how hard it was run over what it cost; both are learned together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from footwork.physics.power import slope_factor
from footwork.quantities import Floats

METHOD_VERSION = 1
# Of what Minetti's curve saves below level, the share that a runner gets: prior mean and SD (Davies 1980, quoted at
# second hand; our convention).
SAVED, SAVED_SD = 0.55, 0.15
KNOTS = (0.03, 0.06, 0.10)  # falls at which it is learned
EASED, EASED_SD = 0.88, 0.08  # of the level effort on falls of 6 % and more (Townshend 2010: 0.79 over 0.89)
# How many times the level speed of the same effort a descent is run at most, by fall; 1.25 and 1.35 are our convention,
# steeper ground brakes.
_FALLS, _QUICKEST = (0.0, 0.05, 0.10, 0.15, 0.20, 0.30, 0.45), (1.12, 1.25, 1.35, 1.30, 1.15, 0.9, 0.6)
LEVEL = 0.012
NEAR_MINUTES, LEAST_LEVEL = 12, 3  # level minutes of the same run that a descent is held against
LEAST_MINUTES = 10  # fewer do not tell how fast a runner goes down
MINUTE_SD, RUN_SD = 0.08, 0.04  # of one minute's ratio, and of a run's; our convention
SHOWN = 0.9  # quantile of the minutes that is called the fastest shown


@dataclass(frozen=True)
class Grade:
    """Descents of one grade: share of Minetti's saving (mean, SD), effort over the level's (mean, SD), speed over the
    level's as the runner's minutes show it (middle, low, high of 95 %, and the fastest), and how many minutes."""

    fall: float
    saved: tuple[float, float]
    effort: tuple[float, float]
    ratio: tuple[float, float, float] | None = None
    fastest: float | None = None
    minutes: int = 0


def eased(fall: npt.ArrayLike) -> Floats:
    """Effort downhill as a share of the level's that runners usually choose, for falls [1] of 0 and more."""
    return np.asarray(1.0 - (1.0 - EASED) * np.clip(np.asarray(fall) / 0.06, 0.0, 1.0), dtype=float)


def _cost(fall: npt.ArrayLike, saved: npt.ArrayLike) -> Floats:
    return np.asarray(1.0 - np.asarray(saved) * (1.0 - slope_factor(-np.asarray(fall))), dtype=float)


@dataclass(frozen=True)
class Descents:
    """What is known of a runner downhill, by grade; the prior alone at first."""

    grades: tuple[Grade, ...] = tuple(Grade(f, (SAVED, SAVED_SD), (float(eased(f)), EASED_SD)) for f in KNOTS)

    def _along(self, fall: Floats, values: Sequence[float]) -> Floats:
        return np.asarray(np.interp(fall, [g.fall for g in self.grades], values), dtype=float)

    def factor(self, grade: npt.ArrayLike) -> Floats:
        """Cost of running as a multiple of the level's; Minetti's curve uphill, what is known below.

        ``grade`` [1], clipped to ±0.45; same shape out as in.
        """
        slope = np.asarray(grade, dtype=float)
        fall = np.maximum(-slope, 0.0)
        saved = self._along(fall, [g.saved[0] for g in self.grades])
        return np.where(slope < 0, 1.0 - saved * (1.0 - slope_factor(slope)), slope_factor(slope))

    def error(self, grade: npt.ArrayLike) -> Floats:
        """SD of `factor` below level, relative; 0 elsewhere."""
        slope = np.asarray(grade, dtype=float)
        sd = self._along(np.maximum(-slope, 0.0), [g.saved[1] for g in self.grades])
        return np.where(slope < 0, sd * np.abs(1.0 - slope_factor(slope)) / self.factor(slope), 0.0)

    def easing(self, grade: npt.ArrayLike) -> Floats:
        """Effort that this runner usually runs descents at, as a share of the level's; 1 elsewhere."""
        fall = np.maximum(-np.asarray(grade, dtype=float), 0.0)
        return np.asarray(
            np.interp(fall, [0.0, *(g.fall for g in self.grades)], [1.0, *(g.effort[0] for g in self.grades)]),
            dtype=float,
        )

    def limit(self, grade: npt.ArrayLike) -> Floats:
        """How many times the level speed of an effort a descent of this grade is run at most: the lower of the
        convention and of the fastest that the runner has shown; infinite on climbs and level ground."""
        slope = np.asarray(grade, dtype=float)
        fall = np.maximum(-slope, 0.0)
        most = np.interp(fall, _FALLS, _QUICKEST)
        shown = [g for g in self.grades if g.fastest is not None]
        if shown:
            own = np.interp(fall, [0.0, *(g.fall for g in shown)], [_QUICKEST[0], *(g.fastest or 0.0 for g in shown)])
            # Beyond the steepest that was shown only the convention is known.
            most = np.where(fall <= 1.5 * shown[-1].fall, np.minimum(most, own), most)
        return np.where(slope < 0, most, np.inf)


def ratios(speed: Floats, grade: Floats) -> tuple[Floats, Floats]:
    """Falls and speeds over the level speed of the minutes near, of one run.

    Parameters
    ----------
    speed, grade : numpy.ndarray, shape (n,)
        Of each minute in order [m/s], [1]; NaN where not known.

    Returns
    -------
    fall, ratio : numpy.ndarray, shape (m,)
        Of running minutes below level with three level ones within twelve minutes.
    """
    running = np.isfinite(speed) & np.isfinite(grade) & (speed > 1.8)
    level = running & (np.abs(grade) <= LEVEL)
    falls, found = [], []
    for k in np.flatnonzero(running & (grade < -0.015) & (grade > -0.2)).tolist():
        near = slice(max(k - NEAR_MINUTES, 0), k + NEAR_MINUTES + 1)
        flat = speed[near][level[near]]
        if len(flat) >= LEAST_LEVEL:
            falls.append(-float(grade[k]))
            found.append(float(speed[k] / np.median(flat)))
    return np.array(falls), np.array(found)


def learn(runs: Sequence[tuple[Floats, Floats]]) -> Descents:
    """What a runner's minutes say of descents, on top of the prior.

    Parameters
    ----------
    runs : sequence of (numpy.ndarray, numpy.ndarray), shapes (n,)
        Speed [m/s] and grade of the minutes of each run.

    Returns
    -------
    Descents
        By grade the posterior of cost and effort under ``log ratio = log effort - log cost``, both normal; the fastest
        shown is the ninth of ten minutes, at the upper end of its interval, from ten minutes on.
    """
    told = [ratios(*r) for r in runs]
    falls = np.concatenate([np.zeros(0), *(f for f, _ in told)])
    logs = np.log(np.concatenate([np.ones(0), *(r for _, r in told)]))
    which = np.concatenate([np.zeros(0, dtype=int), *(np.full(len(f), k) for k, (f, _) in enumerate(told))])
    edges = [0.015, *(0.5 * (a + b) for a, b in pairwise(KNOTS)), 0.2]
    return Descents(
        tuple(
            _learned(fall, logs[here], falls[here], len(np.unique(which[here])))
            for fall, (low, high) in zip(KNOTS, pairwise(edges), strict=True)
            for here in [(falls >= low) & (falls < high)]
        )
    )


def _learned(fall: float, logs: Floats, falls: Floats, runs: int) -> Grade:
    """One grade: ``logs`` of the ratios at ``falls`` near it, of so many runs."""
    effort = float(eased(fall))
    count = len(logs)
    if not count:
        return Grade(fall, (SAVED, SAVED_SD), (effort, EASED_SD))
    # Each minute is brought to the middle of its grade by the prior.
    prior = np.log(eased(falls) / _cost(falls, SAVED))
    expected = float(np.log(effort / _cost(fall, SAVED)))
    at = logs - prior + expected
    seen = float(np.median(at))
    error = (RUN_SD**2 / runs + MINUTE_SD**2 / count) ** 0.5
    cost = float(_cost(fall, SAVED))
    steep = (1.0 - float(slope_factor(-fall))) / cost  # of log speed on the share saved
    spread = (EASED_SD / effort) ** 2, (steep * SAVED_SD) ** 2
    total = sum(spread) + error**2
    off = seen - expected
    saved = SAVED + steep * SAVED_SD**2 / total * off
    harder = effort * np.exp(spread[0] / total * off)
    half = 1.96 * error
    fastest = None
    if count >= LEAST_MINUTES:
        top = float(np.quantile(at, SHOWN))
        fastest = float(np.exp(top + half))
    return Grade(
        fall,
        (float(np.clip(saved, 0.0, 1.0)), SAVED_SD * float((1 - spread[1] / total) ** 0.5)),
        (float(harder), effort * spread[0] ** 0.5 * float((1 - spread[0] / total) ** 0.5)),
        (float(np.exp(seen)), float(np.exp(seen - half)), float(np.exp(seen + half))),
        fastest,
        count,
    )


UNKNOWN = Descents()
