"""Modelled running power from speed, grade and air, and speed back from power."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from footwork.physics import air
from footwork.physics.cost import running_cost
from footwork.quantities import Floats

METHOD_VERSION = 1
FLAT_COST = 1.0  # c0, what foot sensors show on the flat, our convention [J/kg/m]
DRAG_SHARE = 6.13  # more flat power per body weight of drag force (da Silva et al. 2022: 6.13 % per 1 %)


def slope_factor(grade: npt.ArrayLike) -> Floats:
    """Power on a slope as a multiple of flat power at the same speed, ``Cr(i)/Cr(0)``; grade is rise over run.

    ``grade`` [1] is clipped to ±0.45, where costs were measured; same shape out as in, above 0.
    """
    return np.asarray(running_cost(grade) / running_cost(0.0), dtype=float)


def air_factor(
    speed: npt.ArrayLike,
    mass: float,
    headwind: npt.ArrayLike = 0.0,
    air_density: npt.ArrayLike = air.STANDARD_DENSITY,
    crosswind: npt.ArrayLike = 0.0,
) -> Floats:
    """Power spent against the air as a share of flat power at that speed.

    Parameters
    ----------
    speed, headwind : array_like
        Ground speed; wind along the path, positive against the runner. [m/s]
    mass : float
        [kg]
    air_density : array_like
        [kg/m³]
    crosswind : array_like
        Wind across the path. [m/s]

    Returns
    -------
    numpy.ndarray
        0.0613 for a drag of 1 % of body weight; negative in a strong tail wind.

    References
    ----------
    .. [1] da Silva E.S., Kram R., Hoogkamer W. (2022), J Appl Physiol.
    """
    force = air.drag_force(speed, headwind, air_density, air.drag_area(mass), crosswind)
    return np.asarray(DRAG_SHARE * force / (mass * air.GRAVITY), dtype=float)


def weather_factor(
    speed: npt.ArrayLike,
    mass: float | None,
    headwind: npt.ArrayLike = 0.0,
    air_density: npt.ArrayLike = air.STANDARD_DENSITY,
    drag: npt.ArrayLike = 1.0,
    crosswind: npt.ArrayLike = 0.0,
) -> Floats:
    """What wind, air density and shelter (the share ``drag`` of the drag that is left) add to `air_factor` of still
    standard air; 0 where the mass [kg] is not known."""
    if not mass:
        return np.zeros(np.broadcast_shapes(*(np.shape(v) for v in (speed, headwind, air_density))))
    felt = air_factor(speed, mass, headwind, air_density, crosswind)
    return np.asarray(np.asarray(drag, dtype=float) * felt - air_factor(speed, mass), dtype=float)


def running_power(
    speed: npt.ArrayLike,
    mass: float,
    grade: npt.ArrayLike = 0.0,
    headwind: npt.ArrayLike = 0.0,
    air_density: npt.ArrayLike = air.STANDARD_DENSITY,
    flat_cost: float = FLAT_COST,
) -> Floats:
    """Modelled power: ``m·c0·v·(Cr(i)/Cr(0) + drag share)``.

    Parameters
    ----------
    speed, headwind : array_like
        [m/s]
    mass : float
        [kg]
    grade : array_like
        Rise over run.
    air_density : array_like
        [kg/m³]
    flat_cost : float
        Device joules per kilogram and metre on the flat without air, 1.0 by convention. [J/kg/m]

    Returns
    -------
    numpy.ndarray
        Never below zero. [W]
    """
    v = np.asarray(speed, dtype=float)
    factor = slope_factor(grade) + air_factor(v, mass, headwind, air_density)
    return np.maximum(mass * flat_cost * v * factor, 0.0)


def running_speed(
    power: npt.ArrayLike,
    mass: float,
    grade: npt.ArrayLike = 0.0,
    headwind: npt.ArrayLike = 0.0,
    air_density: npt.ArrayLike = air.STANDARD_DENSITY,
    flat_cost: float = FLAT_COST,
    fastest: float = 12.0,
) -> Floats:
    """Speed at which `running_power` equals ``power`` [W]; inverse by bisection, at most ``fastest`` [m/s].

    Returns
    -------
    numpy.ndarray
        [m/s], to 1e-6. A tail wind that carries the runner is limited by ``fastest``.
    """
    target, slope, wind, rho = np.broadcast_arrays(power, grade, headwind, air_density)
    low, high = np.zeros(target.shape), np.full(target.shape, fastest)
    for _ in range(44):
        middle = 0.5 * (low + high)
        above = running_power(middle, mass, slope, wind, rho, flat_cost) >= target
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return np.asarray(0.5 * (low + high), dtype=float)
