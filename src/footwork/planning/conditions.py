"""What heat, altitude and a ride before take from capacity, with the spread of the published effects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

METHOD_VERSION = 2
# Slowing by wet-bulb globe temperature: none up to 12 to 15 °C, then 0.3 to 0.4 % a degree (Mantzios et al. 2022);
# where it begins and what it is between are our convention, near 4.6 % for a half marathon at 28 °C.
HEAT_FROM_C, HEAT_SOFT_C, HEAT_SLOPE = 14.0, 1.5, 0.0033
HEAT_SD = 0.35  # of the loss, from runner to runner; our convention
_HEAT_FULL_S = 3600.0  # shorter races lose in proportion; our convention
RESIDENT_M, AWAY_M = 1000.0, 600.0  # who lives at this altitude is acclimatised for so much more; our convention
# Energy cost of running rises by 1.6 to 11.6 % after cycling (Millet & Vleck 2000): the middle, and a range of four
# SDs.
_RIDE_COST, _RIDE_SD = 0.066, 0.025
_RACED_AT = 0.85  # intensity of a ride that counts as the studies' do; our convention
LONGEST_RIDE_S = 3 * 3600.0  # rides longer than the studies and most brick runs know; our convention
_WHOLE_RIDE_S = 3600.0  # a ride of this length or longer counts in full; our convention


def _heat(wet_bulb_globe: float) -> float:
    """Loss in a race of an hour and more, with a smooth beginning (a softplus of 1.5 °C). [1]"""
    return HEAT_SLOPE * HEAT_SOFT_C * float(np.logaddexp(0.0, (wet_bulb_globe - HEAT_FROM_C) / HEAT_SOFT_C))


def heat_slowing(wet_bulb_globe: float, duration: float, usual: float | None = None) -> tuple[float, float]:
    """Share of power lost to heat in a race, and its standard deviation.

    Parameters
    ----------
    wet_bulb_globe : float
        Of the race. [°C]
    duration : float
        Race time; the loss grows linearly up to an hour. [s]
    usual : float, optional
        That of the runs which tell what the runner can hold: their own loss is in the evidence already. [°C]

    Returns
    -------
    loss, sd : float
        Negative for a race that is cooler than the evidence.

    References
    ----------
    .. [1] Mantzios K. et al. (2022), Med Sci Sports Exerc 54:153-161: 0.3 to 0.4 % a degree above 10 to 17.5 °C.
    .. [2] Ely M.R. et al. (2007), Med Sci Sports Exerc 39:487-493, doi:10.1249/mss.0b013e31802d3aba.
    """
    loss = (_heat(wet_bulb_globe) - (0.0 if usual is None else _heat(usual))) * min(duration / _HEAT_FULL_S, 1.0)
    return loss, HEAT_SD * abs(loss)


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
    wet_bulb_globe: float | None,
    altitude: float,
    home_altitude: float,
    duration: float,
    count: int,
    seed: int = 3,
    usual: float | None = None,
) -> Floats:
    """Draws of the factor on CP under a race's heat [°C] and altitude [m] against the runner's usual heat and altitude;
    W′ is left alone."""
    rng = np.random.default_rng(seed)
    out = np.ones(count)
    if wet_bulb_globe is not None:
        loss, sd = heat_slowing(wet_bulb_globe, duration, usual)
        out *= 1 - np.clip(loss + sd * rng.standard_normal(count), -0.2, 0.5)
    ratios = [float(altitude_capacity(altitude, a) / altitude_capacity(home_altitude, a)) for a in (True, False)]
    if home_altitude >= RESIDENT_M and altitude <= home_altitude + AWAY_M:
        return out * ratios[0]
    # Whether the runner is acclimatised is not known: anything between the two curves.
    return out * rng.uniform(min(ratios), max(ratios), count)


def after_ride(duration: float, intensity: float | None = None) -> tuple[float, float]:
    """Logarithm of the factor on what can be held after a ride of a duration [s], and its standard deviation.

    ``intensity`` is its mean power as a share of what the rider can hold for an hour; the studies' rides were races, at
    about 0.85 of it, and an easier ride takes less in proportion, a harder one more (our convention).

    References
    ----------
    .. [1] Millet G.P., Vleck V.E. (2000), Br J Sports Med 34:384-390, doi:10.1136/bjsm.34.5.384.
    """
    part = min(duration / _WHOLE_RIDE_S, 1.0) * (1.0 if intensity is None else intensity / _RACED_AT)
    return -float(np.log1p(_RIDE_COST)) * part, _RIDE_SD * part


def combined(prior: tuple[float, float], seen: Sequence[float], spread: float) -> tuple[float, float]:
    """A normal prior (mean, SD) with observations that each spread by so much about the truth.

    All in one unit; returns the mean and SD of the posterior, [1] for shares.
    """
    if not seen:
        return prior
    weight, more = 1 / prior[1] ** 2, len(seen) / spread**2
    return (weight * prior[0] + more * float(np.mean(seen))) / (weight + more), (weight + more) ** -0.5
