"""The race: capacity, power at speed, course and weather put together into watts, pace, time and splits."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import speed
from footwork.analysis.summary import AT, BLOCK_COLUMNS
from footwork.errors import NotEnoughData, UsageError
from footwork.history.conditions.race_weather import Weather
from footwork.physiology.endurance import power_at
from footwork.planning import conditions, even_power, pacing
from footwork.planning.course import DRAFT_SAVES, WALK_GRADE, Course, Place
from footwork.quantities import MILE_M, Estimate, Floats, fastest_time, format_duration, plain
from footwork.questions import capacity
from footwork.questions.capacity import DRAWS, Capacity
from footwork.questions.race import after_ride, strategies
from footwork.questions.race.after_ride import Effect
from footwork.questions.race.course_laid import CourseAsked, Road
from footwork.questions.race.race_question import RaceQuestion
from footwork.questions.race.strategies import RaceDraws, StrategyBasis, Wishes
from footwork.results.race import Strategies
from footwork.wording import cautions

if TYPE_CHECKING:
    from footwork.history.book import History

LEAST_CHANCE = 0.05


FORM_SD = 0.02  # a race day is better or worse than usual; the day form of tests, our convention


TOO_HOT = 32.2  # wet-bulb globe temperature at which even training is cancelled (ACSM 2007) [°C]


@dataclass(frozen=True)
class RacePlan:
    """The answer; `to_json` is the documented form."""

    question: dict[str, Any]
    scale: str
    measured: bool
    power: Estimate
    time: Estimate
    pace: Estimate
    distance: Estimate | None
    splits: list[dict[str, Any]]
    goal: dict[str, Any] | None
    conditions: dict[str, Any]
    critical_power: Estimate
    warnings: list[str]
    profile: list[dict[str, float]]
    course: dict[str, Any]
    strategies: Strategies
    basis: StrategyBasis = field(repr=False)
    way: Road = field(repr=False)
    sky: Weather = field(repr=False)
    reachable: Floats = field(repr=False)  # the best time of each draw of the runner [s]

    def to_json(self) -> dict[str, Any]:
        """SI units, estimates as in `models` section 9."""
        names = (
            "question",
            "scale",
            "measured",
            "power",
            "time",
            "pace",
            "distance",
            "splits",
            "goal",
            "conditions",
            "critical_power",
            "warnings",
            "profile",
            "course",
        )
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        return {**out, **self.strategies.to_json()}


@dataclass(frozen=True)
class _Day:
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
    descent: float | None
    shortest: float
    fastest: float
    ridden: Effect | None

    @property
    def held(self) -> tuple[Floats, Floats, Floats]:
        """CP, W′ and γ of the day."""
        return self.draws.critical_power, self.draws.w_prime, self.draws.tail

    def laid(self, way: Road) -> tuple[Course, even_power.TimeAtPower]:
        """Another road under the same weather."""
        return _laid(way, self.asked, self.sky, self.altitude, self.relation, self.made.mass, self.fastest, *self.held)[
            :2
        ]


def _laid(
    way: Road,
    asked: RaceQuestion,
    sky: Weather,
    altitude: float,
    relation: speed.PowerAtSpeed,
    mass: float | None,
    fastest: float,
    cp: Floats,
    wp: Floats,
    tail: Floats,
) -> tuple[Course, even_power.TimeAtPower, float]:
    """A road under the weather of the hours at which its parts are reached, its times at even power, and the likely
    time."""
    guess = float(np.median(cp))
    clock = np.zeros(len(way.path.length))
    for _ in range(2 if sky.hours else 1):
        path = way.under(sky, clock, altitude, 1.0 - DRAFT_SAVES * asked.draft)
        table = even_power.tabulate(path, relation.power, mass, guess, fastest)
        watts, nominal = (float(np.median(v)) for v in even_power.sustainable(table, cp, wp, tail))
        if sky.hours:
            clock = np.cumsum(
                path.length / even_power.segment_speed([watts], path, relation.power, mass, fastest)[0] + path.stops
            )
    return path, table, nominal


def _day(library: History, asked: RaceQuestion) -> _Day:
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
    way = CourseAsked(asked.course, distance, asked.laps, asked.marks, asked.heights, asked.smoothing).road(library)
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
        time = metres / asked.companion
    if time is not None and not only_time:
        _check_goal(metres, time)
    altitude = next(a for a in (sky.altitude, way.altitude, made.home_altitude) if a is not None)
    usual = capacity.near(library, made.scale_key, made.date) if made.scale_key and made.date else []
    seen = np.concatenate([np.zeros((0, len(BLOCK_COLUMNS))), *(r.blocks for r in usual)])
    descent = pacing.shown_descent(seen[:, AT["speed"]], np.nan_to_num(seen[:, AT["grade"]]))
    cp_0, wp_0, tail_0 = (float(np.median(v)) for v in (cp, wp, tail))
    shortest = min(pacing.HARDEST_S, metres / float(relation.speed(1.5 * cp_0)))
    fastest = pacing.Engine(cp_0, wp_0, tail_0, relation.power, made.mass, descent, shortest).fastest()
    path, table, nominal = _laid(way, asked, sky, altitude, relation, made.mass, fastest, cp, wp, tail)
    heat = sky.heat(np.linspace(0.0, nominal, 20))
    if heat is not None and heat.max() > TOO_HOT:
        raise UsageError(
            f"a wet-bulb globe temperature of {heat.max():.1f} °C is too hot to race: events are cancelled "
            f"above {TOO_HOT:g} °C"
        )
    count = len(cp)
    needs = relation.factors(metres / nominal, count, 5)
    wbgt = None if heat is None else float(heat.mean())
    factor = conditions.capacity_factors(wbgt, altitude, made.home_altitude, time or nominal, count)
    ridden = None if asked.after_ride is None else after_ride.ride_effect(library, made, asked.after_ride)
    ride: Floats | float = 1.0
    if ridden is not None:
        ride, needs = ridden.capacity_draws(count), needs * ridden.needs_draws(count)
    form = np.exp(FORM_SD * np.random.default_rng(13).standard_normal(count))
    day = factor * form * ride
    draws = RaceDraws(cp * day, wp * day, tail, factor, form, needs, ride)
    return _Day(
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
        descent,
        shortest,
        fastest,
        ridden,
    )


def reachable(library: History, **question: Any) -> Floats:
    """The time that each draw of the runner could reach in a race [s]; arguments and errors as `plan_race`."""
    day = _day(library, RaceQuestion.of(**question))
    return even_power.sustainable(day.table, *day.held, day.draws.needs)[1]


def plan_race(library: History, **question: Any) -> RacePlan:
    """A race plan; the arguments are the fields of `RaceQuestion`.

    Raises
    ------
    UsageError
        Neither distance, time nor course; a course too short; weather or a goal that cannot be.
    NotEnoughData
        No critical power or no relation of power to speed.
    """
    asked = RaceQuestion.of(**question)
    day = _day(library, asked)
    made, draws, n, way, path, table, time = day.made, day.draws, day.n, day.way, day.path, day.table, day.goal
    goal: dict[str, Any] | None = None
    span: Estimate | None = None
    if day.only_time and time is not None:
        power = power_at(time, *day.held)
        covered = path.distance * time / table.time(power / draws.needs)
        span = Estimate.from_draws(covered, "m", n, "race")
        way = CourseAsked(distance=span.value or path.distance, marks=asked.marks).road(library)
        path, table = day.laid(way)
        times = best_times = np.full(len(power), time)
        paces = times / covered
    else:
        power, times = even_power.sustainable(table, *day.held, draws.needs)
        best_times, paces = times, times / path.distance
        if time is not None:
            goal, power, times, paces = _goal(time, path, table, day, power, times)
    # The profile is of even power in the time shown: the table's power for it, before what one day's device adds.
    speeds = even_power.segment_speed(
        table.power([float(np.median(times))]), path, day.relation.power, made.mass, day.fastest
    )[0]
    places = way.places()
    basis = StrategyBasis(
        path,
        day.relation,
        made.mass,
        draws,
        day.descent,
        tuple(places),
        way.watch,
        day.shortest,
        _middle(table, day.held, best_times),
    )
    told = strategies.strategies_for(
        basis,
        Wishes(
            asked.strategy or "best",
            asked.risk,
            time if goal and goal["critical_power_needed"] is None else None,
            asked.negative_split,
            strategies.parse_own(asked.own),
        ),
    )
    hottest = None if day.heat is None else float(day.heat.max())
    careful = [
        *([held] if (held := cautions.held_back(library.health())) else []),
        cautions.before_hard_work("race"),
        *cautions.race_cautions(float(np.median(times)), hottest),
        *([day.ridden.sentence] if day.ridden else []),
    ]
    warnings = [*careful, *made.warnings, *way.notes, *_notes(path, made, asked, way, day.sky)]
    if told["solver"]["status"] != "converged":
        warnings.append(
            f"The quickest plan was not found ({told['solver']['status']}): even power stands in its place."
        )
    chosen = told["strategies"][told["chosen"]]["segments"]
    planned, watts = (np.array([s[k] for s in chosen]) for k in ("speed_mps", "power_w"))
    rows = even_power.splits(path, planned, watts, asked.split, _spread(times))
    return RacePlan(
        question={
            "distance_m": path.distance,
            "goal_s": time if goal else None,
            "time_s": time if span else None,
            "course": None if asked.course is None else way.name,
            "start": None if asked.start is None else asked.start.isoformat(),
        },
        scale=made.scale,
        measured=made.measured,
        power=Estimate.from_draws(power, "W", n, "race"),
        time=Estimate.from_draws(times, "s", n, "race"),
        pace=Estimate.from_draws(1000 * paces, "s/km", n, "race"),
        distance=span,
        splits=[
            {**row, "clock": _clock(asked.start, row["time_s"]), "watch_m": row["distance_m"] * way.watch}
            for row in rows
        ],
        goal=goal,
        conditions={
            "headwind_mps": float(np.average(path.headwind, weights=path.length)),
            "air_density_kgm3": float(path.density.mean()),
            "wet_bulb_globe_c": None if day.heat is None else float(day.heat.mean()),
            "hottest_wet_bulb_globe_c": hottest,
            "altitude_m": day.altitude,
            "drag_left": path.drag,
            "capacity_factor": Estimate.from_draws(draws.conditions, "", len(draws.conditions), "conditions", "draws"),
            "after_ride": None if day.ridden is None else day.ridden.to_json(),
        },
        critical_power=made.critical_power,
        warnings=warnings,
        profile=_profile(path, speeds),
        course=_course(way, places),
        strategies=Strategies(**told, cautions=careful),
        basis=basis,
        way=way,
        sky=day.sky,
        reachable=best_times,
    )


def _clock(start: dt.datetime | None, seconds: float) -> str | None:
    return None if start is None else (start + dt.timedelta(seconds=seconds)).isoformat(timespec="seconds")


def _course(way: Road, places: list[Place]) -> dict[str, Any]:
    """What was made of the course: climb and the smoothing it rests on, marks, places, and the track where there is
    one."""
    track = None
    if way.latitude is not None and way.longitude is not None:
        track = [[round(float(a), 6), round(float(b), 6)] for a, b in zip(way.latitude, way.longitude, strict=True)]
    return {
        "private": way.private,
        "climb_m": way.climb,
        "smoothing_m": way.smoothing,
        "notes": list(way.notes),
        "watch_share": way.watch,
        "marks": [
            {"start_m": m.start, "end_m": m.end, "name": m.name, "stop_s": m.seconds, "cost_share": m.cost}
            for m in way.marks
        ],
        "places": [{"at_m": p.at, "name": p.name} for p in places],
        "track": track,
        "height_m": None if way.height is None else [round(float(h), 1) for h in way.height],
    }


def _middle(table: even_power.TimeAtPower, held: tuple[Floats, Floats, Floats], times: Floats) -> float:
    """Factor on the medians of CP and W′ with which even power takes the median of the times, so that all numbers of a
    plan are of one runner: the draws hang together, and their medians are none."""
    cp, wp, tail = (float(np.median(v)) for v in held)
    factors = np.linspace(0.8, 1.25, 181)
    found = even_power.sustainable(table, factors * cp, factors * wp, np.full(len(factors), tail))[1]
    return float(np.interp(np.median(times), found[::-1], factors[::-1]))


def _spread(times: Floats) -> tuple[float, float]:
    """Ends of the 95 % interval of race times as multiples of their median."""
    low, middle, high = np.quantile(times, [0.025, 0.5, 0.975])
    return float(low / middle), float(high / middle)


def _goal(
    time: float, path: Course, table: even_power.TimeAtPower, day: _Day, power: Floats, times: Floats
) -> tuple[dict[str, Any], Floats, Floats, Floats]:
    """The goal's chance; the plan is the goal's where it has one, else the runner's best with the CP the goal takes."""
    needs, n = day.draws.needs, day.n
    if time > table.times.max():
        raise UsageError(
            f"{format_duration(time)} is slower than a plan by power can say: the slowest here is "
            f"{format_duration(float(table.times.max()))}"
        )
    chance = float((times <= time).mean())
    wanted = float(table.power(time)) * needs
    goal: dict[str, Any] = {
        "time_s": time,
        "chance": chance,
        "power": Estimate.from_draws(wanted, "W", n, "race"),
        "best_time": Estimate.from_draws(times, "s", n, "race"),
        "critical_power_needed": None,
    }
    if chance >= LEAST_CHANCE:
        reached = table.time(float(np.median(wanted)) / needs)
        return goal, wanted, reached, reached / path.distance
    # Power at a duration grows in proportion to CP and W′ together, so one factor tells the CP the goal takes.
    stretch = wanted / power_at(time, *day.held)
    goal["critical_power_needed"] = Estimate.from_draws(
        day.draws.critical_power / day.draws.conditions / day.draws.ride * stretch, "W", n, "race"
    )
    return goal, power, times, times / path.distance


def _check_goal(distance: float, time: float) -> None:
    best = fastest_time(distance)
    if time < best:
        raise UsageError(
            f"{format_duration(time)} for {distance / 1000:.2f} km is faster than anyone has run (about "
            f"{format_duration(best)})"
        )


def _profile(path: Course, speeds: Floats) -> list[dict[str, float]]:
    ends = np.cumsum(path.length)
    rise = np.cumsum(path.length * path.grade)
    return [
        {"end_m": float(e), "rise_m": float(r), "grade": float(g), "headwind_mps": float(w), "speed_mps": float(v)}
        for e, r, g, w, v in zip(ends, rise, path.grade, path.headwind, speeds, strict=True)
    ]


def _notes(path: Course, made: Capacity, asked: RaceQuestion, way: Road, sky: Weather) -> list[str]:
    """What was taken for granted, and what was given in vain."""
    out = []
    directed = any(w.wind and w.wind_from is not None for w in sky.all())
    if directed and asked.course is None:
        out.append("Without a course half the way is taken against this wind and half with it.")
    if any(w.variable for w in sky.all()):
        out.append("The report calls the wind variable: it is left out.")
    if sky.temperature is not None and sky.humidity is None:
        out.append("Humidity was not given: it is taken as 50 %.")
    if sky.humidity is not None and sky.temperature is None:
        out.append("Humidity counts only together with a temperature.")
    if (np.abs(path.headwind).max() > 0 or asked.draft) and made.mass is None:
        out.append("Wind, drafting and air density need the runner's mass to count: footwork athlete --mass KG.")
    if np.max(path.surface) > 1:
        out.append("Ground that costs more is not felt by a device: watts shown there are lower for the same effort.")
    if path.grade.max() >= WALK_GRADE:
        out.append(
            f"Climbs of {100 * WALK_GRADE:.0f} % and more are walked where that costs less; watts shown while "
            "walking are not comparable, so go by feel there."
        )
    if np.abs(path.grade).max() > 0.4:
        out.append("Parts of the course are steeper than 40 %, the steepest that running and walking were measured on.")
    learned = made.power_at_speed is not None and bool(made.power_at_speed.effects)
    if np.abs(path.headwind).max() > 0.5 and made.measured and not learned:
        out.append(
            "Watts here include the work against the wind. A sensor that does not feel the wind shows less "
            "into it: then hold the effort, not the display."
        )
    if way.watch != 1.0:
        out.append(
            f"The watch that recorded this course shows {100 * (way.watch - 1):+.1f} % of distance: "
            "instructions are by official distance, the workout's steps by the watch's."
        )
    return out


def splits_every(imperial: bool) -> float:
    """Kilometres or miles.

    [m].
    """
    return MILE_M if imperial else 1000.0
