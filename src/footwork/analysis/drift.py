"""Does a device still show what it showed? Its watts at steady, flat, easy speed from run to run, and where they
jump."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from footwork.analysis import mixed, speed
from footwork.analysis.agreement import effective_number
from footwork.analysis.change_points import change_points
from footwork.analysis.summary import AT
from footwork.quantities import Floats

METHOD_VERSION = 1
LEAST_RUNS = 5  # on each side of a jump
LEAST_SHARE = 0.02  # a smaller jump harms no plan; our convention
PENALTY = (
    4.5  # times the logarithm of the number of runs, in units of a run's variance: few false alarms (docs/recovery.md)
)
SLOW_SD = 0.003  # what weather and shoes move over a season; our convention
SURE = 3.3  # a jump stands out by so many standard errors
LEAST_MINUTES = 5
RATE_PER_SPEED = 100.0  # beats for a doubling of easy speed; common practice, no source
NEAR_RUNS = 20  # on each side of a jump, for heart rate


@dataclass(frozen=True)
class Jump:
    """Watts at a speed changed by a share at a run: its index in the series, the range of indices it may be, and the
    error."""

    index: int
    earliest: int
    latest: int
    share: float
    error: float


def easy(block: Floats) -> Floats:
    """Steady, flat minutes after the first five, no faster than the run's own median and a twentieth.

    ``block`` has shape (n, 13), columns `summary.BLOCK_COLUMNS`; returns a mask of shape (n,) [bool].
    """
    kept = speed.steady(block)
    kept = kept[(np.abs(np.nan_to_num(kept[:, AT["grade"]])) < 0.02) & (kept[:, AT["elapsed"]] >= 300)]
    if not len(kept):
        return kept
    return kept[kept[:, AT["speed"]] <= 1.05 * np.median(kept[:, AT["speed"]])]


def series(blocks: Sequence[Floats], mass: float | None) -> tuple[Floats, Floats]:
    """How far each run's easy minutes lie from the device's own power at speed.

    Returns
    -------
    index, share : numpy.ndarray
        Which runs, and their mean logarithm of measured over expected watts. Warmth is left out of the fit: over a
        season it goes with the date, and would explain a jump away.

    ``mass`` [kg]; the shares are relative [1]; runs with too few easy minutes are left out.
    """
    known = speed.fit(blocks, mass)
    if known is None:
        return np.zeros(0, dtype=float), np.zeros(0)
    kept = [easy(block) for block in blocks]
    told = [i for i, minutes in enumerate(kept) if len(minutes) >= LEAST_MINUTES]
    if not told:
        return np.zeros(0), np.zeros(0)
    every = np.concatenate([kept[i] for i in told])
    parts = np.split(np.log(every[:, AT["power"]] / known.shown(every)), np.cumsum([len(kept[i]) for i in told])[:-1])
    return np.array(told, dtype=float), np.array([np.median(part) for part in parts])


def jumps(values: Floats) -> list[Jump]:
    """Change points of a series of run means with unknown spread.

    Segments are found exactly for a sum of squares with a penalty, on values drawn in to three deviations of their
    neighbours, so that a run on sand is no change; a jump counts when it is 2 % or more and stands out by 3.3 errors.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        In order of date.
    """
    n = len(values)
    if n < 2 * LEAST_RUNS:
        return []
    # Neighbours tell the spread whatever jumps there are.
    spread = max(1.4826 * float(np.median(np.abs(np.diff(values)))) / 2**0.5, 0.004)
    local = np.array([np.median(values[max(i - 4, 0) : i + 5]) for i in range(n)])
    kept = np.clip(values, local - 3 * spread, local + 3 * spread)
    bounds = [0, *change_points(kept / spread, PENALTY * float(np.log(n)), LEAST_RUNS)]
    out = []
    for (a, b), (_, c) in pairwise(pairwise(bounds)):
        before, after = kept[a:b], kept[b:c]
        share = float(after.mean() - before.mean())
        within = float(
            np.sqrt((before.var(ddof=1) * (len(before) - 1) + after.var(ddof=1) * (len(after) - 1)) / (c - a - 2))
        )
        # Runs near in time are alike (weather, ground, shoe), and a season drifts a little by itself.
        centred = np.concatenate([before - before.mean(), after - after.mean()])
        alike = len(centred) / effective_number(centred)
        error = max(within, 0.5 * spread) * ((1 / len(before) + 1 / len(after)) * alike) ** 0.5
        error = float(np.hypot(error, SLOW_SD))
        if abs(share) < LEAST_SHARE or abs(share) < SURE * error:
            continue
        out.append(Jump(b, *_when(kept[a:c], b - a, within or spread, a), share, error))
    return out


def _when(values: Floats, at: int, spread: float, first: int) -> tuple[int, int]:
    """Earliest and latest index that fit nearly as well as the best."""
    costs = np.full(len(values), np.inf)
    for i in range(2, len(values) - 1):
        costs[i] = values[:i].var() * i + values[i:].var() * (len(values) - i)
    near = np.flatnonzero(costs <= costs[at] + 6 * spread**2)
    return first + int(near.min()), first + int(near.max())


def heart_rate_change(
    before: Sequence[Floats], after: Sequence[Floats], power_share: float
) -> tuple[float, float, float] | None:
    """How heart rate at a speed changed across a jump of a device's watts, against what so many real watts would do.

    Parameters
    ----------
    before, after : sequence of numpy.ndarray
        Blocks of runs on each side.
    power_share : float
        The jump, as a share of power.

    Returns
    -------
    (change, error, if_real) or None
        Beats at the same speed after less before, its standard error, and the change that the jump would have brought,
        had the runner really needed more power. None without enough heart rate.
    """
    groups, rates, watts = [], [], []
    for side, blocks in ((0.0, before), (1.0, after)):
        for block in blocks:
            kept = easy(block)
            kept = kept[np.isfinite(kept[:, AT["heart_rate"]])]
            if len(kept) >= LEAST_MINUTES:
                v = kept[:, AT["speed"]]
                groups.append((side, v, kept[:, AT["heart_rate"]], kept[:, AT["elapsed"]] / 3600))
                rates.append(float(kept[:, AT["heart_rate"]].mean()))
                watts.append(float(v.mean()))
    sides = [g[0] for g in groups]
    if sides.count(0.0) < LEAST_RUNS or sides.count(1.0) < LEAST_RUNS:
        return None
    centre = float(np.mean(watts))
    pairs = [
        (np.column_stack([np.ones(len(v)), np.full(len(v), side), v / centre - 1, hours]), rate)
        for side, v, rate, hours in groups
    ]
    # Easy minutes are too alike in speed to tell how heart rate follows it, and hills before them mislead: our
    # convention does.
    made = mixed.fit(
        pairs, [200.0, 30.0, 2.0, 15.0], [140.0, 0.0, RATE_PER_SPEED, 5.0], start=(3.0, 3.0), floor=(0.5, 0.8)
    )
    return float(made.coefficients[1]), made.sd(1), float(made.coefficients[2]) * power_share
