"""A plan that can be run: ten stretches or fewer, each with the watts that the device will show, the band in which they
are free, the effort in words, and why it differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt

from footwork.analysis.speed import PowerAtSpeed
from footwork.physics.power import slope_factor, weather_factor
from footwork.physiology.endurance import time_to_exhaustion
from footwork.planning import pacing
from footwork.planning.course import Course, Place, effort_factor, walked
from footwork.quantities import Floats

METHOD_VERSION = 3
MOST = 10
LEAST_M = 300.0  # a shorter stretch cannot be told apart while running; our convention
WORTH_SHARE = 0.015  # watts that differ by less are one instruction; our convention
SHORT_S = 180.0  # up to here the ten-second mean is watched, beyond it that of the lap
STEEP = 0.015
WALK_APART, LITTLE_WALK, MOSTLY_WALK = 0.5, 0.1, 0.8
MARKED = 2  # weight of a place that somebody marked
EVEN_ENDS = (0.15, 0.8)  # where a course that is all alike is divided: the start, the middle, the finish
# How far effort may be from the plan's on a stretch, below and above, before it is made to cost little: level, up and
# down; our convention, downhill after Townshend (2010).
FREE = {"level": (0.025, 0.025), "up": (0.04, 0.07), "down": (0.10, 0.04)}
FREE_COST = 0.0028  # of the time, when every stretch is run at the worse end of its band
BAND_SEGMENTS, LIKELY_WORST = 300, 4  # ways to be at the ends that are worked out in full
EFFORT_WORDS = ((1.04, "harder"), (1.015, "a little harder"), (0.985, "even"), (0.95, "a little easier"))


@dataclass(frozen=True)
class Stretch:
    """One instruction: where [m], how long [s], the clock at its end with what is stood there [s], displayed watts and
    their band [W], the effort behind them [W] and as a multiple of the plan's mean, grade, wind against [m/s], the
    place where it ends (or nothing), places passed on it, and whether most of it is walked; ``share`` is what the
    device shows of the effort, ``free`` how far effort may lie below and above as shares of it."""

    start: float
    end: float
    seconds: float
    power: float
    effort: float
    relative: float
    share: float
    grade: float
    headwind: float
    clock: float
    error: float = 0.0
    free: tuple[float, float] = (0.0, 0.0)
    until: str = ""
    passes: tuple[Place, ...] = ()
    walked: bool = False
    partly: bool = False  # some of it is walked, and its watts are of the rest
    both: bool = False  # up and down

    @property
    def kind(self) -> str:
        """Whether it goes up, down or is level."""
        return "up" if self.grade > STEEP else "down" if self.grade < -STEEP else "level"

    @property
    def low(self) -> float:
        """Lower end of the band that the device may show, its own error included. [W]"""
        return self.power * (1.0 - float(np.hypot(self.free[0], self.error)))

    @property
    def high(self) -> float:
        """Upper end of that band. [W]"""
        return self.power * (1.0 + float(np.hypot(self.free[1], self.error)))

    @property
    def speed(self) -> float:
        """Mean speed [m/s]."""
        return (self.end - self.start) / self.seconds

    @property
    def feels(self) -> str:
        """The effort in words, against the plan's mean."""
        if self.walked:
            return "walk"
        return next((words for least, words in EFFORT_WORDS if self.relative >= least), "easier, quick feet")

    @property
    def watch(self) -> str:
        """Which mean to watch."""
        return "10 s" if self.seconds <= SHORT_S else "lap"

    @property
    def where(self) -> str:
        """The kind of road, in words."""
        road = "up and down" if self.both else {"up": "uphill", "down": "downhill"}.get(self.kind, "level")
        wind = ", against the wind" if self.headwind > 1.5 else ", with the wind" if self.headwind < -1.5 else ""
        return road + wind + (", walk" if self.walked else ", walk the steep climbs" if self.partly else "")


def displayed_share(course: Course, speed: Floats, mass: float | None, relation: PowerAtSpeed) -> tuple[Floats, Floats]:
    """What the device shows on each segment as a share of the effort, and the relative SD of that, shape (s,).

    Parameters
    ----------
    speed : numpy.ndarray, shape (s,)
        [m/s]
    relation : analysis.speed.PowerAtSpeed
        A device of which nothing was learned shows all of slopes and wind. Where it shows little of a climb, the cost
        of climbing may be what is wrong, so half of the difference is error too.
    """
    extra = slope_factor(course.grade) - 1.0
    response, sd = relation.slope_response(course.grade)
    drag = weather_factor(speed, mass, course.headwind, course.density, course.drag, course.crosswind)
    display = np.maximum(1.0 + response * extra + relation.effects.get("wind", (1.0, 0.0))[0] * drag, 0.05)
    error = np.hypot(np.hypot(sd, 0.5 * np.abs(1.0 - response)) * extra / display, course.descents.error(course.grade))
    # What the ground costs more no device feels; what it shows of a walk is not known.
    walking = walked(course.grade, speed)
    share = np.where(walking, 1.0, display / effort_factor(course, speed, mass))
    return share, np.where(walking, 0.0, error)


def stretches(
    run: pacing.Run,
    course: Course,
    share: Floats,
    places: Sequence[Place] = (),
    error: Floats | None = None,
    first: float = 0.0,
) -> list[Stretch]:
    """The plan in as few stretches as its watts need, ten at most.

    The division is the best by squared error for each number of stretches; a further one must be worth 1.5 % of power.
    Stretches end at places that a runner recognises where there is one near. A course that is all alike is three: the
    start, the middle and the finish.

    ``share`` is the displayed over the true power of each segment [1] and ``error`` its relative SD, shape (n,);
    ``first`` metres are told apart.
    """
    error = np.zeros(len(share)) if error is None else error
    mean = float(np.average(run.power, weights=run.seconds))
    shown, ends = run.power * share, course.ends
    walking = walked(course.grade, run.speed)
    # What is walked is told apart from what is run before watts are.
    bounds = _division(
        # Hills are told apart by how they are run, even where the watts are alike.
        (np.where(walking, WALK_APART * shown, shown), mean * pacing.liked(course)),
        run.seconds,
        ends - 0.5 * course.length,
        ends,
        places,
    )
    if len(bounds) == 2:
        inner = (np.searchsorted(ends, np.array(EVEN_ENDS) * ends[-1] - 1.0) + 1).tolist()
        bounds = sorted({0, *inner, len(ends)})
    if first and ends[-1] > first:
        kept = [b for b in bounds[1:-1] if ends[b - 1] >= 2 * first][-(MOST - 2) :]
        bounds = [0, int(np.searchsorted(ends, first - 1.0)) + 1, *kept, len(ends)]
    out = []
    for a, b in pairwise(bounds):
        weight = run.seconds[a:b]
        on_foot = float(np.average(walking[a:b], weights=course.length[a:b]))
        if LITTLE_WALK < on_foot < MOSTLY_WALK:
            weight = np.where(walking[a:b], 0.0, weight)
        power = float(np.average(shown[a:b], weights=weight))
        effort = float(np.average(run.power[a:b], weights=weight))
        start, end = float(ends[a] - course.length[a]), float(ends[b - 1])
        here = [p for p in places if abs(p.at - end) <= 0.51 * course.length[b - 1] and b < len(ends)]
        until = max(here, key=lambda p: p.weight).name if here else "finish" if b == len(ends) else ""
        out.append(
            Stretch(
                start,
                end,
                float(run.seconds[a:b].sum()),
                power,
                effort,
                effort / mean,
                power / effort,
                float(np.average(course.grade[a:b], weights=course.length[a:b])),
                float(np.average(course.headwind[a:b], weights=course.length[a:b])),
                float(run.clock[b - 1] + run.stops[b - 1]),
                float(np.average(error[a:b], weights=weight)),
                (0.0, 0.0),
                until,
                tuple(p for p in places if p.weight == MARKED and start <= p.at < end and p not in here),
                on_foot >= MOSTLY_WALK,
                LITTLE_WALK < on_foot < MOSTLY_WALK,
                min(
                    float(np.average(side, weights=course.length[a:b]))
                    for side in (course.grade[a:b] > STEEP, course.grade[a:b] < -STEEP)
                )
                > 0.2,
            )
        )
    return out


def _division(
    signals: Sequence[Floats], seconds: Floats, middles: Floats, ends: Floats, places: Sequence[Place]
) -> list[int]:
    """Indexes that divide the course where the signals change, by dynamic programming over blocks of some hundred
    metres that end at places where there are any."""
    total = float(ends[-1])
    step = max(LEAST_M, total / 120)
    count = max(int(total // step), 1)
    marks = np.linspace(0, total, count + 1)[1:-1]
    for place in sorted(places, key=lambda p: p.weight):
        if len(marks) and LEAST_M <= place.at <= total - LEAST_M:
            marks[np.argmin(np.abs(marks - place.at))] = place.at
    inner = np.searchsorted(middles, np.sort(marks))
    edges = np.unique(np.concatenate([[0], inner, [len(seconds)]])).tolist()
    w = np.concatenate([[0.0], np.cumsum(seconds)])[edges]
    sums = [tuple(np.concatenate([[0.0], np.cumsum(seconds * y**k)])[edges] for k in (1, 2)) for y in signals]
    n = len(edges) - 1

    def costs(end: int) -> Floats:
        """Squared error of one stretch from each block before ``end`` to it."""
        size = np.maximum(w[end] - w[:end], 1e-9)
        errors = [yy[end] - yy[:end] - (y[end] - y[:end]) ** 2 / size for y, yy in sums]
        return np.asarray(np.sum(errors, axis=0), dtype=float)

    level = float(sums[0][0][-1] / w[-1])
    worth = (WORTH_SHARE * level) ** 2 * float(w[-1]) / MOST
    best = np.full((MOST + 1, n + 1), np.inf)
    back = np.zeros((MOST + 1, n + 1), dtype=int)
    best[0, 0] = 0.0
    for end in range(1, n + 1):
        own = costs(end)
        for k in range(1, MOST + 1):
            reach = best[k - 1, :end] + own
            back[k, end] = int(np.argmin(reach))
            best[k, end] = float(reach[back[k, end]])
    number = int(np.argmin(best[1:, n] + worth * np.arange(1, MOST + 1))) + 1
    out, at = [edges[n]], n
    for k in range(number, 0, -1):
        at = int(back[k, at])
        out.append(edges[at])
    return [int(e) for e in reversed(out)]


def _of_stretches(course: Course, told: Sequence[Stretch]) -> npt.NDArray[np.int64]:
    """Which stretch each segment belongs to."""
    which = np.searchsorted([s.end for s in told], course.ends - 0.5 * course.length)
    return np.asarray(np.minimum(which, len(told) - 1), dtype=np.int64)


def with_bands(
    engine: pacing.Engine, course: Course, told: Sequence[Stretch], reserve: float
) -> tuple[list[Stretch], float]:
    """The stretches with the bands in which effort is free: `FREE`, narrowed until every stretch run at the worse end
    of its band, all by one factor to the same reserve, costs under 0.3 % of the time; and what that costs [s].

    The worst of all ways to be at the ends is sought by what they spend of endurance, then worked out in full.
    """
    small = pacing.merged(course, BAND_SEGMENTS)
    which = _of_stretches(small, told)
    effort = np.array([s.effort for s in told])[which]
    about = pacing.scaled(engine, small, effort, reserve)
    spent = _spent(engine, effort, about.seconds)
    falls = np.log(_spent(engine, effort * 1.01, about.seconds / 1.01) / spent) / np.log(1.01)

    def nearly(off: Floats) -> float:
        """What effort off by shares costs, where speed follows effort [s]."""
        seconds = about.seconds / (1.0 + off[which])
        return float(seconds.sum() * (_spent(engine, effort * (1.0 + off[which]), seconds) / spent) ** (1 / falls))

    moving = float(about.seconds.sum())
    free = np.array([FREE["level" if s.both else s.kind] for s in told])
    # Each may cost an equal part: a long stretch has a narrow band.
    alone = np.array(
        [
            max(nearly(-low * one), nearly(high * one)) - moving
            for (low, high), one in zip(free.tolist(), np.eye(len(told)), strict=True)
        ]
    )
    free = free * np.minimum(np.sqrt(FREE_COST * moving / len(told) / np.maximum(alone, 1e-9)), 1.0)[:, None]
    sides = sorted(product((0, 1), repeat=len(told)), key=lambda side: -nearly(_at_ends(free, side)))[:LIKELY_WORST]
    sides += [tuple(1 - k for k in side) for side in sides]  # where all is turned about the other may be worse

    def costs(side: Sequence[int]) -> float:
        off = _at_ends(free, side)
        return pacing.scaled(engine, small, effort * (1.0 + off[which]), reserve).time - about.time

    worst = max(sides, key=costs)
    for _ in range(8):
        cost = costs(worst)
        if cost <= FREE_COST * about.time:
            break
        free = free * min((FREE_COST * about.time / cost) ** 0.5, 0.95)
    return [replace(s, free=(low, high)) for s, (low, high) in zip(told, free.tolist(), strict=True)], max(cost, 0.0)


def _at_ends(free: Floats, side: Sequence[int]) -> Floats:
    """Each stretch at the lower (0) or upper (1) end of its band, as shares of its effort."""
    return np.where(np.array(side) == 0, -free[:, 0], free[:, 1])


def _spent(engine: pacing.Engine, power: Floats, seconds: Floats) -> float:
    """Endurance that powers over durations spend [1]."""
    felt = np.maximum(pacing.mean_power(power, seconds, engine.memory), 1.0)
    lasting = time_to_exhaustion(felt, engine.critical_power, engine.w_prime, engine.tail)
    return float((seconds / lasting).sum())


def simplified(
    engine: pacing.Engine, course: Course, run: pacing.Run, share: Floats, told: list[Stretch], reserve: float
) -> pacing.Run:
    """The course run by the instructions, brought to the same reserve: what simplifying costs is the difference in
    time."""
    watts = np.array([s.power for s in told])[_of_stretches(course, told)] / share
    return pacing.scaled(engine, course, watts, reserve)
