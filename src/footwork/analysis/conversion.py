"""From the watts of one scale to those of another: learned from runs that both recorded, or through modelled power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from footwork.analysis import mixed
from footwork.analysis.quantiles import student
from footwork.analysis.summary import AT, BLOCK_S, even
from footwork.physics.power import slope_factor
from footwork.quantities import Floats

METHOD_VERSION = 2
LEAST_MINUTES = 20
BEND_SD = 0.05  # prior SD of the factor's change over a doubling of power; our convention
FLAT = 0.02  # devices differ most on slopes: level minutes tell where there are enough of them
THROUGH_MODEL_SD = 0.02  # speed and altitude of two devices that never ran together may differ; our convention
_MINUTE_SD, _RUN_SD = 0.03, 0.015


@dataclass(frozen=True)
class Conversion:
    """Watts of the second scale as a factor of the first's that may change with power: ``factor + bend·(P −
    centre)/centre``.

    ``covariance`` is of factor and bend; ``run_sd`` the relative spread from run to run; ``low`` and ``high`` [W of the
    first] bound what was seen; ``extra_sd`` is what going through a third scale adds.
    """

    factor: float
    bend: float
    covariance: Floats
    centre: float
    run_sd: float
    runs: int
    minutes: int
    low: float
    high: float
    through: str = "common runs"
    extra_sd: float = 0.0

    def _x(self, watts: npt.ArrayLike) -> Floats:
        # Beyond what was seen by more than a third the factor stays what it was there.
        seen = np.clip(np.asarray(watts, dtype=float), self.low / 1.33, self.high * 1.33)
        return np.asarray((seen - self.centre) / self.centre, dtype=float)

    def apply(self, watts: npt.ArrayLike) -> Floats:
        """Watts of the second scale for watts of the first.

        [W] to [W], any shape.
        """
        return np.asarray(np.asarray(watts) * (self.factor + self.bend * self._x(watts)), dtype=float)

    def error(self, watts: float) -> float:
        """Relative standard error of the conversion itself at a power, the same for every run.

        At powers [W], any shape; the result is a share [1].
        """
        x = float(self._x(watts))
        row = np.array([1.0, x])
        own = float(row @ self.covariance @ row) ** 0.5 / (self.factor + self.bend * x)
        return float(np.hypot(own, self.extra_sd))

    @property
    def slope(self) -> tuple[float, float]:
        """Slope of the line at the centre and its standard error.

        Both [W/W].
        """
        row = np.array([1.0, 1.0])
        return self.factor + self.bend, float(row @ self.covariance @ row) ** 0.5

    @property
    def offset(self) -> tuple[float, float]:
        """Offset of that line and its standard error. [W]"""
        return -self.bend * self.centre, float(self.covariance[1, 1]) ** 0.5 * self.centre

    def then(self, other: Conversion) -> Conversion:
        """This conversion followed by another; errors of both carry through, and it holds where both were seen."""
        middle = float(self.apply(self.centre))
        next_ = other.factor + other.bend * float(other._x(middle))
        factor = self.factor * next_
        # The second's bend is per its own centre; near the middle both are slopes on the same share of power.
        bend = self.bend * next_ + other.bend * (middle / other.centre) * self.factor
        # The second's error at its own place: its factor is told at its centre, its bend on its own share of power.
        carry = self.factor * np.array([[1.0, float(other._x(middle))], [0.0, middle / other.centre]])
        mine, theirs = self.covariance * next_**2, carry @ other.covariance @ carry.T
        low, high = (float(np.clip(v / self.factor, self.low, self.high)) for v in (other.low, other.high))
        return replace(
            self,
            factor=factor,
            bend=bend,
            covariance=np.asarray(mine + theirs, dtype=float),
            low=low,
            high=high,
            run_sd=float(np.hypot(self.run_sd, other.run_sd)),
            runs=min(self.runs, other.runs),
            minutes=min(self.minutes, other.minutes),
            through="modelled power",
            extra_sd=float(np.sqrt(self.extra_sd**2 + other.extra_sd**2 + THROUGH_MODEL_SD**2)),
        )


Minutes = tuple[Floats, Floats, Floats]  # watts of the first, watts of the second, speed times slope


def together(first: Floats, first_start: float, second: Floats, second_start: float) -> Minutes:
    """Steady minutes that two devices saw of one run, the second's brought to the first's clock minutes.

    Parameters
    ----------
    first, second : numpy.ndarray, shape (n, 13)
        Columns `summary.BLOCK_COLUMNS`.
    first_start, second_start : float
        Unix seconds of their elapsed 0.

    Returns
    -------
    watts, watts, load : numpy.ndarray, shape (k,)
        Mean watts of the first and of the second, and speed times what the slope costs [m/s].
    """
    if not len(first) or not len(second):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    there = second[:, 0] + second_start
    at = first[:, 0] + first_start
    moved = np.interp(at, there, second[:, AT["power"]], left=np.nan, right=np.nan)
    # Between two minutes of the second, both must be there and follow each other.
    after = np.clip(np.searchsorted(there, at - 1e-6), 0, len(there) - 1)
    before = np.maximum(after - 1, 0)
    joined = (np.abs(there[after] - at) < 1) | (there[after] - there[before] <= BLOCK_S + 1)
    keep = even(first) & joined & np.isfinite(moved) & (moved > 20)
    level = keep & (np.abs(np.nan_to_num(first[:, AT["grade"]])) < FLAT)
    keep = level if level.sum() >= LEAST_MINUTES / 2 else keep
    load = first[:, AT["speed"]] * slope_factor(np.nan_to_num(first[:, AT["grade"]]))
    return first[keep, AT["power"]], moved[keep], load[keep]


def learn(pairs: Sequence[Minutes], through: str = "common runs") -> Conversion | None:
    """Learn a conversion from the steady minutes of common runs.

    Parameters
    ----------
    pairs : sequence of three numpy.ndarray
        Minutes of each run on the first and on the second scale [W], and their load.

    Returns
    -------
    Conversion or None
        None with fewer than twenty minutes.
    """
    kept = [m for m in pairs if len(m[0]) >= 3]
    minutes = sum(len(m[0]) for m in kept)
    if minutes < LEAST_MINUTES:
        return None
    first, second, load = (np.concatenate([m[i] for m in kept]) for i in (0, 1, 2))
    guess, centre = float(np.median(second / first)), float(np.mean(first))
    # How hard a minute was is told by speed and slope where they are known: watts of either device would tie their own
    # error into the slope. Else by the mean of both, as in a plot of differences.
    told = bool(np.isfinite(load).all()) and float(load.mean()) > 0
    groups = []
    for a, b, at in kept:
        x = at / load.mean() - 1 if told else (0.5 * (a + b / guess) - centre) / centre
        groups.append((np.column_stack([np.ones(len(a)), x]), b / a))
    made = mixed.fit(
        groups,
        [0.5 * guess, BEND_SD * guess],
        [guess, 0.0],
        start=(_MINUTE_SD * guess, _RUN_SD * guess),
        floor=(0.003 * guess, 0.002 * guess),
        robust=True,
    )
    low, high = np.percentile(first, [2, 98])
    # Few runs tell their own spread badly: Student's quantile for them, as a wider standard error.
    wider = float(student(0.975, len(kept) + 1) / 1.96) ** 2
    return Conversion(
        float(made.coefficients[0]),
        float(made.coefficients[1]),
        made.covariance * wider,
        centre,
        made.between / guess,
        len(kept),
        minutes,
        float(low),
        float(high),
        through,
    )
