"""A plan that can be run: at most a dozen stretches with the watts that the device will show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from footwork.physics.power import slope_factor, weather_factor
from footwork.planning import pacing
from footwork.planning.course import Course, Place, effort_factor, walked
from footwork.quantities import Floats

METHOD_VERSION = 2
MOST = 12
LEAST_M = 300.0  # a shorter stretch cannot be told apart while running; our convention
WORTH_SHARE = 0.015  # watts that differ by less are one instruction; our convention
BAND_SHARE = 0.03  # half-width of the band; our convention
SHORT_S = 180.0  # up to here the ten-second mean is watched, beyond it that of the lap
STEEP = 0.015
WALK_APART, LITTLE_WALK, MOSTLY_WALK = 0.5, 0.1, 0.8
MARKED = 2  # weight of a place that somebody marked


@dataclass(frozen=True)
class Stretch:
    """One instruction: where [m], how long [s], the clock at its end [s], displayed watts and their band [W], grade,
    wind against [m/s], the place where it ends (or nothing), places passed on it, and whether most of it is walked."""

    start: float
    end: float
    seconds: float
    power: float
    low: float
    high: float
    grade: float
    headwind: float
    clock: float
    until: str = ""
    passes: tuple[Place, ...] = ()
    walked: bool = False
    partly: bool = False  # some of it is walked, and its watts are of the rest
    both: bool = False  # up and down

    @property
    def watch(self) -> str:
        """Which mean to watch."""
        return "10 s" if self.seconds <= SHORT_S else "lap"

    @property
    def where(self) -> str:
        """The kind of road, in words."""
        road = (
            "up and down"
            if self.both
            else "uphill"
            if self.grade > STEEP
            else "downhill"
            if self.grade < -STEEP
            else "level"
        )
        wind = ", against the wind" if self.headwind > 1.5 else ", with the wind" if self.headwind < -1.5 else ""
        return road + wind + (", walk" if self.walked else ", walk the steep climbs" if self.partly else "")


def displayed_share(
    course: Course, speed: Floats, mass: float | None, effects: dict[str, tuple[float, float]]
) -> Floats:
    """What the device shows on each segment as a share of the effort, shape (s,).

    Parameters
    ----------
    speed : numpy.ndarray, shape (s,)
        [m/s]
    effects : dict
        Shares by name as `analysis.speed.PowerAtSpeed.effects`; a device without them shows all of slopes and wind.
    """
    extra = slope_factor(course.grade) - 1.0
    shown = np.where(extra > 0, effects.get("uphill", (1.0, 0.0))[0], effects.get("downhill", (1.0, 0.0))[0]) * extra
    drag = weather_factor(speed, mass, course.headwind, course.density, course.drag)
    display = np.maximum(1.0 + shown + effects.get("wind", (1.0, 0.0))[0] * drag, 0.05)
    # What the ground costs more no device feels; what it shows of a walk is not known.
    return np.where(walked(course.grade, speed), 1.0, display / effort_factor(course, speed, mass))


def stretches(run: pacing.Run, course: Course, share: Floats, places: Sequence[Place] = ()) -> list[Stretch]:
    """The plan in as few stretches as its watts need, a dozen at most.

    The division is the best by squared error for each number of stretches; a further one must be worth 1.5 % of power.
    Stretches end at places that a runner recognises where there is one near.

    ``share`` is the displayed over the true power of each segment [1], shape (n,).
    """
    shown, ends = run.power * share, course.ends
    walking = walked(course.grade, run.speed)
    # What is walked is told apart from what is run before watts are.
    bounds = _division(
        np.where(walking, WALK_APART * shown, shown), run.seconds, ends - 0.5 * course.length, ends, places
    )
    out = []
    for a, b in pairwise(bounds):
        weight = run.seconds[a:b]
        on_foot = float(np.average(walking[a:b], weights=course.length[a:b]))
        if LITTLE_WALK < on_foot < MOSTLY_WALK:
            weight = np.where(walking[a:b], 0.0, weight)
        power = float(np.average(shown[a:b], weights=weight))
        half = max(BAND_SHARE * power, float(np.sqrt(np.average((shown[a:b] - power) ** 2, weights=weight))))
        start, end = float(ends[a] - course.length[a]), float(ends[b - 1])
        here = [p for p in places if abs(p.at - end) <= 0.51 * course.length[b - 1] and b < len(ends)]
        until = max(here, key=lambda p: p.weight).name if here else "finish" if b == len(ends) else ""
        out.append(
            Stretch(
                start,
                end,
                float(run.seconds[a:b].sum()),
                power,
                power - half,
                power + half,
                float(np.average(course.grade[a:b], weights=course.length[a:b])),
                float(np.average(course.headwind[a:b], weights=course.length[a:b])),
                float(run.clock[b - 1]),
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


def _division(shown: Floats, seconds: Floats, middles: Floats, ends: Floats, places: Sequence[Place]) -> list[int]:
    """Indexes that divide the course, by dynamic programming over blocks of some hundred metres that end at places
    where there are any."""
    total = float(ends[-1])
    step = max(LEAST_M, total / 120)
    count = max(int(total // step), 1)
    marks = np.linspace(0, total, count + 1)[1:-1]
    for place in sorted(places, key=lambda p: p.weight):
        if len(marks) and LEAST_M <= place.at <= total - LEAST_M:
            marks[np.argmin(np.abs(marks - place.at))] = place.at
    edges = np.unique(np.concatenate([[0], np.searchsorted(middles, np.sort(marks)), [len(shown)]])).tolist()
    w = np.concatenate([[0.0], np.cumsum(seconds)])[edges]
    wy = np.concatenate([[0.0], np.cumsum(seconds * shown)])[edges]
    wyy = np.concatenate([[0.0], np.cumsum(seconds * shown**2)])[edges]
    n = len(edges) - 1

    def costs(end: int) -> Floats:
        """Squared error of one stretch from each block before ``end`` to it."""
        size = np.maximum(w[end] - w[:end], 1e-9)
        return np.asarray(wyy[end] - wyy[:end] - (wy[end] - wy[:end]) ** 2 / size, dtype=float)

    level = float(wy[-1] / w[-1])
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


def simplified(
    engine: pacing.Engine, course: Course, run: pacing.Run, share: Floats, told: list[Stretch], reserve: float
) -> pacing.Run:
    """The course run by the instructions, brought to the same reserve: what simplifying costs is the difference in
    time."""
    ends = np.cumsum(course.length)
    which = np.searchsorted([s.end for s in told], ends - 0.5 * course.length)
    watts = np.array([s.power for s in told])[np.minimum(which, len(told) - 1)] / share
    return pacing.scaled(engine, course, watts, reserve)
