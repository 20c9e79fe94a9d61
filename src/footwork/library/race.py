"""The race: capacity, power at speed, course and weather put together into watts, pace, time and splits."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.errors import LibraryError, NotEnoughData, UsageError
from footwork.formats import metar, workout
from footwork.library import capacity, strategies
from footwork.physics import air
from footwork.physics.terrain import bearing, smooth_altitude, step_distance
from footwork.physiology.endurance import power_at
from footwork.planning import conditions, pacing, race
from footwork.quantities import MILE_M, Effort, Estimate, Floats, fastest_time, format_duration, plain
from footwork.signals import Course as Path3D
from footwork.signals import Recording

SEGMENT_M = 50.0
SHELTER = 0.7  # share of the open-field wind that houses and trees let through; our convention
LEAST_CHANCE = 0.05
FORM_SD = 0.02  # a race day is better or worse than usual; the day form of tests, our convention
CAUTION = "A race is a maximal effort: be well, be warm, and stop at chest pain, faintness or unusual breathlessness."
TOO_HOT = 32.2  # wet-bulb globe temperature at which even training is cancelled (ACSM 2007) [°C]


@dataclass(frozen=True)
class Weather:
    """Race weather as asked: wind at 10 m [m/s] and where it comes from [deg], temperature [°C], humidity 0 to 1,
    altitude [m], pressure at sea level [Pa]; None is unknown and then has no effect."""

    wind: float | None = None
    wind_from: float | None = None
    temperature: float | None = None
    humidity: float | None = None
    altitude: float | None = None
    pressure: float | None = None

    def over(self, metar_line: str) -> Weather:
        """This weather where it is given, else that of a METAR line. Raises UsageError for a line that is none."""
        seen = metar.parse(metar_line)
        own = {k: v for k, v in asdict(self).items() if v is not None}
        told = {"wind": seen.wind, "wind_from": seen.wind_from, "temperature": seen.temperature, "humidity": seen.humidity,
                "pressure": seen.pressure}  # fmt: skip
        if self.wind is not None:  # a typed wind has its own direction, or none
            told["wind_from"] = None
        return Weather(**{**{k: v for k, v in told.items() if v is not None}, **own})


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
    splits: list[dict[str, float]]
    goal: dict[str, Any] | None
    conditions: dict[str, Any]
    critical_power: Estimate
    warnings: list[str]
    profile: list[dict[str, float]]
    strategies: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        """SI units, estimates as in `models` section 9."""
        names = ("question", "scale", "measured", "power", "time", "pace", "distance", "splits", "goal", "conditions",
                 "critical_power", "warnings", "profile")  # fmt: skip
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        return {**out, **self.strategies}


def answer(
    library: Any,
    distance: float | None = None,
    time: float | None = None,
    course: str | Path | Path3D | None = None,
    date: dt.date | None = None,
    scale: str | None = None,
    efforts: Sequence[str | Effort] = (),
    mass: float | None = None,
    weather: Weather | None = None,
    split: float = 1000.0,
    strategy: str = "best",
    risk: float | None = None,
) -> RacePlan:
    """Even-power race plan.

    Parameters
    ----------
    distance : float, optional
        Race distance; with ``course`` the official distance that the course is stretched to. [m]
    time : float, optional
        Alone: a race of that time. With a distance or course: a goal. [s]
    course : path or Course, optional
        GPX course, or a recording with positions.
    date, scale, efforts, mass
        As in `capacity.answer`.
    weather : Weather, optional
    split : float
        Distance between splits. [m]
    strategy, risk
        As in `strategies.answer`.

    Raises
    ------
    UsageError
        Neither distance, time nor course; a course too short; weather or a goal that cannot be.
    NotEnoughData
        No critical power or no relation of power to speed.
    """
    if distance is None and time is None and course is None:
        raise UsageError("say which race: --distance 10km, --time 1:30:00 or --course FILE.gpx")
    sky = weather or Weather()
    _check_weather(sky)
    made = capacity.answer(library, efforts, date, scale, mass)
    if made.posterior is None:
        raise NotEnoughData(f"no race plan without critical power: {made.critical_power.reason or 'none is known'}")
    relation = made.power_at_speed
    if relation is None:
        raise NotEnoughData(
            "no race plan without power at speed: ten steady flat minutes on this scale, or race results with --mass, give it"
        )
    cp, wp, tail = made.posterior.draws(capacity.DRAWS)
    warnings = list(made.warnings)
    guess_power = float(np.median(cp))
    only_time = distance is None and course is None
    if only_time and time is not None:
        distance = float(relation.speed(guess_power)) * time  # only to lay out a road long enough
    path = _course(course, distance, sky, made, warnings) if course is not None else _flat(distance or 0.0, sky)
    if not 400 <= path.distance <= 500_000:
        raise UsageError(f"a race of {path.distance:.0f} m is outside 400 m to 500 km")
    if time is not None and not only_time:
        _check_goal(path.distance, time)
    table = race.tabulate(path, relation.power, made.mass, guess_power)
    nominal = float(np.median(race.sustainable(table, cp, wp, tail)[1]))
    needs = relation.factors(path.distance / nominal, len(cp), 5)
    altitude = (
        sky.altitude if sky.altitude is not None else path.altitude if path.altitude is not None else made.home_altitude
    )
    humidity = 0.5 if sky.humidity is None else sky.humidity
    wbgt = None if sky.temperature is None else float(air.wet_bulb_globe_temperature(sky.temperature, humidity))
    if wbgt is not None and wbgt > TOO_HOT:
        raise UsageError(
            f"a wet-bulb globe temperature of {wbgt:.0f} °C is too hot to race: events are cancelled above {TOO_HOT:g} °C"
        )
    factor = conditions.capacity_factors(wbgt, altitude, made.home_altitude, time or nominal, len(cp))
    form = np.exp(FORM_SD * np.random.default_rng(13).standard_normal(len(cp)))
    cp, wp = cp * factor * form, wp * factor * form
    n = made.posterior.n
    goal: dict[str, Any] | None = None
    span: Estimate | None = None
    if only_time and time is not None:
        power = power_at(time, cp, wp, tail)
        metres = path.distance * time / table.time(power / needs)
        span = Estimate.from_draws(metres, "m", n, "race")
        path = _flat(span.value or path.distance, sky)
        table = race.tabulate(path, relation.power, made.mass, guess_power)
        times = np.full(len(cp), time)
        paces = times / metres
    else:
        power, times = race.sustainable(table, cp, wp, tail, needs)
        paces = times / path.distance
        if time is not None:
            goal, power, times, paces = _goal(time, path, table, (cp, wp, tail), needs, power, times, factor, n)
    target = float(np.median(power))
    # Splits add up to the time shown: the table's power for that time, before what one day's device adds.
    speeds = race.segment_speed(table.power([float(np.median(times))]), path, relation.power, made.mass)[0]
    usual = capacity.near(library, made.scale_key, made.date) if made.scale_key and made.date else []
    seen = np.concatenate([np.zeros((0, len(BLOCK_COLUMNS))), *(r.blocks for r in usual)])
    grade = np.nan_to_num(seen[:, BLOCK_COLUMNS.index("grade")])
    told = strategies.answer(
        path,
        relation,
        made.mass,
        strategies.Draws(cp, wp, tail, factor, form, needs),
        strategy,
        risk,
        time if goal else None,
        pacing.shown_descent(seen[:, BLOCK_COLUMNS.index("speed")], grade),
    )
    if told["solver"]["status"] != "converged":
        warnings.append(
            f"The quickest plan was not found ({told['solver']['status']}): even power stands in its place."
        )
    more = _warnings(path, float(np.median(times)), made, sky, wbgt, course is not None)
    warnings += more
    told["cautions"] = [CAUTION, *(w for w in more if w.startswith(("Heat", "Beyond", "Parts")))]
    return RacePlan(
        question={"distance_m": path.distance, "goal_s": time if goal else None, "time_s": time if span else None,
                  "course": None if course is None else (course.name or "course") if isinstance(course, Path3D) else Path(course).name},
        scale=made.scale, measured=made.measured,
        power=Estimate.from_draws(power, "W", n, "race"),
        time=Estimate.from_draws(times, "s", n, "race"),
        pace=Estimate.from_draws(1000 * paces, "s/km", n, "race"),
        distance=span,
        splits=[{**row, "power_w": target} for row in race.splits(path, speeds, split, _spread(times))],
        goal=goal,
        conditions={
            "headwind_mps": float(np.average(path.headwind, weights=path.length)) if len(path.length) else 0.0,
            "air_density_kgm3": float(path.density.mean()), "wet_bulb_globe_c": wbgt, "altitude_m": altitude,
            "capacity_factor": Estimate.from_draws(factor, "", len(factor), "conditions", "draws"),
        },
        critical_power=made.critical_power, warnings=warnings,
        profile=_profile(path, speeds), strategies=told,
    )  # fmt: skip


def _spread(times: Floats) -> tuple[float, float]:
    """Ends of the 95 % interval of race times as multiples of their median."""
    low, middle, high = np.quantile(times, [0.025, 0.5, 0.975])
    return float(low / middle), float(high / middle)


def _goal(
    time: float, path: race.Course, table: race.TimeAtPower, capacity_draws: tuple[Floats, Floats, Floats], needs: Floats,
    power: Floats, times: Floats, factor: Floats, n: int,
) -> tuple[dict[str, Any], Floats, Floats, Floats]:  # fmt: skip
    """The goal's chance; the plan is the goal's where it has one, else the runner's best with the CP the goal takes."""
    chance = float((times <= time).mean())
    wanted = float(table.power(time)) * needs
    goal: dict[str, Any] = {
        "time_s": time, "chance": chance, "power": Estimate.from_draws(wanted, "W", n, "race"),
        "best_time": Estimate.from_draws(times, "s", n, "race"), "critical_power_needed": None,
    }  # fmt: skip
    if chance >= LEAST_CHANCE:
        reached = table.time(float(np.median(wanted)) / needs)
        return goal, wanted, reached, reached / path.distance
    # Power at a duration grows in proportion to CP and W′ together, so one factor tells the CP the goal takes.
    stretch = wanted / power_at(time, *capacity_draws)
    goal["critical_power_needed"] = Estimate.from_draws(capacity_draws[0] / factor * stretch, "W", n, "race")
    return goal, power, times, times / path.distance


def _check_weather(sky: Weather) -> None:
    for name, value, low, high, unit in (
        ("wind", sky.wind, -25, 25, "m/s"), ("wind direction", sky.wind_from, 0, 360, "degrees"), ("temperature", sky.temperature, -40, 50, "°C"),
        ("humidity", sky.humidity, 0, 1, "as a share"), ("altitude", sky.altitude, -430, 6000, "m"), ("pressure", sky.pressure, 85_000, 110_000, "Pa"),
    ):  # fmt: skip
        if value is not None and not low <= value <= high:  # also refuses what is not a number
            raise UsageError(f"{name} {value:g} cannot be raced in: give {low:g} to {high:g} {unit}")


def _check_goal(distance: float, time: float) -> None:
    best = fastest_time(distance)
    if time < best:
        raise UsageError(
            f"{format_duration(time)} for {distance / 1000:.2f} km is faster than anyone has run (about {format_duration(best)})"
        )


def _density(sky: Weather, altitude: float) -> float:
    humidity = 0.5 if sky.humidity is None else sky.humidity
    temperature = 15.0 if sky.temperature is None else sky.temperature
    pressure = air.standard_pressure(altitude)
    if sky.pressure is not None:
        pressure = pressure * sky.pressure / air.standard_pressure(0.0)
    return float(air.density(temperature, pressure, humidity))


def _local_wind(sky: Weather) -> float:
    return float(air.wind_at_height(sky.wind or 0.0, shelter=SHELTER))


def _flat(distance: float, sky: Weather) -> race.Course:
    wind = _local_wind(sky)
    flat = race.flat_course(distance, wind, _density(sky, sky.altitude or 0.0))
    if sky.wind_from is not None:
        # A direction without a course: half the way against the wind, half with it.
        half = np.arange(len(flat.length)) < len(flat.length) / 2
        flat = race.Course(flat.length, flat.grade, np.where(half, wind, -wind), flat.density)
    return flat


def read_course(source: str | Path) -> Path3D:
    """The course in a file: a GPX course, or the track of a recording.

    Raises
    ------
    UsageError
        No such file, or no course in it.
    """
    from footwork.library import read

    path = Path(source)
    if not path.is_file():
        raise UsageError(f"there is no course file {path}")
    found = read(path)
    track = found if isinstance(found, Path3D) else _track(found)
    if track is None or len(track.distance) < 3 or track.distance[-1] < 100:
        raise UsageError(f"{path.name} is no course: it needs at least three positions over 100 m or more")
    return track


def _course(
    source: str | Path | Path3D, distance: float | None, sky: Weather, made: capacity.Capacity, warnings: list[str]
) -> race.Course:
    track = source if isinstance(source, Path3D) else read_course(source)
    name = track.name or "the course"
    if sky.wind is not None and sky.wind_from is None and sky.wind != 0:
        raise UsageError("a course needs the wind's direction too: --wind 5@240 is 5 m/s from 240°")
    x, altitude = track.distance, track.altitude
    stretch = distance / float(x[-1]) if distance else 1.0
    if not 0.5 <= stretch <= 2.0:
        raise UsageError(
            f"{name} is {x[-1] / 1000:.1f} km long, too far from the official {(distance or 0) / 1000:.1f} km"
        )
    x = x * stretch
    has_altitude = np.isfinite(altitude).sum() >= 2
    if not has_altitude:
        warnings.append("The course has no altitude: it is taken as flat.")
        altitude = np.zeros(len(x))
    elif float(np.nanmax(altitude) - np.nanmin(altitude)) > 6000 or float(np.nanmax(altitude)) > 6000:
        raise UsageError(f"{name} climbs to {np.nanmax(altitude):.0f} m: its altitude cannot be right")
    smooth, _ = smooth_altitude(x, altitude)
    count = max(int(np.ceil(x[-1] / SEGMENT_M)), 2)
    edges = np.linspace(0.0, float(x[-1]), count + 1)
    height = np.interp(edges, x, smooth)
    length = np.diff(edges)
    heading = np.radians(bearing(np.interp(edges, x, track.latitude), np.interp(edges, x, track.longitude))[:-1])
    wind = _local_wind(sky)
    against = wind * np.cos(heading - np.radians(sky.wind_from or 0.0))
    middle = 0.5 * (height[1:] + height[:-1])
    density = np.array([_density(sky, float(h)) for h in np.round(middle, -1)])
    mean_altitude = float(np.average(middle, weights=length)) if has_altitude else None
    return race.Course(length, np.clip(np.diff(height) / length, -0.45, 0.45), against, density, mean_altitude)


def _track(recordings: list[Recording]) -> Path3D | None:
    for r in recordings:
        if "latitude" in r.columns and "longitude" in r.columns:
            lat, lon = r.columns["latitude"], r.columns["longitude"]
            known = np.isfinite(lat) & np.isfinite(lon)
            lat, lon = lat[known], lon[known]
            if len(lat) > 2:
                altitude = r.columns.get("altitude", np.full(len(known), np.nan))[known]
                return Path3D(lat, lon, np.cumsum(step_distance(lat, lon)), altitude)
    return None


def _profile(path: race.Course, speeds: Floats) -> list[dict[str, float]]:
    ends = np.cumsum(path.length)
    rise = np.cumsum(path.length * path.grade)
    return [
        {"end_m": float(e), "rise_m": float(r), "grade": float(g), "headwind_mps": float(w), "speed_mps": float(v)}
        for e, r, g, w, v in zip(ends, rise, path.grade, path.headwind, speeds, strict=True)
    ]


def _warnings(
    path: race.Course, time: float, made: capacity.Capacity, sky: Weather, wbgt: float | None, course: bool
) -> list[str]:
    out = []
    if time < 120:
        out.append("A race under 2 minutes is shorter than CP + W′/t describes: take the watts as a rough guide.")
    if time > 4 * 3600:
        out.append("Beyond about four hours fuel, heat and muscle damage decide more than this model knows.")
    if sky.wind and sky.wind_from is not None and path.altitude is None and not course:
        out.append("Without a course half the way is taken against this wind and half with it.")
    if sky.humidity is not None and sky.temperature is None:
        out.append("Humidity counts only together with a temperature.")
    if sky.wind and made.mass is None:
        out.append("Wind and air density need the runner's mass to count: footwork athlete --mass KG.")
    if wbgt is not None and wbgt >= 18:
        level = (
            "28 °C and more: races are usually cancelled"
            if wbgt > 28
            else "23 to 28 °C: high risk"
            if wbgt >= 23
            else "18 to 22 °C: moderate risk"
        )
        out.append(
            f"Heat: wet-bulb globe temperature {wbgt:.0f} °C ({level}). Slow down, drink to thirst, stop at dizziness or chills; follow the organiser and your physician."
        )
    if np.abs(path.grade).max(initial=0.0) > 0.25:
        out.append(
            "Parts of the course are steeper than 25 %: most runners walk there, which this plan does not yet know."
        )
    learned = made.power_at_speed is not None and bool(made.power_at_speed.effects)
    if np.abs(path.headwind).max(initial=0.0) > 0.5 and made.measured and not learned:
        out.append(
            "Watts here include the work against the wind. A sensor that does not feel the wind shows less into it: then hold the effort, not the display."
        )
    return out


def workout_of(plan: RacePlan, name: str = "") -> bytes:
    """A plan's instructions as a FIT workout for the watch, a step with a power band a stretch."""
    steps = [
        workout.Step(
            f"{i['end_m'] / 1000:.1f} km {i['power_w']:.0f} W",
            metres=i["end_m"] - i["start_m"],
            low=i["low_w"],
            high=i["high_w"],
        )
        for i in plan.strategies["instructions"]
    ]
    return workout.encode(name or f"Race {plan.question['distance_m'] / 1000:.1f} km", steps)


def check_out(path: Path, ending: str) -> None:
    """Whether a file of that kind can be asked for there. Raises UsageError."""
    if path.suffix.lower() != ending:
        raise UsageError(f"{path.name} must end in {ending}")
    if not path.parent.is_dir():
        raise UsageError(f"there is no folder {path.parent}: make it first")


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all. Raises LibraryError."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        temporary.write_bytes(data)
        os.replace(temporary, path)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise LibraryError(f"cannot write {path}: {error.strerror or error}") from None


def splits_every(imperial: bool) -> float:
    """Kilometres or miles."""
    return MILE_M if imperial else 1000.0
