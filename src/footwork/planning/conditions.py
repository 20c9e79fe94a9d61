"""What heat, altitude and a ride before take from capacity, with the spread of the published effects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 1
# Ely et al. 2007: slowing of the men's top three against the course record, by wet-bulb globe temperature.
_WBGT = (7.5, 12.5, 17.5, 22.5)
_SLOWING = (0.017, 0.025, 0.033, 0.045)
_MARATHON_S = 2.25 * 3600
# Energy cost of running rises by 1.6 to 11.6 % after cycling (Millet & Vleck 2000): the middle, and a range of four
# SDs.
_RIDE_COST, _RIDE_SD = 0.066, 0.025
_WHOLE_RIDE_S = 3600.0  # a ride of this length or longer counts in full; our convention


def heat_slowing(wet_bulb_globe: float, duration: float) -> tuple[float, float]:
    """Share of power lost to heat in a race, and its standard deviation.

    Parameters
    ----------
    wet_bulb_globe : float
        [°C]; linear between Ely's bands and beyond the last with its slope.
    duration : float
        Race time; the loss grows linearly up to the marathon's time of those runners, then no more. [s]

    Returns
    -------
    loss, sd : float
        Against a race in the coolest band (5 to 10 °C). Slower runners lose more: the loss is taken as 1.5 times the
        elite's with an SD of half of it, our convention.

    References
    ----------
    .. [1] Ely M.R. et al. (2007), Med Sci Sports Exerc 39:487-493, doi:10.1249/mss.0b013e31802d3aba.
    """
    slope = (_SLOWING[-1] - _SLOWING[-2]) / (_WBGT[-1] - _WBGT[-2])
    raw = float(np.interp(wet_bulb_globe, _WBGT, _SLOWING)) + max(wet_bulb_globe - _WBGT[-1], 0.0) * slope
    loss = 1.5 * max(raw - _SLOWING[0], 0.0) * min(duration / _MARATHON_S, 1.0)
    return loss, 0.5 * loss


def altitude_capacity(altitude: npt.ArrayLike, acclimatised: bool = False) -> Floats:
    """Aerobic capacity at an altitude as a share of sea level.

    Parameters
    ----------
    altitude : array_like
        [m], 0 to 4,000.
    acclimatised : bool

    Returns
    -------
    numpy.ndarray
        1 at sea level, never above 1.

    References
    ----------
    .. [1] Bassett D.R. et al. (1999), Med Sci Sports Exerc; the unacclimatised cubic from memory.
    """
    x = np.clip(np.asarray(altitude, dtype=float) / 1000.0, 0.0, 4.0)
    if acclimatised:
        percent = -1.12 * x**2 - 1.90 * x + 99.9
    else:
        percent = 0.178 * x**3 - 1.43 * x**2 - 4.07 * x + 100.0
    return np.minimum(percent / 100.0, 1.0)


def capacity_factors(
    wet_bulb_globe: float | None, altitude: float, home_altitude: float, duration: float, count: int, seed: int = 3
) -> Floats:
    """Draws of the factor on CP and W′ under a race's heat [°C] and altitude [m] against the runner's usual
    altitude."""
    rng = np.random.default_rng(seed)
    out = np.ones(count)
    if wet_bulb_globe is not None:
        loss, sd = heat_slowing(wet_bulb_globe, duration)
        out *= 1 - np.clip(loss + sd * rng.standard_normal(count), 0.0, 0.5)
    if abs(altitude - home_altitude) > 100:
        ratios = [float(altitude_capacity(altitude, a) / altitude_capacity(home_altitude, a)) for a in (True, False)]
        # Whether the runner is acclimatised is not known: anything between the two curves.
        out *= rng.uniform(min(ratios), max(ratios), count)
    return out


def after_ride(duration: float) -> tuple[float, float]:
    """Logarithm of the factor on what can be held after a ride of a duration [s], and its standard deviation.

    References
    ----------
    .. [1] Millet G.P., Vleck V.E. (2000), Br J Sports Med 34:384-390, doi:10.1136/bjsm.34.5.384.
    """
    part = min(duration / _WHOLE_RIDE_S, 1.0)
    return -float(np.log1p(_RIDE_COST)) * part, _RIDE_SD * part


def combined(prior: tuple[float, float], seen: Sequence[float], spread: float) -> tuple[float, float]:
    """A normal prior (mean, SD) with observations that each spread by so much about the truth.

    All in one unit; returns the mean and SD of the posterior, [1] for shares.
    """
    if not seen:
        return prior
    weight, more = 1 / prior[1] ** 2, len(seen) / spread**2
    return (weight * prior[0] + more * float(np.mean(seen))) / (weight + more), (weight + more) ** -0.5
