"""The road as a plan sees it: segments with slope, wind, air and surface, and the places a runner recognises on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from footwork.physics import air
from footwork.physics.cost import GRADE_LIMIT, running_cost, walking_cost
from footwork.physics.power import weather_factor
from footwork.physics.terrain import bearing
from footwork.planning.descents import UNKNOWN, Descents
from footwork.quantities import Floats

METHOD_VERSION = 2
SEGMENT_M = 50.0
MOST_SEGMENTS = 1000  # longer courses have longer segments: a hundred kilometres are planned every hundred metres
FLAT_SEGMENT_M = 100.0
WALK_GRADE, WALK_FASTEST = 0.15, 1.6  # a climb is walked where it is this steep and this slow [m/s]; our convention
DRAFT_SAVES = 0.5  # of the drag behind others in a race; 80 % was measured one metre behind (Pugh 1971); our convention
PROMINENT_M = 8.0  # a hill that a runner recognises; our convention
TURN_DEG, TURN_BACK_DEG = 60.0, 150.0


@dataclass(frozen=True)
class Course:
    """Segments of a course: lengths [m], grade, wind against the runner [m/s], air density [kg/m³]; mean altitude [m].

    ``surface`` is what the ground costs as a multiple of a road (one number or one a segment), ``drag`` the share of
    the drag that drafting leaves, ``stopped`` the seconds stood at the end of each segment (None: nowhere),
    ``crosswind`` the wind from the side [m/s], ``descents`` how the runner goes down.
    """

    length: Floats
    grade: Floats
    headwind: Floats
    density: Floats
    altitude: float | None = None
    surface: npt.ArrayLike = 1.0
    drag: float = 1.0
    stopped: Floats | None = None
    crosswind: npt.ArrayLike = 0.0
    descents: Descents = UNKNOWN

    @property
    def distance(self) -> float:
        """Length of the whole course [m]."""
        return float(self.length.sum())

    @property
    def ends(self) -> Floats:
        """Distance at the end of each segment. [m]"""
        return np.cumsum(self.length)

    @cached_property
    def gaits(self) -> tuple[Floats, Floats]:
        """`gaits` of its grades, worked out once: plans ask thousands of times."""
        return gaits(self.grade, self.descents)

    @cached_property
    def descent_limit(self) -> Floats:
        """How many times the level speed of an effort each segment is run at most, shape (n,); infinite but on
        descents."""
        return self.descents.limit(self.grade)

    @property
    def stops(self) -> Floats:
        """Seconds stood at the end of each segment.

        Shape (n,), [s].
        """
        return np.zeros(len(self.length)) if self.stopped is None else self.stopped


def flat_course(distance: float, headwind: float = 0.0, density: float = air.STANDARD_DENSITY) -> Course:
    """A level course of that length [m]; an average headwind [m/s] where one is known."""
    count = max(int(np.ceil(distance / FLAT_SEGMENT_M)), 1)
    return Course(np.full(count, distance / count), np.zeros(count), np.full(count, headwind), np.full(count, density))


def segment_count(distance: float) -> int:
    """How many segments a course of a length [m] is planned in."""
    return int(np.clip(np.ceil(distance / SEGMENT_M), 2, MOST_SEGMENTS))


def walked(grade: Floats, speed: npt.ArrayLike) -> np.ndarray:
    """Where walking costs less than running: climbs of 15 % and more at up to 1.6 m/s.

    ``grade`` [1] and ``speed`` [m/s] of one shape; returns a mask.
    """
    return np.asarray((grade >= WALK_GRADE) & (np.asarray(speed) <= WALK_FASTEST))


def gaits(grade: Floats, descents: Descents = UNKNOWN) -> tuple[Floats, Floats]:
    """Power of running and of walking on slopes, as multiples of flat running at the same speed; walking never costs
    more. Downhill running is not as cheap as the polynomial has it (`descents.Descents`).

    References
    ----------
    .. [1] Minetti A.E. et al. (2002), J Appl Physiol 93:1039-1046, both polynomials.
    """
    run = descents.factor(grade)
    return run, np.minimum(walking_cost(grade) / running_cost(0.0), run)


def ground_factor(course: Course, speed: npt.ArrayLike) -> Floats:
    """Power on the ground of each segment as a multiple of flat power on a road at the same speed [m/s]; steep slow
    climbs are walked."""
    run, walk = course.gaits
    return np.asarray(course.surface, dtype=float) * np.where(walked(course.grade, speed), walk, run)


def effort_factor(course: Course, speed: npt.ArrayLike, mass: float | None) -> Floats:
    """Power on each segment as a multiple of flat, windless power at the same speed [m/s], at least 0.05.

    Parameters
    ----------
    course : Course
        With s segments.
    speed : array_like, shape (s,) or (k, s)
        [m/s]
    mass : float or None
        For wind, air density and drafting; without it they are left out. [kg]
    """
    ground = ground_factor(course, speed)
    felt = weather_factor(speed, mass, course.headwind, course.density, course.drag, course.crosswind)
    return np.maximum(ground + felt, 0.05)


@dataclass(frozen=True)
class Place:
    """A place that a runner recognises: how far along [m] and its name."""

    at: float
    name: str
    weight: int = field(default=0, compare=False)


def places(course: Course, latitude: Floats | None = None, longitude: Floats | None = None) -> list[Place]:
    """Tops and feet of hills, and turns where the positions of the n + 1 segment ends are known, by distance.

    A hill is one of 8 m; a turn is one of 60° within 150 m.
    """
    from scipy.signal import find_peaks

    ends = np.concatenate([[0.0], course.ends])
    height = np.concatenate([[0.0], np.cumsum(course.length * course.grade)])
    out = []
    for sign, name in ((1, "top of the hill"), (-1, "foot of the hill")):
        # The ends of the course stand at the bottom of what is looked for, so that a hill at either end counts.
        edge = (sign * height).min() - 1.0
        peaks, _ = find_peaks(np.concatenate([[edge], sign * height, [edge]]), prominence=PROMINENT_M)
        out += [Place(float(ends[i - 1]), name, 1) for i in peaks if 1 < i < len(ends)]
    if latitude is not None and longitude is not None:
        grid = np.arange(0.0, ends[-1], 25.0)
        way = np.unwrap(bearing(np.interp(grid, ends, latitude), np.interp(grid, ends, longitude)), period=360)
        if len(way) > 8:
            change = np.abs(way[6:] - way[:-6])
            for i in find_peaks(change, height=TURN_DEG, distance=8)[0]:
                name = "turning point" if change[i] > TURN_BACK_DEG else "turn"
                out.append(Place(float(grid[i + 3]), name, 0))
    return sorted(out, key=lambda p: p.at)


def limited(grade: Floats) -> Floats:
    """Grades within the range that costs were measured in.

    [1] to [1], ±0.45 (Minetti 2002).
    """
    return np.clip(grade, -GRADE_LIMIT, GRADE_LIMIT)
