"""Pacing: the quickest way over a course that leaves a reserve in both stores, beside even power and even pace.

The stores are W′ (work above critical power) and endurance (what long efforts spend, as a mean over minutes takes
them); running dry is either one empty.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import solveh_banded
from scipy.optimize import brentq

from footwork.physics import air
from footwork.physics.power import DRAG_SHARE
from footwork.physiology.endurance import tail_start, time_to_exhaustion
from footwork.planning import transcription
from footwork.planning.course import WALK_FASTEST, Course, effort_factor, ground_factor, walked
from footwork.quantities import Floats

METHOD_VERSION = 3
STRATEGIES = ("quickest", "even-power", "even-pace")
RAMP_SHARE = 0.02  # of CP that power may change by in a second; our convention
HARDEST_S = 120.0  # no power above the one for two minutes, on any climb
MEMORY_S = 300.0  # time constant over which the body takes effort together, 60 to 600; our convention
FASTEST = 12.0  # no runner is faster [m/s]
SLOWEST = 0.3  # [m/s]
HARDER_UP = 0.06  # more effort that runners choose on climbs of 6 % and more, where it costs nothing; our convention
MOST_STAGES = 450  # of the solver: longer courses are solved in longer stages
LIKING = 0.5  # seconds a second that a squared deviation from the liked pattern counts, in the solver; our convention
FlatPower = Callable[[Floats], Floats]


@dataclass(frozen=True)
class Engine:
    """One runner on one day: CP [W], W′ [J], γ; flat power [W] at a speed [m/s]; mass [kg] for wind, or None; the
    ``shortest`` time that the highest power of a plan can be held for [s], the ``memory`` of endurance [s], and the
    power whose ``level`` speed descents are limited against [W] (None: the power asked for)."""

    critical_power: float
    w_prime: float
    tail: float
    flat_power: FlatPower
    mass: float | None = None
    shortest: float = HARDEST_S
    memory: float = MEMORY_S
    level: float | None = None

    @property
    def hardest(self) -> float:
        """Highest power of a plan: that for two minutes, or for a shorter race. [W]"""
        return self.critical_power + self.w_prime / self.shortest

    @cached_property
    def _level(self) -> tuple[Floats, Floats]:
        grid = np.arange(0.02, FASTEST, 0.02)
        return np.asarray(self.flat_power(grid), dtype=float), grid

    def level_speed(self, power: npt.ArrayLike) -> Floats:
        """Flat, windless speed [m/s] at a power [W]."""
        return np.asarray(np.interp(np.asarray(power, dtype=float), *self._level), dtype=float)


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
    """Speed on each segment at powers, by bisection, shape (s,). [m/s]

    On a descent no faster than its limit times the engine's level speed, or that at the mean of the powers.
    """
    low, high = (
        np.full(len(course.length), 0.05),
        _ceiling(engine, course, float(np.average(power, weights=course.length))),
    )
    for _ in range(28):
        middle = 0.5 * (low + high)
        above = needed_power(engine, course, middle) >= power
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return low  # never the far side of the step from walking to running


def _ceiling(engine: Engine, course: Course, power: float) -> Floats:
    """Highest speed on each segment of a plan about a power [W], shape (s,). [m/s]"""
    level = float(engine.level_speed(power if engine.level is None else engine.level))
    return np.asarray(np.minimum(course.descent_limit * level, FASTEST), dtype=float)


def at_speed(engine: Engine, course: Course, speed: Floats) -> Run:
    """The stores along a course at given speeds.

    ``speed`` has shape (n,) or one value [m/s].
    """
    seconds = course.length / speed
    return replace(stores(engine, needed_power(engine, course, speed), seconds, course.stops), speed=speed)


def mean_power(power: Floats, seconds: Floats, memory: float) -> Floats:
    """Power as endurance takes it: a two-sided exponential mean in time, half the memory a side, shape (n,). [W]

    It solves ``m - (memory/2)² m'' = power`` with no slope at start and finish, as if the race were mirrored there: the
    mean over the race is that of the power, so that neither start nor finish is free, and by convexity no variation
    spends less than none.

    Parameters
    ----------
    power, seconds : numpy.ndarray, shape (n,)
        Of segments in order [W], [s]; standing takes no part.
    memory : float
        [s]; 0 leaves the power as it is.
    """
    if len(power) < 2 or memory <= 0:
        return np.asarray(power, dtype=float)
    lasted = np.maximum(seconds, 1e-6)
    link = (0.5 * memory) ** 2 / (0.5 * (lasted[1:] + lasted[:-1]))
    own = lasted.copy()
    own[:-1] += link
    own[1:] += link
    return np.asarray(solveh_banded(np.vstack([np.append(0.0, -link), own]), power * lasted), dtype=float)


def stores(engine: Engine, power: Floats, seconds: Floats, stops: Floats | None = None) -> Run:
    """The stores along segments of given powers [W] and durations, standing after each; speeds are left at nothing.
    W′ follows the power itself, endurance its `mean_power`."""
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
    felt = mean_power(power, seconds, engine.memory)
    lasting = time_to_exhaustion(np.maximum(felt, 1.0), engine.critical_power, engine.w_prime, engine.tail)
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


def limited_at(engine: Engine, course: Course, run: Run) -> int | None:
    """The climb at whose end W′ is least, where W′ and not endurance is what limits a run; else None."""
    at = int(np.argmin(run.w_prime))
    binds = float(run.w_prime[at]) / engine.w_prime < float(run.endurance[-1]) - 0.01
    return at if binds and course.grade[at] > 0 else None


def _hardest(make: Callable[[float], Run], engine: Engine, reserve: float, low: float, high: float) -> Run:
    """The hardest of a family of runs that keeps the reserve; the family's parameter grows with effort."""

    def left(value: float) -> float:
        return spare(engine, make(value), reserve)

    if left(high) >= 0:
        return make(high)
    if left(low) < 0:
        return make(low)
    return make(float(brentq(left, low, high, xtol=1e-7 * high, rtol=1e-9)))


def even_power(engine: Engine, course: Course, reserve: float = 0.0) -> Run:
    """One power all the way, as high as the reserve allows.

    ``reserve`` is what is to be left of either store [1].
    """
    whole = np.ones(len(course.length))
    return _hardest(
        lambda p: at_power(engine, course, p * whole), engine, reserve, 0.05 * engine.critical_power, engine.hardest
    )


def even_pace(engine: Engine, course: Course, reserve: float = 0.0) -> Run:
    """One speed all the way, as high as the reserve allows; slower only where a descent does not allow it.

    ``reserve`` is what is to be left of either store [1].
    """
    most = _ceiling(engine, course, engine.critical_power)
    top = float(most.max()) if (most < FASTEST).all() else 1.35 * float(engine.level_speed(engine.hardest))
    return _hardest(lambda v: at_speed(engine, course, np.minimum(v, most)), engine, reserve, SLOWEST, top)


def in_time(engine: Engine, course: Course, time: float, even_speed: bool = False) -> Run:
    """Even power, or even pace, that takes a time [s], whatever it leaves in the stores; the nearest there is."""
    whole = np.ones(len(course.length))
    if even_speed:
        moving = max(time - float(course.stops.sum()), 1.0)
        return at_speed(engine, course, min(course.distance / moving, FASTEST) * whole)
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


def liked(course: Course) -> Floats:
    """The pattern of effort that runners choose on hills, as multiples of the level's: up to 6 % more on climbs, half
    of their usual easing on descents, shape (n,). Where it costs nothing a plan keeps near it."""
    up = np.clip(course.grade / 0.06, 0.0, 1.0)
    return np.asarray((1.0 + HARDER_UP * up) * course.descents.easing(course.grade) ** 0.5, dtype=float)


def quickest(
    engine: Engine, course: Course, reserve: float = 0.0, even: Run | None = None
) -> tuple[Run, transcription.Solution]:
    """The quickest run that keeps the reserve in both stores, by optimal control, and how the solver ended.

    Power is bounded by that for two minutes, speed by what descents allow, and power changes by at most 2 % of CP a
    second. A light pull to the `liked` pattern settles what is as quick either way. The solver
    works on a smooth copy of power at speed; its pattern is then brought to the exact one, so that all strategies keep
    exactly the same reserve. ``even`` is even power at that reserve where it is known already.

    ``reserve`` [1]; where the solver fails, ``even`` comes back with the reason.
    """
    even = even or even_power(engine, course, reserve)
    pattern, solved = _pattern(engine, merged(course, MOST_STAGES), reserve)
    if pattern is None:
        return even, solved
    each = -(-len(course.length) // MOST_STAGES)
    found = scaled(engine, course, np.repeat(pattern, each)[: len(course.length)], reserve)
    return (found if found.time <= even.time else even), solved


def merged(course: Course, most: int) -> Course:
    """The course in at most so many segments, each some of its neighbours together."""
    each = -(-len(course.length) // most)
    if each == 1:
        return course
    starts = np.arange(0, len(course.length), each)
    length = np.add.reduceat(course.length, starts)

    def mean(values: npt.ArrayLike) -> Floats:
        whole = np.broadcast_to(np.asarray(values, dtype=float), course.length.shape)
        return np.asarray(np.add.reduceat(course.length * whole, starts) / length, dtype=float)

    return replace(
        course,
        length=length,
        grade=mean(course.grade),
        headwind=mean(course.headwind),
        density=mean(course.density),
        surface=mean(course.surface),
        crosswind=mean(course.crosswind),
        stopped=None if course.stopped is None else np.add.reduceat(course.stopped, starts),
    )


def _pattern(engine: Engine, course: Course, reserve: float) -> tuple[Floats | None, transcription.Solution]:
    """Power by segment as the solver finds it, None where it does not, and how it ended."""
    even = even_power(engine, course, reserve)
    n = len(course.length)
    cp, wp, hardest = engine.critical_power, engine.w_prime, engine.hardest
    level = float(np.max(even.power))
    limit = _ceiling(engine, course, level)
    cost = _smooth_cost(engine, float(limit.max(initial=0.0, where=limit < FASTEST)))
    t_star, p_star, gamma = (float(v) for v in tail_start(cp, wp, engine.tail))
    half = 0.5 * max(engine.memory, 1.0)
    drag = DRAG_SHARE * 0.5 * float(air.drag_area(engine.mass)) / (engine.mass * air.GRAVITY) if engine.mass else 0.0
    ground = ground_factor(course, even.speed)  # what even power walks stays walked
    side = np.broadcast_to(np.asarray(course.crosswind, dtype=float), (n,))
    own = np.column_stack([course.length, ground, course.headwind, course.density, side, limit, level * liked(course)])
    rows = np.column_stack([own, np.vstack([own[1:], own[-1:]])])

    def stage(x0: Any, x1: Any, u0: Any, u1: Any, _: Any, p: Any) -> tuple[list[Any], list[Any], Any]:
        import casadi as ca

        def watts(v: Any, slope: Any, wind: Any, density: Any, across: Any) -> Any:
            against = v + wind
            felt = course.drag * density * against * ca.sqrt(against**2 + across**2 + 1e-4)
            pull = drag * (felt - air.STANDARD_DENSITY * v**2)
            factor = slope + pull
            return v * sum(c * v**k for k, c in enumerate(cost)) * 0.5 * (factor + ca.sqrt(factor**2 + 1e-4))

        def positive(value: Any) -> Any:
            return 0.5 * (value + ca.sqrt(value**2 + 25.0))

        power, after = watts(u0[0], p[1], p[2], p[3], p[4]), watts(u1[0], p[8], p[9], p[10], p[11])
        seconds = p[0] / u0[0]
        missing = x0[0] * ca.exp(-positive(cp - power) * seconds / wp) + positive(power - cp) * seconds
        # The mean m and half the memory times its slope, by the trapezoid rule: (memory/2)² m'' = m - power.
        felt, slope = 0.5 * (x0[2] + x1[2]), 0.5 * (x0[3] + x1[3])
        slow = ca.exp(-(1 - felt / p_star) / gamma) / t_star
        spent = x0[1] + seconds * ca.if_else(felt >= p_star, (felt - cp) / wp, slow)
        step = RAMP_SHARE * cp * 0.5 * (seconds + p[7] / u1[0])
        return (
            [
                x1[0] - missing,
                x1[1] - spent,
                x1[2] - x0[2] - seconds * slope / half,
                x1[3] - x0[3] - seconds * (felt - power) / half,
            ],
            [(after - power - step) / cp, (power - after - step) / cp, (power - hardest) / cp, u0[0] - p[5]],
            seconds * (1.0 + LIKING * ((power - p[6]) / cp) ** 2),
        )

    mean = mean_power(even.power, even.seconds, engine.memory)
    at_edges = np.concatenate([mean[:1], 0.5 * (mean[1:] + mean[:-1]), mean[-1:]])
    states = np.column_stack(
        [np.append(0.0, wp - even.w_prime), np.append(0.0, 1 - even.endurance), at_edges, np.zeros(n + 1)]
    )
    solved = transcription.solve(
        n,
        [
            (-0.05 * wp, (1 - reserve) * wp, wp),
            (-0.1, 1.0 - reserve, 1.0),
            (0.0, 2 * hardest, cp),
            (-hardest, hardest, cp),
        ],
        [(SLOWEST, FASTEST, 4.0)],
        stage,
        rows,
        [0.0, 0.0, None, 0.0],
        [None, None, None, 0.0],
        (states, np.append(even.speed, even.speed[-1])[:, None]),
    )
    if solved.status != "converged":
        return None, solved
    speed = solved.controls[:-1, 0]
    walking = walked(course.grade, even.speed)
    pattern = needed_power(engine, course, np.where(walking, np.minimum(speed, WALK_FASTEST), speed))
    # Where a limit binds the power asked for is no longer the power taken: ask for no less than the level there.
    bound = speed > 0.995 * limit
    return np.where(bound, np.maximum(pattern, level), pattern), solved


def _smooth_cost(engine: Engine, fastest: float) -> list[float]:
    """Joules per metre as a polynomial of speed, for the solver's derivatives, up to its fastest descent [m/s]."""
    v = np.linspace(0.8, max(float(engine.level_speed(engine.hardest)), fastest), 120)
    return [float(c) for c in np.polynomial.polynomial.polyfit(v, engine.flat_power(v) / v, 3)]
