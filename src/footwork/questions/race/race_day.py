"""What is known of a race day before any plan: the runner, the road under the weather, and the draws of the day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import speed
from footwork.analysis.summary import AT
from footwork.errors import NotEnoughData, UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.history.scales.scale_rows import StreamRows
from footwork.physics import air, climate
from footwork.physiology.endurance import power_at
from footwork.planning import conditions, descents, even_power, pacing
from footwork.planning.course import DRAFT_SAVES, Course
from footwork.quantities import Floats, fastest_time, format_duration
from footwork.questions import capacity
from footwork.questions.capacity import DRAWS, Capacity
from footwork.questions.race import after_ride
from footwork.questions.race.after_ride import Effect
from footwork.questions.race.course_laid import CourseAsked, Road
from footwork.questions.race.race_question import RaceQuestion
from footwork.questions.race.strategies import RaceDraws

if TYPE_CHECKING:
    from footwork.history.book import History

FORM_SD = 0.02  # a race day is better or worse than usual; the day form of tests, our convention
SLOWEST_GOAL = 6.0  # times the fastest ever run: 1:25 for a half is meant in hours, 10:00 for 10 km in minutes
TOO_HOT = 32.2  # wet-bulb globe temperature at which even training is cancelled (ACSM 2007) [°C]


@dataclass(frozen=True)
class Day:
    """What is known of a race day before any plan: the runner, the road under the weather, and the draws of the day."""

    asked: RaceQuestion
    sky: Weather
    made: Capacity
    relation: speed.PowerAtSpeed
    n: int
    way: Road
    path: Course
    table: even_power.TimeAtPower
    draws: RaceDraws
    goal: float | None
    only_time: bool
    heat: Floats | None
    altitude: float
    shortest: float
    ridden: Effect | None
    notes: tuple[str, ...]
    temperature: float | None  # told, or the season's usual [°C]

    @property
    def held(self) -> tuple[Floats, Floats, Floats]:
        """CP, W′ and γ of the day."""
        return self.draws.critical_power, self.draws.w_prime, self.draws.tail

    def laid(self, way: Road) -> tuple[Course, even_power.TimeAtPower]:
        """Another road under the same weather."""
        return _laid(way, self.asked, self.sky, self.altitude, self.relation, self.made.mass, *self.held)[:2]


def _laid(
    way: Road,
    asked: RaceQuestion,
    sky: Weather,
    altitude: float,
    relation: speed.PowerAtSpeed,
    mass: float | None,
    cp: Floats,
    wp: Floats,
    tail: Floats,
) -> tuple[Course, even_power.TimeAtPower, float]:
    """A road under the weather of the hours at which its parts are reached, its times at even power, and the likely
    time."""
    guess = float(np.median(cp))
    clock = np.zeros(len(way.path.length))
    watts: float | None = None  # what descents are limited against is known once the race has been reckoned
    for _ in range(2):
        path = way.under(sky, clock, altitude, 1.0 - DRAFT_SAVES * asked.draft)
        table = even_power.tabulate(path, relation.power, mass, guess, watts)
        watts, nominal = (float(np.median(v)) for v in even_power.sustainable(table, cp, wp, tail))
        if sky.hours:
            speeds = even_power.segment_speed([watts], path, relation.power, mass, watts)[0]
            clock = np.cumsum(path.length / speeds + path.stops)
    return path, table, nominal


def day_of(library: History, asked: RaceQuestion) -> Day:
    made = capacity.estimate_capacity(library, asked.efforts, asked.date, asked.scale, asked.mass)
    if made.posterior is None:
        raise NotEnoughData(f"no race plan without critical power: {made.critical_power.reason or 'none is known'}")
    relation = made.power_at_speed
    if relation is None:
        raise NotEnoughData(
            "no race plan without power at speed: ten steady flat minutes on this scale, or race results "
            "with --mass, give it"
        )
    cp, wp, tail = made.posterior.long_draws(DRAWS)
    only_time = asked.distance is None and asked.course is None
    distance, time = asked.distance, asked.time
    if only_time and time is not None:
        distance = float(relation.speed(float(np.median(cp)))) * time  # only to lay out a road long enough
    way = CourseAsked(asked.course, distance, asked.laps, asked.marks, asked.heights, asked.smoothing, asked.flat).road(
        library
    )
    sky = asked.weather or Weather()
    if asked.reports and asked.start is not None:
        place = (
            None if way.latitude is None or way.longitude is None else (float(way.latitude[0]), float(way.longitude[0]))
        )
        sky = sky.along(asked.reports, asked.start.astimezone(), place).checked()
    if asked.course is not None and any(w.wind and w.wind_from is None and not w.variable for w in sky.all()):
        raise UsageError("a course needs the wind's direction too: --wind 5@240 is 5 m/s from 240°")
    metres = way.path.distance
    if not 400 <= metres <= 500_000:
        raise UsageError(f"a race of {metres:.0f} m is outside 400 m to 500 km")
    if asked.companion is not None:
        time = metres / asked.companion + float(way.path.stops.sum())
    notes: list[str] = []
    if time is not None and not only_time:
        if time < fastest_time(metres) <= 60 * time <= SLOWEST_GOAL * fastest_time(metres):
            notes.append(f"A goal of {format_duration(time)} is read as {format_duration(60 * time)}.")
            time *= 60
        _check_goal(metres, time)
    altitude = next(a for a in (sky.altitude, way.altitude, made.home_altitude) if a is not None)
    usual = capacity.near(library, made.scale_key, made.date) if made.scale_key and made.date else []
    known = descents.learn([(r.blocks[:, AT["speed"]], r.blocks[:, AT["grade"]]) for r in usual])
    way = replace(way, path=replace(way.path, descents=known))
    cp_0 = float(np.median(cp))
    shortest = min(pacing.HARDEST_S, metres / float(relation.speed(1.5 * cp_0)))
    path, table, nominal = _laid(way, asked, sky, altitude, relation, made.mass, cp, wp, tail)
    heat = sky.heat(np.linspace(0.0, nominal, 20))
    if heat is not None and heat.max() > TOO_HOT:
        raise UsageError(
            f"a wet-bulb globe temperature of {heat.max():.1f} °C is too hot to race: events are cancelled "
            f"above {TOO_HOT:g} °C"
        )
    count = len(cp)
    needs = relation.factors(metres / nominal, count, 5)
    usual_heat, taken = _heats(usual, way, asked.start.date() if asked.start else made.date)
    told = sky.value("temperature", np.linspace(0.0, nominal, 20))
    temperature = None if told is None else float(told.mean())
    if heat is None and taken is not None:
        temperature, heat = taken[0], np.full(20, taken[1])
        notes.append(f"No temperature is given: the season's usual here is taken, about {taken[0]:.0f} °C.")
    factor = conditions.capacity_factors(
        None if heat is None else float(heat.mean()),
        altitude,
        made.home_altitude,
        time or nominal,
        count,
        usual=usual_heat,
    )
    ridden = None if asked.after_ride is None else after_ride.ride_effect(library, made, asked.after_ride)
    ride: Floats | float = 1.0
    if ridden is not None:
        ride, needs = ridden.capacity_draws(count), needs * ridden.needs_draws(count)
    form = np.exp(FORM_SD * np.random.default_rng(13).standard_normal(count))
    shown = capacity.held_for(library, made.scale_key, made.date, nominal) if usual and made.date else None
    if shown is not None:  # on a day alike nobody holds less than the runs have shown
        form = form * np.maximum(shown / power_at(nominal, cp * form, wp * form, tail), 1.0)
    draws = RaceDraws(cp * factor * form * ride, wp * form * ride, tail, factor, form, needs, ride)
    return Day(
        asked,
        sky,
        made,
        relation,
        made.posterior.n,
        way,
        path,
        table,
        draws,
        time,
        only_time,
        heat,
        altitude,
        shortest,
        ridden,
        tuple(notes),
        temperature,
    )


def reachable(library: History, **question: Any) -> Floats:
    """The time that each draw of the runner could reach in a race [s]; arguments and errors as `plan_race`."""
    day = day_of(library, RaceQuestion.of(**question))
    return even_power.sustainable(day.table, *day.held, day.draws.needs)[1]


def _heats(rows: list[StreamRows], way: Road, date: dt.date | None) -> tuple[float | None, tuple[float, float] | None]:
    """Wet-bulb globe temperature that the evidence was run in, and temperature and wet-bulb globe temperature usual at
    the race's place and season [°C]; None where neither weather nor place tells."""

    def felt(temperature: float) -> float:
        return float(air.wet_bulb_globe_temperature(temperature, 0.5))

    places = [r.latitude for r in rows if r.latitude is not None]
    home = float(np.median(places)) if places else None
    told = []
    for row in rows:
        place = home if row.latitude is None else row.latitude
        if row.sky.temperature is not None:
            told.append(row.sky.temperature)
        elif place is not None:
            told.append(climate.usual_temperature(row.date.toordinal(), place))
    here = home if way.latitude is None else float(way.latitude[0])
    usual = None if here is None or date is None else climate.usual_temperature(date.toordinal(), here)
    return (felt(float(np.median(told))) if told else None), (None if usual is None else (usual, felt(usual)))


def _check_goal(distance: float, time: float) -> None:
    best = fastest_time(distance)
    if time < best:
        raise UsageError(
            f"{format_duration(time)} for {distance / 1000:.2f} km is faster than anyone has run (about "
            f"{format_duration(best)})"
        )
