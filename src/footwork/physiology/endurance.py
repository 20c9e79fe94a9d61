"""The power-duration relationship with its long tail, and the endurance that an effort spends."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
EARLIEST_TAIL_S = 480.0  # below, T* is set to 8 min
LATEST_TAIL_S = 1800.0  # above, T* is set to 30 min and the tail's slope follows from it
TAIL_MEDIAN, TAIL_LOG_SD = 0.065, 0.314  # prior of gamma: 95 % from 0.035 to 0.12, our convention


def tail_start(
    critical_power: npt.ArrayLike, w_prime: npt.ArrayLike, tail: npt.ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Where the hyperbola ends and the logarithmic tail begins.

    Parameters
    ----------
    critical_power : array_like
        [W]
    w_prime : array_like
        [J]
    tail : array_like
        γ, the fall of power per unit of ln(t/T*) as a share of power at T*.

    Returns
    -------
    t_star, p_star, gamma : numpy.ndarray
        Start of the tail [s], power there [W], and the slope in force (changed where T* had to be limited so that
        one over the time to exhaustion stays convex in power).
    """
    cp, wp, gamma = np.broadcast_arrays(
        np.asarray(critical_power, dtype=float), np.asarray(w_prime, dtype=float), np.asarray(tail, dtype=float)
    )
    natural = wp * (1 - gamma) / (gamma * cp)
    late = natural > LATEST_TAIL_S
    t_star = np.clip(natural, EARLIEST_TAIL_S, LATEST_TAIL_S)
    slope = np.where(late, wp / (wp + LATEST_TAIL_S * cp), gamma)
    return t_star, cp + wp / t_star, slope


def power_at(
    duration: npt.ArrayLike, critical_power: npt.ArrayLike, w_prime: npt.ArrayLike, tail: npt.ArrayLike
) -> Floats:
    """Highest mean power for a duration: ``CP + W′/t`` up to T*, then a fall by γ per unit of ln(t/T*).

    Parameters
    ----------
    duration : array_like
        [s]; under 120 s the hyperbola is extended beyond what it describes.
    critical_power, w_prime, tail : array_like
        [W], [J] and γ; all four broadcast.

    Returns
    -------
    numpy.ndarray
        [W], never below zero.
    """
    t = np.asarray(duration, dtype=float)
    t_star, p_star, slope = tail_start(critical_power, w_prime, tail)
    hyperbola = np.asarray(critical_power, dtype=float) + np.asarray(w_prime, dtype=float) / t
    beyond = p_star * (1 - slope * np.log(np.maximum(t, t_star) / t_star))
    return np.asarray(np.maximum(np.where(t <= t_star, hyperbola, beyond), 0.0), dtype=float)


def time_to_exhaustion(
    power: npt.ArrayLike, critical_power: npt.ArrayLike, w_prime: npt.ArrayLike, tail: npt.ArrayLike
) -> Floats:
    """The inverse of `power_at`: how long a constant power [W] can be held, in s (at most 1e9)."""
    p = np.asarray(power, dtype=float)
    t_star, p_star, slope = tail_start(critical_power, w_prime, tail)
    over = np.maximum(p - np.asarray(critical_power, dtype=float), 1e-9)
    exponent = np.minimum((1 - p / p_star) / slope, 20.0)
    return np.minimum(np.where(p >= p_star, np.asarray(w_prime) / over, t_star * np.exp(exponent)), 1e9)


def spent_endurance(
    power: npt.ArrayLike, step: npt.ArrayLike, critical_power: float, w_prime: float, tail: float
) -> Floats:
    """Cumulative share of endurance spent, the sum of dt / T_lim(P).

    Linear damage is our assumption. At constant power it reaches 1 when the power-duration relationship says so.

    Parameters
    ----------
    power : array_like, shape (n,)
        [W]
    step : array_like
        Length of each step. [s]
    critical_power, w_prime, tail : float
        [W], [J], γ.

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 fresh, 1 nothing left.
    """
    return np.asarray(
        np.cumsum(np.asarray(step, dtype=float) / time_to_exhaustion(power, critical_power, w_prime, tail)), dtype=float
    )
