"""What temperature to expect where and when, for runs whose weather nobody told: a zonal climate with its spread."""

from __future__ import annotations

import datetime as dt
import math

from scipy.special import ndtr

# Zonal means of the two-mode energy-balance model (North & Coakley 1979, J Atmos Sci 36:1189), from memory: annual
# 14.9 - 28 P2(sin latitude), seasonal 15.5 sin latitude, warmest a month after the solstice.
GLOBAL_C, POLEWARD_C, SEASONAL_C = 14.9, -28.0, 15.5
WARMEST_DAY = 201  # 20 July
SOUTHERN = 0.6  # of the seasonal swing, which the oceans take; our convention
BY_DAY_C = 6.0  # warmer: runs are by day and on land; our convention
DAY_SD, PLACE_SD = 4.5, 4.0  # of days about a place's mean, and of places about their latitude's [°C]; our convention


def usual_temperature(day: float, latitude: float) -> float:
    """Mean temperature of a run by day of the year and latitude.

    Parameters
    ----------
    day : float
        Proleptic ordinal. [d]
    latitude : float
        [deg]

    Returns
    -------
    float
        [°C], give or take `PLACE_SD` from place to place and `DAY_SD` from day to day.
    """
    x = math.sin(math.radians(latitude))
    annual = GLOBAL_C + POLEWARD_C * (1.5 * x * x - 0.5)
    swing = SEASONAL_C * x * (1.0 if latitude >= 0 else SOUTHERN)
    return annual + swing * season(day) + BY_DAY_C


def season(day: float) -> float:
    """How far a day is towards the northern summer, -1 to 1 [1]; ``day`` is a proleptic ordinal [d]."""
    of_year = dt.date.fromordinal(int(day)).timetuple().tm_yday
    return math.cos(2 * math.pi * (of_year - WARMEST_DAY) / 365.25)


def expected_over(border: float, mean: float, sd: float = DAY_SD) -> float:
    """Mean degrees over a border of a normal temperature: ``E max(T - border, 0)``, all in [°C]."""
    z = (mean - border) / sd
    return float(sd * (math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) + z * ndtr(z)))
