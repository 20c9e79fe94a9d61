"""Which race is asked for, and how it is to be run: one object for the command line, the page and Python."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from footwork.errors import UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.history.conditions.weather import of_metars, read_reports
from footwork.physics.terrain import SMOOTHING_M
from footwork.quantities import (
    Effort,
    as_date,
    as_distance,
    as_duration,
    as_moment,
    as_number,
    as_share,
    as_speed,
    parse_wind,
)
from footwork.questions.race.after_ride import Ride, as_ride

_WEATHER = ("temperature", "humidity", "wind", "altitude", "metar", "weather_file")


def _source(value: Any) -> Any:
    """A file where there is one, else the number of a run; a course that was read already stays."""
    if not isinstance(value, str):
        return value
    plain = value.strip()
    return int(plain) if plain.isascii() and plain.isdigit() and not Path(value).exists() else value


def _several(value: Any) -> tuple[Any, ...]:
    """One thing or several as a tuple."""
    return (value,) if isinstance(value, str | Effort | int | float) else tuple(value)


def _count(value: Any) -> int:
    if isinstance(value, str) and not (value.strip().isascii() and value.strip().isdigit()):
        raise UsageError(f"the number of laps '{value}' is no whole number")
    return int(value)


_READ: dict[str, Callable[[Any], Any]] = {
    "distance": as_distance,
    "time": as_duration,
    "companion": as_speed,
    "course": _source,
    "laps": _count,
    "heights": _source,
    "smoothing": lambda value: as_number(value, "the smoothing of heights"),
    "start": as_moment,
    "date": as_date,
    "draft": lambda value: as_share(value, "the share of drafting"),
    "risk": lambda value: as_share(value, "the risk"),
    "negative_split": lambda value: as_share(value, "the second half's share"),
    "after_ride": as_ride,
    "transitions": lambda value: tuple(as_duration(v) for v in _several(value)),
    "strategy": lambda value: str(value).strip().lower(),
    "split": as_distance,
    "mass": lambda value: as_number(value, "a mass"),
    **{name: _several for name in ("marks", "own", "metar", "efforts")},
}


def parsed(told: dict[str, Any]) -> dict[str, Any]:
    """What was told as typed values, the weather in one; only what was given. Raises UsageError."""
    given = {name: value for name, value in told.items() if value is not None and value != "" and value != ()}
    out = {name: _READ[name](value) if name in _READ else value for name, value in given.items()}
    asked = {name: out.pop(name) for name in _WEATHER if name in out}
    if asked and ("weather" in out or "reports" in out):
        raise UsageError(f"the weather is told twice: as a whole, and by {', '.join(asked)}")
    if asked:
        sky, reports = _weather(asked, out.get("start"))
        out |= {"weather": sky, **({"reports": reports} if reports else {})}
    return out


def _weather(asked: dict[str, Any], start: dt.datetime | None) -> tuple[Weather, tuple[dict[str, Any], ...]]:
    """Typed weather over a METAR line, or the reports of the hours."""
    humidity = as_number(asked["humidity"], "humidity") if "humidity" in asked else None
    if humidity is not None and not 0 <= humidity <= 100:
        raise UsageError(f"a humidity of {humidity:g} % cannot be: give 0 to 100")
    wind, source = parse_wind(asked["wind"]) if "wind" in asked else (None, None)
    temperature, altitude = (
        as_number(asked[name], name) if name in asked else None for name in ("temperature", "altitude")
    )
    sky = Weather(wind, source, temperature, None if humidity is None else humidity / 100, altitude)
    lines, file = asked.get("metar", ()), asked.get("weather_file")
    if len(lines) == 1 and file is None:
        return sky.over(lines[0]), ()
    if lines and start is None:
        raise UsageError("several METAR lines are weather by the hour: give the start too")
    reports = of_metars(lines, start) if lines and start is not None else []
    return sky, (*reports, *(read_reports(Path(file)) if file is not None else ()))


@dataclass(frozen=True)
class RaceQuestion:
    """Which race, and how it is to be run.

    Parameters
    ----------
    distance : float, optional
        Race distance; with ``course`` the official distance that the course is stretched to. [m]
    time : float, optional
        Alone: a race of that time. With a distance or course: a goal. [s]
    companion : float, optional
        Pace of somebody to run with, as a speed: a goal, run at even pace. [m/s]
    course, laps, marks, heights, smoothing, flat
        As in `course_laid.CourseAsked`.
    weather : Weather, optional
    reports : sequence of dict
        Dated weather along the hours (`weather.read_reports`); takes a ``start``.
    start : datetime, optional
        Of the race; local where it has no zone.
    draft : float
        Share of the way in others' shelter, 0 to 1.
    date, scale, efforts, mass
        As in `Library.capacity`.
    split : float
        Distance between splits. [m]
    strategy : str, optional
        Which one the whole plan is of: ``quickest`` by default, ``even-pace`` with a companion.
    risk : float, optional
        Share of race days that may end over 1 % later than planned: 0.2 by default. A goal is planned
        as it is asked for.
    negative_split : float
        How much harder the second half is to be than the first, as a share.
    own : sequence of str
        The runner's own watts by stretch, as ``5km=250``: up to there.
    after_ride : Ride, optional
        The ride before, as `after_ride.as_ride` takes it: its time [s], or text with its intensity or what it takes.
    transitions : sequence of float
        Time before the ride and after it; with a ride. [s]

    `RaceQuestion.of` takes text for each of these as a command line and a page have it, and ``temperature`` [°C],
    ``humidity`` [%], ``wind`` (``5@240`` or ``3``), ``altitude`` [m], ``metar`` lines and a ``weather_file`` for the
    weather.
    """

    distance: float | None = None
    time: float | None = None
    companion: float | None = None
    course: Any = None
    laps: int = 1
    marks: Sequence[str] = ()
    heights: Any = None
    smoothing: float = SMOOTHING_M
    flat: bool = False
    weather: Weather | None = None
    reports: Sequence[dict[str, Any]] = ()
    start: dt.datetime | None = None
    draft: float = 0.0
    date: dt.date | None = None
    scale: str | None = None
    efforts: Sequence[str | Effort] = ()
    mass: float | None = None
    split: float = 1000.0
    strategy: str | None = None
    risk: float | None = None
    negative_split: float = 0.0
    own: Sequence[str] = ()
    after_ride: Ride | None = None
    transitions: Sequence[float] = ()

    @classmethod
    def of(cls, **told: Any) -> RaceQuestion:
        """The question from typed values or text; what is None or empty is not given. Raises UsageError."""
        unknown = set(told) - {f.name for f in fields(cls)} - set(_WEATHER)
        if unknown:
            raise UsageError(f"a race has no {', '.join(sorted(unknown))}")
        return cls(**parsed(told)).checked()

    def checked(self) -> RaceQuestion:
        """Itself, with what follows from its parts. Raises UsageError for a race that cannot be."""
        if self.distance is None and self.time is None and self.course is None:
            raise UsageError("say which race: --distance 10km, --time 1:30:00 or --course FILE.gpx")
        if self.companion is not None and self.time is not None:
            raise UsageError("a goal time and a companion's pace are two goals: give one of them")
        if self.companion is not None and self.distance is None and self.course is None:
            raise UsageError("a companion's pace needs a distance or course")
        if self.companion is not None and not 0.5 <= self.companion <= 8.0:
            raise UsageError("a companion's pace lies between 2:05 and 33:20 a kilometre")
        for name, value, most in (("drafting", self.draft, 1.0), ("negative split", self.negative_split, 0.2)):
            if not 0 <= value <= most:
                raise UsageError(f"{100 * value:g} % of {name} cannot be: give 0 to {100 * most:g} %")
        if not 100 <= self.split <= 100_000:
            raise UsageError(f"splits every {self.split:g} m cannot be: give 100 m to 100 km")
        if self.distance is not None and not 400 <= self.distance <= 500_000:
            raise UsageError(f"a race of {self.distance:.0f} m is outside 400 m to 500 km")
        if self.transitions and self.after_ride is None:
            raise UsageError("transitions belong to a ride: give --after-ride")
        if len(self.transitions) > 2 or any(not 0 <= t <= 3600 for t in self.transitions):
            raise UsageError("transitions are two at most, one before the ride and one after it, of an hour at most")
        if self.reports and self.start is None:
            raise UsageError("weather by the hour needs the start: give --start 2026-10-04T09:00")
        return replace(
            self,
            weather=(self.weather or Weather()).checked(),
            strategy=self.strategy or ("even-pace" if self.companion else "quickest"),
        )
