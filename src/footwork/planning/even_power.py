"""A race at even power: how much, how fast, which splits, and how sure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from footwork.physiology.endurance import power_at
from footwork.planning.course import Course, effort_factor
from footwork.planning.pacing import FASTEST
from footwork.quantities import Floats

METHOD_VERSION = 3


def segment_speed(
    power: npt.ArrayLike,
    course: Course,
    flat_power: Callable[[Floats], Floats],
    mass: float | None,
    level: float | None = None,
) -> Floats:
    """Speed on every segment at given powers; on descents no faster than their limit times the level speed.

    Parameters
    ----------
    power : array_like, shape (k,)
        Effort in watts of the scale that ``flat_power`` belongs to, wind and hills included. [W]
    course : Course
        With s segments.
    flat_power : callable
        Flat, windless power [W] at a speed [m/s].
    mass : float or None
        For the share of wind and air density; without it they are left out. [kg]
    level : float, optional
        Power whose level speed limits descents; by default each power's own. [W]

    Returns
    -------
    numpy.ndarray, shape (k, s)
        [m/s]
    """
    target = np.asarray(power, dtype=float)[:, None]
    surface, side = (
        np.broadcast_to(np.asarray(v, float), course.grade.shape) for v in (course.surface, course.crosswind)
    )
    kinds, which = np.unique(
        np.round(np.column_stack([course.grade, course.headwind, course.density, surface, side]), 3),
        axis=0,
        return_inverse=True,
    )
    grade, wind, density, surface, side = kinds.T
    alike = Course(np.ones(len(kinds)), grade, wind, density, None, surface, course.drag, None, side, course.descents)
    low = np.full((len(target), len(kinds)), 0.05)
    grid = np.arange(0.02, FASTEST, 0.02)
    flat = np.interp(target[:, 0] if level is None else np.full(len(target), level), flat_power(grid), grid)
    high = np.minimum(alike.descent_limit * flat[:, None], FASTEST)
    for _ in range(30):
        middle = 0.5 * (low + high)
        above = flat_power(middle) * effort_factor(alike, middle, mass) >= target
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return np.asarray(low[:, which.ravel()], dtype=float)  # never the far side of the step from walking to running


@dataclass(frozen=True)
class TimeAtPower:
    """Race time as a function of even power on one course, tabulated: powers [W] and times [s]."""

    powers: Floats
    times: Floats

    def time(self, power: npt.ArrayLike) -> Floats:
        """[s]"""
        return np.asarray(np.exp(np.interp(np.log(power), np.log(self.powers), np.log(self.times))), dtype=float)

    def power(self, time: npt.ArrayLike) -> Floats:
        """Even power [W] for a time [s]; the end of the table where it lies beyond."""
        return np.asarray(
            np.exp(np.interp(np.log(time), np.log(self.times[::-1]), np.log(self.powers[::-1]))), dtype=float
        )


def tabulate(
    course: Course,
    flat_power: Callable[[Floats], Floats],
    mass: float | None,
    around: float,
    level: float | None = None,
) -> TimeAtPower:
    """Race times at even powers from 0.3 to 2.5 times ``around`` [W]; ``level`` as `segment_speed`."""
    powers = around * np.geomspace(0.3, 2.5, 60)
    speeds = segment_speed(powers, course, flat_power, mass, level)
    return TimeAtPower(powers, (course.length[None, :] / speeds).sum(axis=1) + course.stops.sum())


def sustainable(
    table: TimeAtPower, critical_power: Floats, w_prime: Floats, tail: Floats, needs: npt.ArrayLike = 1.0
) -> tuple[Floats, Floats]:
    """The highest even power each runner of a joint draw can hold to the end, and the time it gives.

    Parameters
    ----------
    table : TimeAtPower
    critical_power, w_prime, tail : numpy.ndarray, shape (k,)
        Draws already under race conditions. [W], [J], γ
    needs : array_like
        Factor by which that runner needs more power than the table for a speed.

    Returns
    -------
    power, time : numpy.ndarray, shape (k,)
        [W], [s]. A faster race is shorter and so allows more power: the two are found together by bisection.
    """
    factor = np.broadcast_to(np.asarray(needs, dtype=float), critical_power.shape)
    low = table.powers[0] * factor
    high = table.powers[-1] * factor
    for _ in range(40):
        middle = np.sqrt(low * high)
        too_much = middle > power_at(table.time(middle / factor), critical_power, w_prime, tail)
        high, low = np.where(too_much, middle, high), np.where(too_much, low, middle)
    power = np.sqrt(low * high)
    return power, table.time(power / factor)


def splits(
    course: Course, speeds: Floats, power: Floats, every: float = 1000.0, spread: tuple[float, float] = (1.0, 1.0)
) -> list[dict[str, float]]:
    """Time and mean power at every so many metres and at the end, from segment speeds [m/s] and powers [W] (shape
    (s,)).

    ``spread`` is the interval of the race's time as multiples of it: every split shares it.
    """
    ends = np.concatenate([[0.0], course.ends])
    clock = np.concatenate([[0.0], np.cumsum(course.length / speeds + course.stops)])
    marks = np.arange(every, ends[-1] - 0.05 * every, every)
    marks = np.append(marks, ends[-1])
    at = np.interp(marks, ends, clock)
    work = np.interp(marks, ends, np.concatenate([[0.0], np.cumsum(power * course.length / speeds)]))
    moving = np.interp(marks, ends, np.concatenate([[0.0], np.cumsum(course.length / speeds)]))
    mean = np.diff(work, prepend=0.0) / np.diff(moving, prepend=0.0)
    height = np.interp(marks, ends, np.concatenate([[0.0], np.cumsum(course.length * course.grade)]))
    before = np.concatenate([[0.0], marks[:-1]])
    return [
        {
            "distance_m": float(m),
            "time_s": float(t),
            "time_low_s": float(t * spread[0]),
            "time_high_s": float(t * spread[1]),
            "split_s": float(s),
            "speed_mps": float((m - b) / s),
            "rise_m": float(r),
            "power_w": float(p),
        }
        for m, t, s, b, r, p in zip(
            marks, at, np.diff(at, prepend=0.0), before, np.diff(height, prepend=0.0), mean, strict=True
        )
    ]
