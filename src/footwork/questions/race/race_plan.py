"""The race: capacity, power at speed, course and weather put together into watts, pace, time and splits."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from footwork.analysis import response
from footwork.errors import FootworkError, UsageError
from footwork.history import private_places
from footwork.history.conditions.race_weather import Weather
from footwork.physiology.endurance import power_at
from footwork.planning import even_power
from footwork.planning.course import WALK_GRADE, Course, Place
from footwork.quantities import MILE_M, Estimate, Floats, format_distance, format_duration, plain
from footwork.questions import progress
from footwork.questions.capacity import Capacity
from footwork.questions.race import strategies
from footwork.questions.race.course_laid import CourseAsked, Road
from footwork.questions.race.race_day import Day, day_of
from footwork.questions.race.race_in_run import race_in
from footwork.questions.race.race_question import RaceQuestion
from footwork.questions.race.strategies import StrategyBasis, Wishes
from footwork.results.race import Strategies
from footwork.wording import cautions, race_words

if TYPE_CHECKING:
    from footwork.history.book import History

LEAST_CHANCE = 0.05


STEEP_DOWN = 0.15  # from here on a descent is named
HIGHER_M = 300.0  # further from the height of home than this is named
FIRST_M = 1000.0  # off the bicycle, told apart; our convention
# Grade of a climb and share of the watts shown from which heart rate is asked; in more wind [m/s] it is not.
CLIMB, UNDER_READ, CALM = 0.02, 0.03, 0.5
RACE_DAYS, ALIKE = 182, 1.4  # a race longer ago, or so many times as long or short, is nothing to hold a plan against
RISK = 0.2  # of a day that must ease by more than 1 %, where none is asked for: four race days in five make the plan


@dataclass(frozen=True)
class RacePlan:
    """The answer, and everything in it is of one plan but for the interval of ``power``, which is of what can be held,
    and for ``best_power`` and ``best_time``, all that the runner could hold and reach at even effort;
    `to_json` is the documented form."""

    question: dict[str, Any]
    scale: str
    measured: bool
    power: Estimate
    time: Estimate
    pace: Estimate
    best_power: Estimate
    best_time: Estimate
    distance: Estimate | None
    splits: list[dict[str, Any]]
    goal: dict[str, Any] | None
    conditions: dict[str, Any]
    critical_power: Estimate
    warnings: list[str]
    profile: list[dict[str, float]]
    course: dict[str, Any]
    last_race: dict[str, Any] | None
    sentence: str
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
            "best_power",
            "best_time",
            "distance",
            "splits",
            "goal",
            "conditions",
            "critical_power",
            "warnings",
            "profile",
            "last_race",
            "course",
            "sentence",
        )
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        return {**out, **self.strategies.to_json()}


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
    day = day_of(library, asked)
    made, draws, n, way, path, table, time = day.made, day.draws, day.n, day.way, day.path, day.table, day.goal
    goal: dict[str, Any] | None = None
    span: Estimate | None = None
    if day.only_time and time is not None:
        able = power_at(time, *day.held)
        covered = path.distance * time / table.time(able / draws.needs)
        way, path, basis, told = _as_far_as(library, day, time, float(np.median(covered)))
        best_times = np.full(len(able), time)
        low, middle, high = np.quantile(covered, [0.025, 0.5, 0.975])
        far = path.distance
        span = Estimate(far, float(min(far, far * low / middle)), float(far * high / middle), "m", n, "race")
    else:
        able, best_times = even_power.sustainable(table, *day.held, draws.needs)
        if time is not None:
            goal = _goal(time, table, day, best_times)
        basis = _basis(day, way, path, _middle(table, day.held, best_times))
        told = strategies.strategies_for(basis, _wishes(asked, time if _reached(goal) else None))
    chosen = told["strategies"][told["chosen"]]
    finish = told["finish_curve"]
    planned_goal = goal is not None and _reached(goal) and told["chosen"] != "own"
    if goal is not None and planned_goal:
        goal["chance"] = 1.0 - told["late_probability"]
        low_w, high_w = goal["power"].low, goal["power"].high
    else:
        low_w, high_w = (float(q) for q in np.quantile(able, [0.025, 0.975]))
    power = _about(chosen["mean_power_w"], low_w, high_w, "W", n)
    took = _about(chosen["time_s"], finish[0]["time_s"], finish[-1]["time_s"], "s", n)
    hottest = None if day.heat is None else float(day.heat.max())
    careful = [
        *([held] if (held := cautions.held_back(library.health())) else []),
        cautions.before_hard_work("race"),
        *cautions.race_cautions(chosen["time_s"], hottest),
        *([day.ridden.sentence] if day.ridden else []),
    ]
    warnings = [
        *careful,
        *made.warnings,
        *way.notes,
        *day.notes,
        *_notes(path, made, asked, way, day.sky, day.altitude),
    ]
    if asked.risk is not None and planned_goal:
        warnings.append("A goal is planned as it is asked for: the share of late race days is what comes of it.")
    warnings += _doubted_by_heart_rate(library, made, told["instructions"], path)
    if chosen["limited_at_m"] is not None:
        warnings.append(
            f"Even pace suits this course badly: the climb to {format_distance(chosen['limited_at_m'])} sets the pace "
            "of the whole."
        )
    if told["solver"]["status"] != "converged":
        warnings.append(
            f"The quickest plan was not found ({told['solver']['status']}): even effort stands in its place."
        )
    planned, watts = (np.array([s[k] for s in chosen["segments"]]) for k in ("speed_mps", "power_w"))
    spread = (finish[0]["time_s"] / chosen["time_s"], finish[-1]["time_s"] / chosen["time_s"])
    places = way.places()
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
        power=power,
        time=took,
        pace=took.scaled(1000.0 / path.distance, "s/km"),
        best_power=Estimate.from_draws(able, "W", n, "race"),
        best_time=Estimate.from_draws(best_times, "s", n, "race"),
        distance=span,
        splits=[
            {**row, "clock": _clock(asked.start, row["time_s"]), "watch_m": row["distance_m"] * way.watch}
            for row in even_power.splits(path, planned, watts, asked.split, spread)
        ],
        goal=goal,
        conditions={
            "headwind_mps": float(np.average(path.headwind, weights=path.length)),
            "crosswind_mps": float(np.average(np.broadcast_to(path.crosswind, path.length.shape), weights=path.length)),
            "air_density_kgm3": float(path.density.mean()),
            "temperature_c": day.temperature,
            "wet_bulb_globe_c": None if day.heat is None else float(day.heat.mean()),
            "hottest_wet_bulb_globe_c": hottest,
            "altitude_m": day.altitude,
            "drag_left": path.drag,
            "capacity_factor": Estimate.from_draws(draws.conditions, "", len(draws.conditions), "conditions", "draws"),
            "after_ride": None if day.ridden is None else _after_ride(day, asked, took),
        },
        critical_power=made.critical_power,
        warnings=warnings,
        profile=_profile(path, planned),
        course=_course(way, places, private_places.places(library)),
        last_race=_last_race(library, made.scale, made.date, chosen["time_s"]),
        sentence=race_words.plan_sentence(
            chosen["mean_power_w"],
            chosen["time_s"],
            told["late_probability"],
            None if told["chosen"] == "own" else goal,
            span,
        ),
        strategies=Strategies(**told, cautions=careful),
        basis=basis,
        way=way,
        sky=day.sky,
        reachable=best_times,
    )


def _last_race(library: History, scale: str, until: dt.date | None, time: float) -> dict[str, Any] | None:
    """The newest race of about such a duration [s], for whoever holds a plan against it, without what was run before
    and after it; with its watts where they are of the same scale."""
    last = until or library.current_day()
    for row in library.runs():
        if "race" not in row.marks or row.left_out or not row.distance_m:
            continue
        if not 0 <= (last - row.local.date()).days <= RACE_DAYS or row.elapsed_s < time / ALIKE:
            continue
        metres, took, watts = row.distance_m, row.elapsed_s, None
        if not row.entered_by_hand:
            try:
                part = race_in(library, row)
            except FootworkError:
                continue
            metres, took = float(part.metres[-1]), part.seconds
            if row.measured and row.power_scale == scale and np.isfinite(part.power).any():
                watts = float(np.nanmean(part.power))
        if time / ALIKE <= took <= ALIKE * time:
            date = row.local.date().isoformat()
            return {"run": row.id, "date": date, "distance_m": metres, "time_s": took, "power_w": watts}
    return None


def _as_far_as(
    library: History, day: Day, time: float, distance: float
) -> tuple[Road, Course, StrategyBasis, dict[str, Any]]:
    """The road that the plan covers in a time [s], and the plan; a first guess at its length [m]."""
    # The runner of the middle is that of the first road: a race as long as it takes tells nothing of one.
    middle = _middle(day.table, day.held, even_power.sustainable(day.table, *day.held, day.draws.needs)[1])
    for _ in range(4):
        way = CourseAsked(distance=distance, marks=day.asked.marks).road(library)
        path, _ = day.laid(way)
        basis = _basis(day, way, path, middle)
        told = strategies.strategies_for(basis, _wishes(day.asked, None))
        took = told["strategies"][told["chosen"]]["time_s"]
        if abs(took / time - 1) < 1e-3:
            break
        distance *= time / took
    return way, path, basis, told


def _basis(day: Day, way: Road, path: Course, middle: float) -> StrategyBasis:
    return StrategyBasis(
        path,
        day.relation,
        day.made.mass,
        day.draws,
        tuple(way.places()),
        way.watch,
        day.shortest,
        middle,
        0.0 if day.ridden is None else FIRST_M,
    )


def _wishes(asked: RaceQuestion, goal: float | None) -> Wishes:
    """How the race is to be run; a goal and own watts are run as asked, all else at a risk."""
    free = goal is None and asked.strategy != "own"
    return Wishes(
        asked.strategy or "quickest",
        asked.risk if asked.risk is not None or not free else RISK,
        goal,
        asked.negative_split,
        strategies.parse_own(asked.own),
    )


def _about(value: float, low: float, high: float, unit: str, n: int) -> Estimate:
    """A plan's number with the interval of what may be; a plan can lie outside what is likely."""
    return Estimate(value, min(value, float(low)), max(value, float(high)), unit, n, "race")


def _reached(goal: dict[str, Any] | None) -> bool:
    return goal is not None and goal["critical_power_needed"] is None


def _after_ride(day: Day, asked: RaceQuestion, run: Estimate) -> dict[str, Any]:
    """The ride, what it takes, and the clock from the end of the swim: transitions, ride and run."""
    if day.ridden is None:
        return {}
    before = sum(asked.transitions) + day.ridden.ride.time
    low, value, high = (before + float(v or 0.0) for v in (run.low, run.value, run.high))
    told: dict[str, Any] = plain({"with_run": Estimate(value, low, high, "s", run.n, "race")})
    return {**day.ridden.to_json(), "transitions_s": list(asked.transitions), **told}


def _clock(start: dt.datetime | None, seconds: float) -> str | None:
    return None if start is None else (start + dt.timedelta(seconds=seconds)).isoformat(timespec="seconds")


def _course(way: Road, places: list[Place], private: list[dict[str, Any]]) -> dict[str, Any]:
    """What was made of the course: climb and the smoothing it rests on, marks, places, and the track where there is
    one, without its positions near private places."""
    track, hidden = None, False
    if way.latitude is not None and way.longitude is not None:
        inside = private_places.near(way.latitude, way.longitude, private)
        hidden = bool(inside.any())
        track = [
            None if gone else [round(float(a), 6), round(float(b), 6)]
            for a, b, gone in zip(way.latitude, way.longitude, inside, strict=True)
        ]
    return {
        "private": hidden,
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


def _goal(time: float, table: even_power.TimeAtPower, day: Day, times: Floats) -> dict[str, Any]:
    """The goal's chance by the best times, and where it has none the CP that it takes."""
    n = day.n
    if time > table.times.max():
        raise UsageError(
            f"{format_duration(time)} is slower than a plan by power can say: the slowest here is "
            f"{format_duration(float(table.times.max()))}"
        )
    chance = float((times <= time).mean())
    wanted = float(table.power(time)) * day.draws.needs
    goal: dict[str, Any] = {
        "time_s": time,
        "chance": chance,
        "power": Estimate.from_draws(wanted, "W", n, "race"),
        "best_time": Estimate.from_draws(times, "s", n, "race"),
        "critical_power_needed": None,
    }
    if chance < LEAST_CHANCE:
        # Power at a duration grows in proportion to CP and W′ together, so one factor tells the CP the goal takes.
        stretch = wanted / power_at(time, *day.held)
        goal["critical_power_needed"] = Estimate.from_draws(
            day.draws.critical_power / day.draws.conditions / day.draws.ride * stretch, "W", n, "race"
        )
    return goal


def _profile(path: Course, speeds: Floats) -> list[dict[str, float]]:
    ends = np.cumsum(path.length)
    rise = np.cumsum(path.length * path.grade)
    return [
        {"end_m": float(e), "rise_m": float(r), "grade": float(g), "headwind_mps": float(w), "speed_mps": float(v)}
        for e, r, g, w, v in zip(ends, rise, path.grade, path.headwind, speeds, strict=True)
    ]


def _doubted_by_heart_rate(
    library: History, made: Capacity, stretches: list[dict[str, Any]], path: Course
) -> list[str]:
    """What heart rate says of a device that is held to under-read climbs: at the same watts it would be the higher the
    steeper it is. Nothing where it is so, where no climb is told from its effort, or where the runs do not tell."""
    climbs = [
        s
        for s in stretches
        if s["grade"] > CLIMB and abs(s["headwind_mps"]) < CALM and s["effort_w"] > (1 + UNDER_READ) * s["power_w"]
    ]
    if not climbs or not made.measured or np.max(path.surface) > 1:  # nor is wind or soft ground felt by a device
        return []
    try:
        model = progress.season(library, date=made.date, scale=made.scale).model
    except FootworkError:
        return []
    per_watt, uphill = (response.C[name] - 1 for name in ("power", "up"))
    told, sd = float(model.mean[uphill]), float(np.sqrt(model.covariance[uphill, uphill]))
    asked = float(
        np.median([model.mean[per_watt] * (s["effort_w"] - s["power_w"]) / (100 * s["grade"]) for s in climbs])
    )
    if sd > 0.7 * response.PRIOR_SD[response.C["up"]] or told + 1.96 * sd > 0.5 * asked:
        return []
    return [race_words.heart_doubts_climbs(asked, told, sd, float(np.median([s["effort_w"] for s in climbs])))]


def _notes(path: Course, made: Capacity, asked: RaceQuestion, way: Road, sky: Weather, altitude: float) -> list[str]:
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
    if path.grade.min() < -STEEP_DOWN:
        out.append(
            f"Descents steeper than {100 * STEEP_DOWN:.0f} %: how fast they can be run is the ground's to say, and "
            "they hurt for days; the plan's speed there is only a limit by our convention."
        )
    if abs(altitude - made.home_altitude) > HIGHER_M:
        out.append(
            f"At {altitude:.0f} m, against {made.home_altitude:.0f} m where you run: what that takes is in the plan, "
            "between the curves of those who are used to it and those who are not."
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
