"""What no runner can do: held against records of running and against the watts that a speed and a slope ask for."""

from __future__ import annotations

import numpy as np

from footwork.physics import power as power_model
from footwork.physics.terrain import step_distance
from footwork.quantities import Floats
from footwork.signals import Bools

# Nobody has run so fast for so long, (seconds, m/s): the records of 400, 800 and 2,000 m are 9.3 m/s over 43 s, 7.9
# over 101 s and 7.1 over 283 s (from memory of the lists of records); something is left in hand.
LIMITS = ((60, 9.5), (300, 7.6))
# The same of a whole result from so many seconds on: 5 km in 12:35, 10 km in 26:11, an hour of 21.3 km and a marathon
# in 2:00:35 (from memory of the lists) lie two in a hundred or more below.
RESULTS = (*LIMITS, (600, 6.9), (1500, 6.5), (3600, 6.25), (7200, 5.95))
# A step backwards, or one that no vehicle makes, is a leap; so many of all, and the rest is no way; our conventions.
FASTEST_VEHICLE, LEAP_SHARE, LEAST_LEAPS = 45.0, 0.1, 10
# Watts so many times what the flat cost and the slope ask for, over a minute, are no device's scatter: scales of
# devices lie within a third of each other. Without a mass, that of a light or a heavy runner is inside too.
SPREAD, USUAL_MASS = 3.0, 70.0
SLOWEST_JUDGED = 1.5  # [m/s]; below it, acceleration and walking decide
MOST_A_KILO = 8.0  # [W/kg] over a minute, which a steep treadmill may ask for where no grade is known; our convention
MOST_A_MINUTE = 1300.0  # [W] over a minute, whatever the speed; twice what a heavy sprinter's device shows
BLOCK_S, STEEP_DOWN = 60, -0.08


def beyond_records(metres: float, seconds: float) -> bool:
    """Whether nobody has run so far [m] in that time [s]."""
    fastest = [speed for least, speed in RESULTS if seconds >= least]
    return bool(fastest) and metres / seconds > fastest[-1]


def leaps(speed: Floats) -> bool:
    """Whether too many steps between samples, by their speed, shape (n,) [m/s], are leaps for the rest to be a way."""
    known = speed[np.isfinite(speed)]
    wrong = (known < -1.0) | (known > FASTEST_VEHICLE)
    return bool(wrong.sum() >= LEAST_LEAPS and wrong.mean() > LEAP_SHARE)


def too_fast(columns: dict[str, Floats]) -> Bools:
    """Seconds of minutes in which the median speed is one that nobody has run.

    Parameters
    ----------
    columns : dict
        1 Hz columns, shape (n,); ``distance`` [m], else positions [deg], else ``speed`` [m/s] tell it.

    Returns
    -------
    numpy.ndarray
        A mask of shape (n,).
    """
    n = len(columns["time"])
    speed = np.zeros(n)
    if "distance" in columns:
        speed[1:] = np.nan_to_num(np.diff(columns["distance"]))
    elif "latitude" in columns and "longitude" in columns:
        speed = np.nan_to_num(step_distance(columns["latitude"], columns["longitude"]))
    elif "speed" in columns:
        speed = np.nan_to_num(columns["speed"])
    out = np.zeros(n, dtype=np.bool_)
    if not (speed > min(fastest for _, fastest in LIMITS)).any():
        return out
    for width, fastest in LIMITS:
        if n >= width:
            from scipy import ndimage  # every command reads this file, few look through a trace

            out |= ndimage.median_filter(speed, size=width + 1, mode="nearest") > fastest
    return out


def beyond_watts(columns: dict[str, Floats], column: str, timer: Bools, mass: float | None) -> Bools:
    """Seconds of minutes whose measured watts the speed and the slope cannot ask for.

    Parameters
    ----------
    columns : dict
        1 Hz columns, shape (n,): ``column`` [W], and ``speed`` [m/s], ``grade`` [1] where known.
    timer : numpy.ndarray
        Running seconds, shape (n,).
    mass : float or None
        [kg]

    Returns
    -------
    numpy.ndarray
        A mask of shape (n,); where most minutes are wrong, all of the column.
    """
    n = len(timer)
    out = np.zeros(n, dtype=np.bool_)
    if column not in columns:
        return out
    watts = columns[column]
    asked = np.full(n, np.nan)
    grade = np.nan_to_num(columns.get("grade", np.zeros(n)))
    slopes_known = "grade" in columns
    if "speed" in columns:
        asked = power_model.FLAT_COST * (mass or USUAL_MASS) * columns["speed"] * power_model.slope_factor(grade)
    judged = wrong = 0
    for at in range(0, n, BLOCK_S):
        block = slice(at, at + BLOCK_S)
        known = np.isfinite(watts[block]) & timer[block]
        if known.sum() < BLOCK_S // 2:
            continue
        judged += 1
        mean = float(watts[block][known].mean())
        bad = mean > MOST_A_MINUTE
        both = known & np.isfinite(asked[block])
        if both.sum() >= BLOCK_S // 2 and float(columns["speed"][block][both].mean()) > SLOWEST_JUDGED:
            ratio = float(watts[block][both].mean() / max(asked[block][both].mean(), 1.0))
            low = ratio < 1.0 / SPREAD and float(grade[block][both].mean()) > STEEP_DOWN
            high = ratio > SPREAD and (slopes_known or mean > MOST_A_KILO * (mass or USUAL_MASS))
            bad = bad or high or low
        if bad:
            wrong += 1
            out[block] = np.isfinite(watts[block])
    return np.isfinite(watts) if wrong > judged / 2 else out
