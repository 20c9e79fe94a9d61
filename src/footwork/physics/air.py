"""Air: density, pressure at height, wind near the ground, drag force, heat stress."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.quantities import Floats

STANDARD_DENSITY = 1.225  # ISO 2533 at sea level [kg/m³]
GRAVITY = 9.80665  # [m/s²]


def saturation_vapour_pressure(temperature: npt.ArrayLike) -> Floats:
    """Saturation pressure of water vapour over water, CIPM-2007 form.

    Parameters
    ----------
    temperature : array_like
        Air temperature. [°C]

    Returns
    -------
    numpy.ndarray
        [Pa]

    References
    ----------
    .. [1] Picard A. et al. (2008), Metrologia 45:149-155. Coefficients from memory.
    """
    kelvin = np.asarray(temperature, dtype=float) + 273.15
    return np.asarray(
        np.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin), dtype=float
    )


def density(temperature: npt.ArrayLike, pressure: npt.ArrayLike, humidity: npt.ArrayLike = 0.5) -> Floats:
    """Density of moist air by the CIPM-2007 equation.

    Parameters
    ----------
    temperature : array_like
        [°C]
    pressure : array_like
        Station pressure, not reduced to sea level. [Pa]
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    numpy.ndarray
        [kg/m³], relative error below 1e-3 from -20 to 45 °C and 600 to 1100 hPa.

    References
    ----------
    .. [1] Picard A. et al. (2008), Metrologia 45:149-155, doi:10.1088/0026-1394/45/2/004.
    """
    t = np.asarray(temperature, dtype=float)
    p = np.asarray(pressure, dtype=float)
    kelvin = t + 273.15
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    vapour = np.asarray(humidity, dtype=float) * enhancement * saturation_vapour_pressure(t) / p
    a = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    b = 5.707e-6 - 2.051e-8 * t
    c = 1.9898e-4 - 2.376e-6 * t
    compressibility = (
        1 - p / kelvin * (a + b * vapour + c * vapour**2) + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    return np.asarray(3.483740e-3 * p / (compressibility * kelvin) * (1 - 0.3780 * vapour), dtype=float)


def standard_pressure(altitude: npt.ArrayLike) -> Floats:
    """Pressure of the ISO 2533 standard atmosphere at a geopotential altitude [m], in Pa. Below 11 km."""
    temperature = 288.15 - 0.0065 * np.asarray(altitude, dtype=float)
    return np.asarray(101325.0 * (temperature / 288.15) ** 5.25588, dtype=float)


def standard_density(altitude: npt.ArrayLike) -> Floats:
    """Density of the ISO 2533 standard atmosphere at a geopotential altitude [m], in kg/m³. Below 11 km."""
    temperature = 288.15 - 0.0065 * np.asarray(altitude, dtype=float)
    return np.asarray(standard_pressure(altitude) / (287.05287 * temperature), dtype=float)


def wind_at_height(wind: npt.ArrayLike, height: float = 1.2, roughness: float = 0.03, shelter: float = 1.0) -> Floats:
    """Wind at a runner's height from the wind at 10 m by the logarithmic profile.

    Parameters
    ----------
    wind : array_like
        Wind at 10 m. [m/s]
    height : float
        Height of the runner's centre of drag, our convention 1.2. [m]
    roughness : float
        Roughness length; 0.03 is open grassland. [m]
    shelter : float
        Share of the wind that houses and trees let through, 0 to 1.

    Returns
    -------
    numpy.ndarray
        [m/s]
    """
    return np.asarray(np.asarray(wind) * shelter * np.log(height / roughness) / np.log(10.0 / roughness), dtype=float)


def drag_force(
    speed: npt.ArrayLike,
    headwind: npt.ArrayLike,
    air_density: npt.ArrayLike,
    drag_area: float,
    crosswind: npt.ArrayLike = 0.0,
) -> Floats:
    """Force of the air on a runner along the path, ``½ρ·CdA·(v+w)·√((v+w)² + c²)``: a crosswind holds back too.

    Parameters
    ----------
    speed, headwind : array_like
        Ground speed, and air speed along the path, positive against the runner. [m/s]
    air_density : array_like
        [kg/m³]
    drag_area : float
        Drag coefficient times frontal area. [m²]
    crosswind : array_like
        Air speed across the path, from either side. [m/s]

    Returns
    -------
    numpy.ndarray
        Positive when the air holds the runner back. [N]

    References
    ----------
    .. [1] Pugh L.G.C.E. (1971), J Physiol 213:255-276.
    """
    relative = np.add(speed, headwind, dtype=float)
    felt = relative * np.hypot(relative, crosswind)
    return np.asarray(0.5 * np.asarray(air_density) * drag_area * felt, dtype=float)


def drag_area(mass: float) -> float:
    """Drag area of a runner of that mass [kg]: 0.40 m² at 70 kg, scaled by mass to the power 2/3 (our convention)."""
    return float(0.40 * (mass / 70.0) ** (2 / 3))


def wet_bulb_globe_temperature(temperature: npt.ArrayLike, humidity: npt.ArrayLike) -> Floats:
    """Simplified wet-bulb globe temperature for moderate sun and light wind.

    Parameters
    ----------
    temperature : array_like
        [°C]
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    numpy.ndarray
        [°C]

    References
    ----------
    .. [1] The Australian meteorological service's approximation, ``0.567·T + 0.393·e + 3.94``.
    """
    t = np.asarray(temperature, dtype=float)
    vapour = np.asarray(humidity, dtype=float) * 6.105 * np.exp(17.27 * t / (237.7 + t))
    return np.asarray(0.567 * t + 0.393 * vapour + 3.94, dtype=float)
