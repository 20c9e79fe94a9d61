"""The road to a race: a course read and mended, what is known along it, and the weather laid over it hour by hour."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.errors import UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.history.recordings import run_signals
from footwork.physics import air
from footwork.physics.terrain import (
    EARTH_RADIUS_M,
    MOST_DRIFT_M,
    SMOOTHING_M,
    bearing,
    clean_heights,
    climb,
    smooth_altitude,
    step_distance,
)
from footwork.planning import course
from footwork.quantities import Floats, format_distance, parse_distance
from footwork.signals import Course as Track
from footwork.signals import Recording

if TYPE_CHECKING:
    from footwork.history.book import History

HIGHEST_M = 6000.0


MOST_STRETCH = 1.15  # a course further from its official distance is another; our convention
LEAST_HEIGHTS = 0.5  # of the points; with fewer the hills between are not known


NEAR_M = 60.0  # a recorded run this near gives its height; our convention


_MARK = re.compile(
    r"\s*([\d.,]+\s*(?:km|k|miles|mile|mi|m)?)\s*(?:(?:-|–|to)\s*([\d.,]+\s*(?:km|k|miles|mile|mi|m)?))?\s*:\s*(.+)"
)


@dataclass(frozen=True)
class Mark:
    """Something along the way: from and to [m], its name, seconds stood there, and what the ground costs more as a
    share."""

    start: float
    end: float
    name: str
    seconds: float = 0.0
    cost: float = 0.0


def parse_mark(text: str) -> Mark:
    """A mark as ``12.5km: drinks, 20 s`` or ``3km-5km: sand, +15 %``; the seconds stood and the cost may be left out.

    Raises
    ------
    UsageError
        No place, or a stop or cost that cannot be.
    """
    found = _MARK.fullmatch(text)
    if found is None:
        raise UsageError(f"'{text}' is no mark: write 12.5km: drinks, 20 s or 3km-5km: sand, +15 %")
    first, last, words = found.groups()
    unit = re.search(r"[a-z]+$", (last or first).strip())
    if unit and not re.search(r"[a-z]+\s*$", first):
        first += unit.group()  # 3-5km
    begin = 0.0 if re.fullmatch(r"0+([.,]0+)?\s*[a-z]*", first.strip()) else parse_distance(first)
    end = parse_distance(last) if last else begin
    names, seconds, cost = [], 0.0, 0.0
    for part in (p.strip() for p in words.split(",")):
        if stand := re.fullmatch(r"(\d+(?:\.\d+)?)\s*(s|min|h)", part):
            seconds = float(stand.group(1)) * {"s": 1, "min": 60, "h": 3600}[stand.group(2)]
        elif dear := re.fullmatch(r"([+-]?\d+(?:\.\d+)?)\s*%", part):
            cost = float(dear.group(1)) / 100
        elif re.match(r"[+-]?\d", part):
            raise UsageError(f"'{part}' is neither a stop nor a cost: write 20 s, 2 min or +15 %")
        else:
            names.append(part)
    if end < begin or seconds > 7200 or not -0.1 <= cost <= 1.0:
        raise UsageError(f"'{text}' cannot be: a mark runs forward, stands two hours at most and costs -10 to +100 %")
    if cost and not last:
        raise UsageError(f"'{text}' costs more over no distance: write where it ends, as 3km-5km: sand, +15 %")
    return Mark(begin, end, " ".join(", ".join(names).split())[:40] or "mark", seconds, cost)


@dataclass(frozen=True)
class Road:
    """A course laid out in segments, without weather: ``path`` in still standard air; headings [deg] of the segments,
    positions and heights of their ends (None where not known); ``watch`` is what a watch shows for each official
    metre."""

    path: course.Course
    name: str = ""
    heading: Floats | None = None
    latitude: Floats | None = None
    longitude: Floats | None = None
    height: Floats | None = None
    marks: tuple[Mark, ...] = ()
    watch: float = 1.0
    notes: tuple[str, ...] = ()
    climb: float = 0.0
    smoothing: float = SMOOTHING_M

    @property
    def altitude(self) -> float | None:
        """Altitude of the course [m], None where it is not known."""
        return self.path.altitude

    def places(self) -> list[course.Place]:
        """Marks, hills and turns by distance; a mark counts more than a hill, a hill more than a turn."""
        own = [course.Place(m.start, m.name, 2) for m in self.marks]
        own += [course.Place(m.end, f"end of {m.name}", 2) for m in self.marks if m.cost]
        return sorted(own + course.places(self.path, self.latitude, self.longitude), key=lambda p: p.at)

    def under(self, sky: Weather, clock: Floats, altitude: float = 0.0, drag: float = 1.0) -> course.Course:
        """The course with the weather at the times that its segments are reached [s], at an altitude [m] where it has
        no heights of its own, and the share of drag that is left."""
        n = len(self.path.length)
        heights = np.full(n, altitude) if self.height is None else 0.5 * (self.height[1:] + self.height[:-1])
        wind, across = sky.wind_along(self.heading, clock)
        if self.heading is None and any(w.wind_from is not None for _, w in (sky.hours or ((0.0, sky),))):
            # A direction without a course: half the way against the wind, half with it.
            wind = np.where(np.arange(n) < n / 2, wind, -wind)
        return replace(self.path, headwind=wind, density=sky.density(heights, clock), drag=drag, crosswind=across)


def flat(distance: float, marks: Sequence[Mark] = ()) -> Road:
    """A level road of a length [m]."""
    path = course.flat_course(distance)
    return Road(_marked(path, marks), marks=tuple(marks))


def lay(
    track: Track,
    distance: float | None = None,
    laps: int = 1,
    marks: Sequence[Mark] = (),
    heights: Track | None = None,
    smoothing: float = SMOOTHING_M,
    flat: bool = False,
) -> Road:
    """A track as a road.

    Parameters
    ----------
    track : signals.Course
    distance : float, optional
        Official distance that the whole is stretched to. [m]
    laps : int
        How often it is run; more than once it must end where it begins.
    marks : sequence of Mark
        Beside those that the file holds.
    heights : signals.Course, optional
        Track of a run that gives the heights.
    smoothing : float
        Standard deviation of the kernel over distance that heights are smoothed with. [m]
    flat : bool
        A course without heights is flat, somebody says.

    Raises
    ------
    UsageError
        No heights, and nobody says that it is flat; heights that no road has, laps that do not close, a
        length too far from the official one.
    """
    name = track.name or "the course"
    x, z = np.asarray(track.distance, dtype=float), np.asarray(track.altitude, dtype=float)
    gap = float(step_distance(track.latitude[[-1, 0]], track.longitude[[-1, 0]])[1])
    notes: list[str] = []
    if heights is not None:
        z, share = _heights_of(track, heights)
        notes.append(f"Heights are those of a run recorded on {100 * share:.0f} % of the course.")
    known = np.isfinite(z)
    # A column of one number over kilometres is an instrument that measured none.
    has_heights = known.mean() > LEAST_HEIGHTS and not (np.ptp(z[known]) == 0 and x[-1] > 1000)
    if has_heights and known.mean() < 0.9:
        notes.append(
            f"Heights are missing on {100 * (1 - known.mean()):.0f} % of the course: a straight line stands there."
        )
    if has_heights:
        if float(np.nanmax(z)) > HIGHEST_M or float(np.nanmin(z)) < -430 or float(np.ptp(z[known])) > HIGHEST_M:
            raise UsageError(f"{name} climbs to {np.nanmax(z):.0f} m: its altitude cannot be right")
        z, mended = clean_heights(x, z, gap)
        notes += _mended(mended)
        if laps > 1:  # a lap ends at the height where it began, or there would be a step at every joint
            off = float(z[-1] - z[0])
            if abs(off) > MOST_DRIFT_M:
                raise UsageError(f"{name} is no lap: it ends {off:+.0f} m from the height where it began")
            z = z - off * (x - x[0]) / (x[-1] - x[0])
    elif flat:
        notes.append("The course has no heights: it is taken as flat, as you say.")
        z = np.zeros(len(x))
    else:
        raise UsageError(
            f"{name} has no heights, and hills decide the watts: give --heights with a run or file that has them, or "
            "--flat if it is flat"
        )
    latitude, longitude = track.latitude, track.longitude
    if laps > 1:
        if gap > 150:
            raise UsageError(f"{name} is no lap: its ends are {gap:.0f} m apart")
        step = float(x[-1]) + gap
        x = np.concatenate([x + k * step for k in range(laps)])
        z, latitude, longitude = (np.tile(v, laps) for v in (z, latitude, longitude))
    if has_heights:
        z, _ = smooth_altitude(x, z, smoothing)
    measured = float(x[-1])
    stretch = distance / measured if distance else 1.0
    if not 1 / MOST_STRETCH <= stretch <= MOST_STRETCH:
        raise UsageError(
            f"{name} is {measured / 1000:.1f} km long, too far from the official {(distance or 0) / 1000:.1f} km"
        )
    x = x * stretch
    edges = np.linspace(0.0, float(x[-1]), course.segment_count(float(x[-1])) + 1)
    height, lat, lon = (np.interp(edges, x, v) for v in (z, latitude, longitude))
    length = np.diff(edges)
    grade = course.limited(np.diff(height) / length)
    mean = float(np.mean(height)) if has_heights else None
    path = course.Course(length, grade, np.zeros(len(length)), np.full(len(length), air.STANDARD_DENSITY), mean)
    given = [*marks, *_waypoints(track, x, latitude, longitude)]
    # A watch that recorded the course shows its own distance, not the official one.
    watch = 1 / stretch if track.recorded and distance else 1.0
    return Road(
        _marked(path, given),
        track.name,
        bearing(lat, lon)[:-1],
        lat,
        lon,
        height if has_heights else None,
        tuple(sorted(given, key=lambda m: m.start)),
        watch,
        tuple(notes),
        climb(height) if has_heights else 0.0,
        smoothing,
    )


def _mended(found: dict[str, float]) -> list[str]:
    words = {
        "spikes": "{:.0f} m of spikes in the heights were bridged.",
        "bridges": "{:.0f} tunnel or bridge, where the ground rises and the road cannot, was laid straight.",
        "steps": "{:.0f} step of the instrument in the heights was taken out.",
        "drift": "The course is closed and its heights ended {:+.0f} m off: that was spread over the way.",
    }
    return [words[name].format(value) for name, value in found.items()]


def _marked(path: course.Course, marks: Sequence[Mark]) -> course.Course:
    """A path with the stops and surfaces of its marks."""
    ends = path.ends
    cost, stood = np.ones(len(ends)), np.zeros(len(ends))
    for mark in marks:
        if mark.start > path.distance + 1 or mark.end > path.distance + 1:
            raise UsageError(f"{mark.name} lies at {format_distance(mark.end)}, beyond the finish")
        if mark.cost:  # by the share of each segment that lies on it
            over = np.clip(np.minimum(ends, mark.end) - np.maximum(ends - path.length, mark.start), 0.0, None)
            cost += mark.cost * over / path.length
        if mark.seconds:
            stood[min(int(np.searchsorted(ends, mark.start)), len(ends) - 1)] += mark.seconds
    return replace(path, surface=cost if (cost != 1).any() else 1.0, stopped=stood if stood.any() else None)


def _waypoints(track: Track, x: Floats, latitude: Floats, longitude: Floats) -> list[Mark]:
    """Points that the file names, at each pass of the course within a hundred metres of them."""
    out = []
    for lat, lon, name in track.points:
        north = np.radians(latitude - lat) * EARTH_RADIUS_M
        east = np.radians(longitude - lon) * EARTH_RADIUS_M * np.cos(np.radians(lat))
        away = np.hypot(north, east)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], (away < 100).astype(np.int8), [0]])))
        for a, b in zip(edges[::2], edges[1::2], strict=True):
            at = float(x[a + int(np.argmin(away[a:b]))])
            out.append(Mark(at, at, " ".join(name.split())[:40]))
    return out


def _heights_of(track: Track, other: Track) -> tuple[Floats, float]:
    """Heights of a recorded run at the positions of a track, and the share of them that it passed within 60 m."""
    from scipy.spatial import cKDTree

    known = np.isfinite(other.altitude)
    if known.sum() < 2:
        raise UsageError(f"{other.name or 'that run'} has no altitude to give")
    degree = np.radians(1.0) * EARTH_RADIUS_M
    scale = degree * np.array([1.0, np.cos(np.radians(float(np.mean(track.latitude))))])
    tree = cKDTree(np.column_stack([other.latitude, other.longitude])[known] * scale)
    away, index = tree.query(np.column_stack([track.latitude, track.longitude]) * scale)
    near = np.asarray(away <= NEAR_M)
    share = float(near.mean())
    if share < 0.7:
        raise UsageError(
            f"{other.name or 'that run'} passes only {100 * share:.0f} % of the course: it cannot give its heights"
        )
    return np.where(near, other.altitude[known][index], np.nan), share


def read_track(source: str | Path | int, library: History | None = None) -> Track:
    """A course: a GPX course or recording in a file, or the number of a run in the library.

    Raises
    ------
    UsageError
        No such file or run, or no course in it.
    """
    if isinstance(source, int):
        if library is None:
            raise UsageError(f"there is no library with a run {source}")
        return _usable(_track_of_run(library, source), f"run {source}")
    from footwork.history.recordings.reading import read

    path = Path(source)

    if not path.is_file():
        raise UsageError(f"there is no course file {path}")
    found = read(path)
    return _usable(found if isinstance(found, Track) else _track(found), path.name)


def _usable(track: Track | None, name: str) -> Track:
    if track is None or len(track.distance) < 3 or track.distance[-1] < 100:
        raise UsageError(f"{name} is no course: it needs at least three positions over 100 m or more")
    track = track if track.name else replace(track, name=Path(name).stem)
    step = np.diff(track.distance)
    if not track.recorded and float(step.max()) > max(2000.0, 0.2 * float(track.distance[-1])):
        at = int(np.argmax(step))
        raise UsageError(
            f"{name} jumps {step[at] / 1000:.1f} km between its points {at + 1} and {at + 2}: mend it or draw that part"
        )
    return track


def _track(recordings: list[Recording]) -> Track | None:
    for r in recordings:
        if "latitude" in r.columns and "longitude" in r.columns:
            back = np.flatnonzero(np.diff(r.columns["time"]) < 0)
            if len(back):
                raise UsageError(
                    f"its time runs backwards at point {back[0] + 2}: a course needs its points in order; "
                    "take out the times or mend them"
                )
            found = track_of(r.columns)
            if found is not None:
                return found
    return None


def _track_of_run(library: History, run_id: int) -> Track | None:
    found = run_signals.signals(library, run_id)
    return track_of({name: found.get(name) for name in ("latitude", "longitude", "altitude", "distance")})


def track_of(columns: dict[str, Floats]) -> Track | None:
    """Track of a recording's columns: by the device's own distance where it has one, else by positions; None without
    positions.

    Positions [deg], heights and distance [m].
    """
    lat, lon = columns["latitude"], columns["longitude"]
    known = np.isfinite(lat) & np.isfinite(lon)
    if known.sum() < 3:
        return None
    lat, lon = lat[known], lon[known]
    altitude = columns.get("altitude", np.full(len(known), np.nan))[known]
    own = columns.get("distance", np.full(len(known), np.nan))[known]
    told = np.isfinite(own)
    if told.mean() > 0.9:
        index = np.arange(len(own))
        x = np.maximum.accumulate(np.interp(index, index[told], own[told]))
        x = x - x[0]
    else:
        x = np.cumsum(step_distance(lat, lon))
    return Track(lat, lon, x, altitude, recorded=True)


@dataclass(frozen=True)
class CourseAsked:
    """Which road, as asked: a course (file, run or track) or none, its official distance [m], laps, marks, where
    heights come from, smoothed by how much [m], and whether a course without any is flat."""

    course: Any = None
    distance: float | None = None
    laps: int = 1
    marks: Sequence[str] = field(default_factory=tuple)
    heights: Any = None
    smoothing: float = SMOOTHING_M
    flat: bool = False

    def road(self, library: History) -> Road:
        """Raises UsageError as `lay`."""
        if not 1 <= self.laps <= 200:
            raise UsageError(f"{self.laps} laps cannot be planned: give 1 to 200")
        if not 5 <= self.smoothing <= 500:
            raise UsageError(f"a smoothing of {self.smoothing:g} m cannot be: give 5 to 500")
        marks = [parse_mark(m) for m in self.marks]
        if self.course is None:
            if self.laps > 1 or self.heights is not None:
                raise UsageError("laps and heights belong to a course: give --course")
            return flat(self.distance or 0.0, marks)
        track = _given(self.course, library)
        other = None if self.heights is None else _given(self.heights, library)
        return lay(track, self.distance, self.laps, marks, other, self.smoothing, self.flat)


def _given(source: Any, library: History) -> Track:
    return source if isinstance(source, Track) else read_track(source, library)
