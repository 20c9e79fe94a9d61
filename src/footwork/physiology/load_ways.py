"""Load of one activity in CP-minutes, by each way in which it may be known.

All ways end in the same unit: minutes weighted by the share of capacity at which they were spent, so that one minute at
critical power counts 1. Which way is the better, and how far each is off, is told by `analysis.load_sums`.
"""

from __future__ import annotations

from math import exp
from typing import Literal

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

LOAD_EXPONENT = 1.9  # weighting of the training impulse (Banister; Morton et al. 1990), here on power
Way = Literal["running power", "modelled power", "cycling power", "heart rate", "swimming speed", "exertion", "assumed"]
# SD of ln load of one activity. Heart rate and exertion: retest coefficients of variation of Wallace et al. 2014, J
# Strength Cond Res 28:2330 (15.6 and 28.1 %); the others are our conventions.
SD: dict[Way, float] = {
    "running power": 0.05,
    "cycling power": 0.05,
    "modelled power": 0.12,
    "heart rate": 0.16,
    "swimming speed": 0.25,
    "exertion": 0.28,
    "assumed": 0.5,
}
ON_FOOT = 0.45  # share of CP that walking costs at least; our convention
STANDING = 0.1  # share of CP below which nobody moves; our convention
MIDDLE_EXERTION, MIDDLE_WEIGHT, EXERTION_POWER = 5.0, 0.72, 0.85  # CP-minutes a minute; our conventions
RESERVE_AT_CP = 0.88  # share of the heart rate reserve at critical power; our convention, give or take 0.04
MOST_SHARE = 1.3  # heart rate tells of no more
SWIM_POWER = 2.5  # of speed: drag grows with its square, and technique gives way; our convention, give or take 0.5
# What climbing, descending and length add, as ln: each 10 m in a kilometre, and each factor over 90 minutes; our
# conventions, learned no further here.
CLIMB, DESCENT, LENGTH, LONG_MIN = 0.03, 0.05, 0.15, 90.0
# Modelled watts beyond 1.15 times CP and 75 s of CP as W′, or 2.5 times CP, are the recording's fault.
SPARE, RESERVE_S, TOP_SHARE = 1.15, 75.0, 2.5


def weight(share: npt.ArrayLike) -> Floats:
    """CP-minutes of a minute at a share of capacity: ``x·e^(1.9·(x−1))``.

    Parameters
    ----------
    share : array_like
        x, power over critical power [1].
    """
    x = np.asarray(share, dtype=float)
    return np.asarray(x * np.exp(LOAD_EXPONENT * (x - 1.0)), dtype=float)


def share_of(minute: float) -> float:
    """The steady share of capacity [1] whose minute counts so many CP-minutes; the inverse of `weight`."""
    wanted = max(minute, 1e-6)
    x: float = min(wanted, 10.0) ** 0.4
    for _ in range(40):
        here = x * exp(LOAD_EXPONENT * (x - 1.0))
        step = (here - wanted) / (here * (1.0 / x + LOAD_EXPONENT))
        x = max(x - step, 1e-4)
        if abs(step) < 1e-9:
            break
    return x


def of_power(seconds_by_watt: npt.ArrayLike, critical_power: float, on_foot: bool = True) -> float:
    """CP-minutes from seconds at each whole watt of the 30 s mean; on foot, moving counts as walking at least.

    Parameters
    ----------
    seconds_by_watt : array_like, shape (w,)
        From `domains.histogram`.
    critical_power : float
        [W]
    """
    seconds = np.asarray(seconds_by_watt, dtype=float)
    share = np.arange(len(seconds)) / critical_power
    if on_foot:
        share = np.where(share >= STANDING, np.maximum(share, ON_FOOT), share)
    return float((seconds * weight(share)).sum() / 60.0)


def capped(seconds_by_watt: npt.ArrayLike, critical_power: float) -> tuple[Floats, float]:
    """Modelled watts drawn in to what anybody could hold: at each watt, for the time spent at it or above.

    Parameters
    ----------
    seconds_by_watt : array_like, shape (w,)
    critical_power : float
        [W]

    Returns
    -------
    (numpy.ndarray, float)
        Seconds by watt as they are counted, and how many seconds were drawn in [s].
    """
    seconds = np.asarray(seconds_by_watt, dtype=float)
    above = np.cumsum(seconds[::-1])[::-1]
    most = critical_power * np.minimum(SPARE * (1.0 + RESERVE_S / np.maximum(above, 1.0)), TOP_SHARE)
    at = np.arange(len(seconds))
    held = np.minimum(at, np.floor(most)).astype(np.int64)
    counted = np.bincount(held, weights=seconds, minlength=len(seconds)).astype(float)
    return counted, float(seconds[held < at].sum())


def of_heart_rate(minutes: npt.ArrayLike, share: npt.ArrayLike) -> float:
    """CP-minutes of minutes whose heart rate tells a share of capacity.

    Parameters
    ----------
    minutes : array_like, shape (n,)
        How long each lasts [min].
    share : array_like, shape (n,)
        From `share_of_reserve`, or from the runner's own line [1].
    """
    x = np.clip(np.asarray(share, dtype=float), 0.0, MOST_SHARE)
    return float((np.asarray(minutes, dtype=float) * weight(x)).sum())


def share_of_reserve(heart_rate: npt.ArrayLike, resting: float, highest: float) -> Floats:
    """Share of capacity by the share of the heart rate reserve, where nothing of the runner's own tells it.

    Parameters
    ----------
    heart_rate : array_like
        [bpm]
    resting, highest : float
        [bpm]
    """
    return np.asarray((np.asarray(heart_rate, dtype=float) - resting) / (highest - resting) / RESERVE_AT_CP)


def of_exertion(minutes: float, exertion: float) -> float:
    """CP-minutes of minutes that felt so hard, 0 to 10 over the whole of them."""
    return float(minutes * MIDDLE_WEIGHT * (max(exertion, 0.0) / MIDDLE_EXERTION) ** EXERTION_POWER)


def of_swimming(minutes: float, speed: float, critical_speed: float) -> float:
    """CP-minutes of a swim.

    Parameters
    ----------
    minutes : float
        Swum, rests at the wall left out [min].
    speed, critical_speed : float
        [m/s]
    """
    return float(minutes * weight(min((speed / critical_speed) ** SWIM_POWER, MOST_SHARE)))


def terrain(climb: float, descent: float, distance: float, minutes: float) -> float:
    """By how much hills and length make a run harder than its watts, as a factor of its load [1].

    Parameters
    ----------
    climb, descent, distance : float
        [m]
    minutes : float
        [min]
    """
    kilometres = max(distance, 1.0) / 1000.0
    up, down = (min(metres / kilometres, 200.0) / 10.0 for metres in (climb, descent))
    return float(np.exp(CLIMB * up + DESCENT * down + LENGTH * np.log(max(1.0, minutes / LONG_MIN))))
