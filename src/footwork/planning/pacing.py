"""Pacing: the quickest way over a course that leaves a reserve in both stores, beside even power and even pace.

The stores are W′ (work above critical power) and endurance (what long efforts spend); running dry is either one empty.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from footwork.physics import air
from footwork.physics.power import DRAG_SHARE
from footwork.physiology.endurance import tail_start, time_to_exhaustion
from footwork.planning import transcription
from footwork.planning.course import WALK_FASTEST, Course, effort_factor, ground_factor, walked
from footwork.quantities import Floats

METHOD_VERSION = 2
STRATEGIES = ("best", "even-power", "even-pace")
RAMP_SHARE = 0.02  # of CP that power may change by in a second; our convention
HARDEST_S = 120.0  # no power above the one for two minutes, on any climb
FASTEST_DESCENT = 1.3  # times the runner's flat speed at CP; our convention where descents are not known
DESCENT_GRADE, DESCENT_MINUTES = 0.03, 20
SLOWEST = 0.3  # [m/s]
COLLAPSE = 0.8  # share of the plan, and of CP at most, that is left once a store is empty; our convention
FlatPower = Callable[[Floats], Floats]


@dataclass(frozen=True)
class Engine:
    """One runner on one day: CP [W], W′ [J], γ; flat power [W] at a speed [m/s]; mass [kg] for wind, or None; the
    fastest descent that the runner has shown [m/s], or None; the ``shortest`` time that the highest power of a plan can
    be held for [s]."""

    critical_power: float
    w_prime: float
    tail: float
    flat_power: FlatPower
    mass: float | None = None
    descent: float | None = None
    shortest: float = HARDEST_S

    @property
    def hardest(self) -> float:
        """Highest power of a plan: that for two minutes, or for a shorter race. [W]"""
        return self.critical_power + self.w_prime / self.shortest

    def fastest(self) -> float:
        """Highest speed of a plan, on any descent: what the runner has shown, at least the flat speed at the hardest
        power. [m/s]"""
        grid = np.arange(0.5, 12.0, 0.02)
        flat, hardest = np.interp([self.critical_power, self.hardest], self.flat_power(grid), grid)
        return max(float(hardest), FASTEST_DESCENT * float(flat) if self.descent is None else self.descent)


def shown_descent(speed: Floats, grade: Floats) -> float | None:
    """Fastest minutes downhill that the runner has shown [m/s], a twentieth faster; None with fewer than twenty minutes
    on descents of 3 % or more.

    Parameters
    ----------
    speed, grade : numpy.ndarray, shape (n,)
        Means of minutes [m/s].
    """
    down = speed[(grade < -DESCENT_GRADE) & np.isfinite(speed) & (speed > 1.5)]
    return 1.05 * float(np.quantile(down, 0.98)) if len(down) >= DESCENT_MINUTES else None


@dataclass(frozen=True)
class Run:
    """A course run in a certain way: by segment power [W], speed [m/s], seconds; the stores at the end of each: W′ left
    [J] and endurance left (1 fresh, 0 empty); seconds stood after it."""

    power: Floats
    speed: Floats
    seconds: Floats
    w_prime: Floats
    endurance: Floats
    stops: Floats

    @property
    def clock(self) -> Floats:
        """Time at the end of each segment, stops before it included. [s]"""
        return np.asarray(np.cumsum(self.seconds + self.stops) - self.stops, dtype=float)

    @property
    def time(self) -> float:
        """Time over the whole course [s]."""
        return float(self.seconds.sum() + self.stops.sum())


def needed_power(engine: Engine, course: Course, speed: Floats) -> Floats:
    """Power that speeds take on each segment, shape (s,). [W]"""
    return np.asarray(engine.flat_power(speed) * effort_factor(course, speed, engine.mass), dtype=float)


def speed_at(engine: Engine, course: Course, power: Floats) -> Floats:
    """Speed on each segment at powers, by bisection, no faster than a descent allows, shape (s,). [m/s]"""
    low, high = np.full(len(course.length), 0.05), np.full(len(course.length), engine.fastest())
    for _ in range(40):
        middle = 0.5 * (low + high)
        above = needed_power(engine, course, middle) >= power
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return low  # never the far side of the step from walking to running


def at_speed(engine: Engine, course: Course, speed: Floats) -> Run:
    """The stores along a course at given speeds.

    ``speed`` has shape (n,) or one value [m/s].
    """
    seconds = course.length / speed
    return replace(stores(engine, needed_power(engine, course, speed), seconds, course.stops), speed=speed)


def stores(engine: Engine, power: Floats, seconds: Floats, stops: Floats | None = None) -> Run:
    """The stores along segments of given powers [W] and durations, standing after each; speeds are left at nothing."""
    stops = np.zeros(len(power)) if stops is None else stops
    above = power - engine.critical_power
    # Below CP what is missing of W′ comes back exponentially, which is exact for constant power.
    keep = np.exp(np.minimum(above, 0.0) * seconds / engine.w_prime)
    cost = np.maximum(above, 0.0) * seconds
    rest = np.exp(-engine.critical_power * stops / engine.w_prime)
    left, deficit = np.empty(len(power)), 0.0
    for i, (share, spent, stood) in enumerate(zip(keep.tolist(), cost.tolist(), rest.tolist(), strict=True)):
        deficit = deficit * share + spent
        left[i] = engine.w_prime - deficit
        deficit *= stood
    lasting = time_to_exhaustion(np.maximum(power, 1.0), engine.critical_power, engine.w_prime, engine.tail)
    return Run(power, np.zeros(len(power)), seconds, left, 1.0 - np.cumsum(seconds / lasting), stops)


def at_power(engine: Engine, course: Course, power: Floats) -> Run:
    """The same at given powers; where a descent limits the speed, less power is needed than asked.

    ``power`` has shape (n,) or one value [W].
    """
    return at_speed(engine, course, speed_at(engine, course, np.minimum(power, engine.hardest)))


def spare(engine: Engine, run: Run, reserve: float) -> float:
    """How much of the scarcer store is left above the reserve, as a share of it; negative where a run digs into it.

    ``reserve`` is what is to be left of either store [1].
    """
    return min(float(run.w_prime.min()) / engine.w_prime, float(run.endurance[-1])) - reserve


def _hardest(make: Callable[[float], Run], engine: Engine, reserve: float, low: float, high: float) -> Run:
    """The hardest of a family of runs that keeps the reserve; the family's parameter grows with effort."""
    for _ in range(36):
        middle = 0.5 * (low + high)
        if spare(engine, make(middle), reserve) >= 0:
            low = middle
        else:
            high = middle
    return make(low)


def even_power(engine: Engine, course: Course, reserve: float = 0.0) -> Run:
    """One power all the way, as high as the reserve allows.

    ``reserve`` is what is to be left of either store [1].
    """
    whole = np.ones(len(course.length))
    return _hardest(
        lambda p: at_power(engine, course, p * whole), engine, reserve, 0.05 * engine.critical_power, engine.hardest
    )


def even_pace(engine: Engine, course: Course, reserve: float = 0.0) -> Run:
    """One speed all the way, as high as the reserve allows.

    ``reserve`` is what is to be left of either store [1].
    """
    whole = np.ones(len(course.length))
    return _hardest(lambda v: at_speed(engine, course, v * whole), engine, reserve, 0.3, engine.fastest())


def in_time(engine: Engine, course: Course, time: float, even_speed: bool = False) -> Run:
    """Even power, or even pace, that takes a time [s], whatever it leaves in the stores; the nearest there is."""
    whole = np.ones(len(course.length))
    if even_speed:
        moving = max(time - float(course.stops.sum()), 1.0)
        return at_speed(engine, course, min(course.distance / moving, engine.fastest()) * whole)
    low, high = 0.05 * engine.critical_power, engine.hardest
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if at_power(engine, course, middle * whole).time > time else (low, middle)
    return at_power(engine, course, high * whole)


def scaled(engine: Engine, course: Course, power: Floats, reserve: float) -> Run:
    """A pattern of powers, all by one factor as high as the reserve allows.

    ``power`` has shape (n,) [W]; ``reserve`` [1].
    """
    return _hardest(lambda k: at_power(engine, course, k * power), engine, reserve, 0.7, 1.3)


def leaning(engine: Engine, course: Course, run: Run, share: float, reserve: float, time: float | None = None) -> Run:
    """A run with its second half harder by a share: power rises along a line in time, all by one factor as the reserve
    allows, or as a time [s] asks."""
    middle = run.clock - 0.5 * run.seconds
    ramp = 1.0 + share * (2.0 * middle / run.time - 1.0)
    if time is None:
        return scaled(engine, course, run.power * ramp, reserve)
    low, high = 0.5, 2.0
    for _ in range(36):
        factor = 0.5 * (low + high)
        low, high = (factor, high) if at_power(engine, course, factor * run.power * ramp).time > time else (low, factor)
    return at_power(engine, course, high * run.power * ramp)


def best(
    engine: Engine, course: Course, reserve: float = 0.0, even: Run | None = None
) -> tuple[Run, transcription.Solution]:
    """The quickest run that keeps the reserve in both stores, by optimal control, and how the solver ended.

    Power is bounded by that for two minutes, speed by what descents allow, and power changes by at most 2 % of CP a
    second. The solver works on a smooth copy of power at speed; its pattern is then brought to the exact one, so that
    all strategies keep exactly the same reserve. ``even`` is even power at that reserve where it is known already.

    ``reserve`` [1]; where the solver fails, ``even`` comes back with the reason.
    """
    even = even or even_power(engine, course, reserve)
    n = len(course.length)
    cp, wp, hardest = engine.critical_power, engine.w_prime, engine.hardest
    cost = _smooth_cost(engine)
    t_star, p_star, gamma = (float(v) for v in tail_start(cp, wp, engine.tail))
    drag = DRAG_SHARE * 0.5 * float(air.drag_area(engine.mass)) / (engine.mass * air.GRAVITY) if engine.mass else 0.0
    ground = ground_factor(course, even.speed)  # what even power walks stays walked
    own = np.column_stack([course.length, ground, course.headwind, course.density])
    rows = np.column_stack([own, np.vstack([own[1:], own[-1:]])])

    def stage(x0: Any, x1: Any, u0: Any, u1: Any, _: Any, p: Any) -> tuple[list[Any], list[Any], Any]:
        import casadi as ca

        def watts(v: Any, slope: Any, wind: Any, density: Any) -> Any:
            against = v + wind
            felt = course.drag * density * against * ca.sqrt(against**2 + 1e-4)
            pull = drag * (felt - air.STANDARD_DENSITY * v**2)
            factor = slope + pull
            return v * sum(c * v**k for k, c in enumerate(cost)) * 0.5 * (factor + ca.sqrt(factor**2 + 1e-4))

        def positive(value: Any) -> Any:
            return 0.5 * (value + ca.sqrt(value**2 + 1.0))

        power, after = watts(u0[0], p[1], p[2], p[3]), watts(u1[0], p[5], p[6], p[7])
        seconds = p[0] / u0[0]
        missing = x0[0] * ca.exp(-positive(cp - power) * seconds / wp) + positive(power - cp) * seconds
        slow = ca.exp(-(1 - power / p_star) / gamma) / t_star
        quick = (power - cp) / wp
        spent = x0[1] + seconds * ca.if_else(power >= p_star, quick, slow)
        step = RAMP_SHARE * cp * 0.5 * (seconds + p[4] / u1[0])
        return (
            [x1[0] - missing, x1[1] - spent],
            [(after - power - step) / cp, (power - after - step) / cp, (power - hardest) / cp],
            seconds,
        )

    first = np.append(even.speed, even.speed[-1])[:, None]
    states = np.column_stack([np.append(0.0, wp - even.w_prime), np.append(0.0, 1 - even.endurance)])
    solved = transcription.solve(
        n,
        [(0.0, (1 - reserve) * wp, wp), (0.0, 1.0 - reserve, 1.0)],
        [(SLOWEST, engine.fastest(), 4.0)],
        stage,
        rows,
        [0.0, 0.0],
        [None, None],
        (states, first),
    )
    if solved.status != "converged":
        return even, solved
    speed = solved.controls[:-1, 0]
    walking = walked(course.grade, even.speed)
    pattern = needed_power(engine, course, np.where(walking, np.minimum(speed, WALK_FASTEST), speed))
    found = scaled(engine, course, pattern, reserve)  # takes up what the smooth copy was off by
    return (found if found.time <= even.time else even), solved


def _smooth_cost(engine: Engine) -> list[float]:
    """Joules per metre as a polynomial of speed, for the solver's derivatives."""
    v = np.linspace(0.8, engine.fastest(), 120)
    return [float(c) for c in np.polynomial.polynomial.polyfit(v, engine.flat_power(v) / v, 3)]


@dataclass(frozen=True)
class Futures:
    """Many race days of one plan: finish times [s], and by segment the share of them in which a store is empty."""

    times: Floats
    dry: Floats


def futures(
    power: Floats,
    course: Course,
    speed: Floats,
    critical_power: Floats,
    w_prime: Floats,
    tail: Floats,
    needs: Floats,
    execution: Floats,
) -> Futures:
    """Run a plan on many days.

    Parameters
    ----------
    power, speed : numpy.ndarray, shape (s,)
        The plan's power [W], and its speed on a day as expected [m/s].
    critical_power, w_prime, tail : numpy.ndarray, shape (k,)
        Joint draws.
    needs : numpy.ndarray, shape (k,)
        Factor by which that day needs more power for a speed.
    execution : numpy.ndarray, shape (k,)
        Factor by which the runner holds more power than planned.

    Returns
    -------
    Futures
        From where a store is empty the runner goes on at 80 % of what was planned, and of CP at most.
    """
    k = len(critical_power)
    deficit, spent, clock = np.zeros(k), np.zeros(k), np.zeros(k)
    t_star, p_star, gamma = tail_start(critical_power, w_prime, tail)
    empty = np.zeros(k, dtype=np.bool_)
    dry = np.zeros(len(power))
    rows = zip(power.tolist(), speed.tolist(), course.length.tolist(), course.stops.tolist(), strict=True)
    for i, (p, v, length, stood) in enumerate(rows):
        held = np.where(empty, COLLAPSE * np.minimum(critical_power, p * execution), p * execution)
        # Near the plan speed follows power in proportion, since a metre costs nearly the same at any speed.
        seconds = length / np.maximum(v * held / max(p, 1.0) / needs, SLOWEST)
        above = held - critical_power
        deficit = deficit * np.exp(np.minimum(above, 0.0) * seconds / w_prime) + np.maximum(above, 0.0) * seconds
        slow = np.exp(np.minimum((held / p_star - 1) / gamma, 0.0)) / t_star
        spent = spent + seconds * np.where(held >= p_star, above / w_prime, slow)
        clock = clock + seconds + stood
        empty |= (deficit >= w_prime) | (spent >= 1.0)
        deficit = deficit * np.exp(-critical_power * stood / w_prime)
        dry[i] = float(empty.mean())
    return Futures(clock, dry)
