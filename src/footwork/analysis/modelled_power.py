"""Power modelled from speed and slope, smoothed by their own noise and bound by physics, and the error that is left."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.physics import power as power_model
from footwork.physics.cost import GRADE_LIMIT
from footwork.quantities import Floats
from footwork.signals import Bools

# Our conventions.
CHANGE_MPS = 0.15  # SD of what a runner's speed changes by from second to second
LEAST_NOISE, MOST_NOISE = 0.05, 3.0  # of a second's speed [m/s]
FAR = 3.0  # noise SDs beyond which a second counts less and less
ROUNDS = 6  # of reweighting
STEEPEST_RISE = 0.8  # fastest climb of a runner over some seconds [m/s]
SLOPE_COST = 3.6  # of running a metre by a metre of climb a metre, over level, for small slopes (Minetti et al. 2002)
LEAST_HEIGHT_NOISE = 0.3  # of a barometer [m]
MOST_ERROR = 0.08  # share of power beyond which a modelled best is none


def smooth_speed(speed: npt.ArrayLike, timer: Bools) -> tuple[Floats, float]:
    """Speed as a random walk seen through noise: the smoother of that state, robust against jumps.

    Parameters
    ----------
    speed : array_like, shape (n,)
        At 1 Hz, NaN where missing. [m/s]
    timer : numpy.ndarray of bool, shape (n,)

    Returns
    -------
    smooth : numpy.ndarray, shape (n,)
        NaN where nothing is known for more than half a minute. [m/s]
    noise : float
        SD of a second's error before smoothing, from steps between seconds. [m/s]
    """
    from scipy.linalg import solveh_banded

    v = np.asarray(speed, dtype=float)
    known = np.isfinite(v) & timer
    if known.sum() < 10:
        return v.copy(), LEAST_NOISE
    steps = np.diff(v)[known[1:] & known[:-1]]
    robust = 1.4826 * float(np.median(np.abs(steps))) if len(steps) else 0.0
    # A jump now and then leaves the median alone: the spread of all steps tells of those.
    noise = float(np.clip(max(robust, 0.5 * float(np.std(steps))) / 2**0.5, LEAST_NOISE, MOST_NOISE))
    n = len(v)
    values = np.where(known, v, 0.0)
    weight = known.astype(float)
    stiff = (noise / CHANGE_MPS) ** 2
    smooth = values
    for _ in range(ROUNDS):
        # Information of each second and of each step between seconds, tridiagonal.
        band = np.zeros((2, n))
        band[1] = weight + 1e-9
        band[1, :-1] += stiff
        band[1, 1:] += stiff
        band[0, 1:] = -stiff
        smooth = np.asarray(solveh_banded(band, weight * values), dtype=float)
        miss = np.abs(values - smooth) / noise
        weight = known * np.minimum(1.0, (FAR / np.maximum(miss, 1e-9)) ** 2)
    at = np.flatnonzero(known)
    seconds = np.arange(n)
    after = np.clip(np.searchsorted(at, seconds), 0, len(at) - 1)
    gap = np.minimum(np.abs(seconds - at[after]), np.abs(seconds - at[np.maximum(after - 1, 0)]))
    return np.where(gap > 15, np.nan, np.maximum(smooth, 0.0)), noise


def height_noise(altitude: npt.ArrayLike) -> float:
    """SD of a height's error [m], from how it bends over five seconds: satellites some metres, a barometer tenths."""
    z = np.asarray(altitude, dtype=float)[::5]
    bend = np.diff(z, 2)
    bend = bend[np.isfinite(bend)]
    return max(float(np.std(np.clip(bend, -40, 40))) / 6**0.5, LEAST_HEIGHT_NOISE) if len(bend) > 5 else 0.0


def modelled(
    speed: Floats, grade: Floats, timer: Bools, mass: float, height_error: float
) -> tuple[Floats, tuple[float, float]]:
    """Power of a run without a meter and how its error shrinks with time.

    Parameters
    ----------
    speed, grade : numpy.ndarray, shape (n,)
        At 1 Hz; NaN where missing. [m/s] and rise over run
    timer : numpy.ndarray of bool, shape (n,)
    mass : float
        [kg]
    height_error : float
        `height_noise` of the heights that the slope is from. [m]

    Returns
    -------
    power : numpy.ndarray, shape (n,)
        [W], 0 in a pause.
    error : tuple of float
        For `error_over`. [1·s½] and [s]
    """
    smooth, noise = smooth_speed(speed, timer)
    slope = np.nan_to_num(grade)
    with np.errstate(invalid="ignore", divide="ignore"):
        limit = np.where(smooth > 0.3, STEEPEST_RISE / np.maximum(smooth, 0.3), GRADE_LIMIT)
    watts = power_model.running_power(smooth, mass, np.clip(slope, -GRADE_LIMIT, limit))
    level = max(float(np.nanmedian(smooth[timer])) if np.isfinite(smooth[timer]).any() else 1.0, 0.5)
    return np.where(timer, watts, 0.0), (noise / level, SLOPE_COST * 2**0.5 * height_error / level)


def error_over(seconds: npt.ArrayLike, error: tuple[float, float]) -> Floats:
    """Relative SD of modelled power over so many seconds [s]: noise of speed averages out by the root of time, that of
    the climb between two heights by time."""
    t = np.asarray(seconds, dtype=float)
    return np.asarray(np.hypot(error[0] / np.sqrt(t), error[1] / t), dtype=float)
