"""One invented runner's 26 weeks on an invented coast: easy runs, sessions, hills, tests, two races, a few rides."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from footwork.demo.simulate import Device, Runner, device_watts, heart_rate, slope_cost, slope_effort
from footwork.quantities import Floats

WEEKS = 26
FIRST_DAY = dt.date(2026, 3, 2)
ZONE = dt.timezone(dt.timedelta(hours=0))
FOOT = Device(1.02, 0.85, 0.035, 3.0)
WRIST = Device(1.17, 0.6, 0.06, 6.0)  # another formula: a factor apart, dull on slopes
UPDATED = replace(WRIST, flat=1.10)  # after an update of its software it reads 6 % lower
UPDATE_DAY = dt.date(2026, 6, 22)
MISSED = (dt.date(2026, 8, 25), dt.date(2026, 8, 27))  # a cold: nothing was run
# A town on an island that is on no map.
_TOWN = (46.213, -21.734)
_METRES_PER_DEGREE = 111_195.0


@dataclass
class Planned:
    """A run to be simulated: when, pieces of (seconds, speed as a share of critical speed), where, and how it ends
    up."""

    start: dt.datetime
    title: str
    pieces: list[tuple[float, float]]
    hilly: float = 0.0
    marks: tuple[str, ...] = ()
    pauses: list[tuple[int, int]] = field(default_factory=list)
    both_devices: bool = False
    strap: str = "sound"  # or "dry" at the start, or "optical": late, then locked to the cadence for a while
    form: float = 1.0
    temperature: float = 12.0
    measured: bool = True
    file_format: str = "fit"
    cost: tuple[float, ...] = ()  # of each piece, what the heart answers to against the usual; empty for no difference


@dataclass
class Samples:
    """A simulated recording at 1 Hz: columns in SI units, Unix time, the timer's pauses, and laps as (start, end)
    indexes."""

    planned: Planned
    time: Floats
    columns: dict[str, Floats]
    pauses: list[tuple[float, float]]
    laps: list[tuple[int, int]]


def _clock(day: dt.date, hour: int, minute: int) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(hour, minute), ZONE)


def runner_on(day: dt.date, base: Runner) -> Runner:
    """The runner that day: 3 % better economy gained evenly over the season."""
    gone = (day - FIRST_DAY).days / (7 * WEEKS)
    return base.fitter(0.03 * min(max(gone, 0.0), 1.0))


def temperature_on(day: dt.date) -> float:
    """Morning temperature [°C]: a mild spring and summer with one hot week in July."""
    warm = 11 + 7 * np.sin((day.timetuple().tm_yday - 110) / 365 * 2 * np.pi)
    hot = 10.0 if dt.date(2026, 7, 13) <= day <= dt.date(2026, 7, 19) else 0.0
    return float(warm + hot)


def missed(day: dt.date) -> bool:
    """Whether the runner lay in bed on a day."""
    return MISSED[0] <= day <= MISSED[1]


def plan(base: Runner, rng: np.random.Generator) -> list[Planned]:
    """The season's runs in order."""
    out: list[Planned] = []
    for week in range(WEEKS):
        monday = FIRST_DAY + dt.timedelta(weeks=week)
        easy_week = week % 4 == 3
        days: list[tuple[int, str, list[tuple[float, float]], float, tuple[str, ...]]] = []
        if week in (1, 11, 21):
            days.append((1, "Test: 3 and 12 minutes", test_pieces(runner_on(monday, base), (180, 720)), 0.0, ("test",)))
            days.append((4, "Test: 7 minutes", test_pieces(runner_on(monday, base), (420,)), 0.0, ("test",)))
        else:
            repeats, length = [(5, 240), (6, 180), (4, 360), (10, 90)][week % 4]
            days.append(
                (
                    1,
                    f"{repeats} times {length / 60:g} minutes along the sea wall",
                    intervals(repeats, length, rng),
                    0.1,
                    (),
                )
            )
            days.append(
                (4, "Device check on the dyke", _check(), 0.0, ())
                if week == 9
                else (4, "Easy round the harbour", steady(2400 + 600 * (week % 2), 0.72, rng), 0.2, ())
            )
        days.append((2, "Easy to the lighthouse", steady(2700, 0.70, rng), 0.3, ()))
        if not easy_week:
            days.append(
                (
                    3,
                    "Hills above the town" if week % 2 else "Steady on the dyke",
                    steady(3000, 0.84, rng),
                    1.0 if week % 2 else 0.05,
                    (),
                )
            )
        if week == 13:
            days.append((6, "Harbour 10 km", _race(runner_on(monday, base), 10_000), 0.05, ("race",)))
        elif week == 19:
            days.append((6, "Dyke 5 km", _race(runner_on(monday, base), 5_000), 0.05, ("race",)))
        else:
            days.append((6, "Long run over the cliffs", steady(4800 + 300 * (week % 5), 0.73, rng), 0.6, ()))
        if not easy_week or week % 8 == 3:
            days.append((5, "Easy with strides", _strides(rng), 0.1, ()))
        for offset, title, pieces, hilly, marks in days:
            day = monday + dt.timedelta(days=offset)
            evening = offset in (1, 3)
            out.append(
                Planned(
                    _clock(day, 18 if evening else 8, int(rng.integers(0, 50))),
                    title,
                    pieces,
                    hilly,
                    marks,
                    pauses=[(int(rng.integers(600, 1500)), int(rng.integers(20, 90)))]
                    if rng.random() < 0.2 and not marks and "check" not in title
                    else [],
                    both_devices=(8 <= week < 12 or offset == 2) and not marks,
                    strap={3: "dry", 4: "optical"}.get(week % 7, "sound") if offset == 2 else "sound",
                    form=float(np.exp(rng.normal(0, base.day_sd if marks else 0.5 * base.day_sd))),
                    temperature=temperature_on(day) + (4.0 if evening else 0.0),
                    measured=week >= 1,  # in the first week the sensor had not arrived
                )
            )
    out.sort(key=lambda p: p.start)
    out = [p for p in out if p.start.date() not in _TRIAL_DAYS]
    for index, planned in enumerate(out):
        if index % 29 == 7:
            out[index] = replace(planned, file_format="gpx")
        elif index % 37 == 11:
            out[index] = replace(planned, file_format="csv")
    return sorted([*out, *_trials(base)], key=lambda p: p.start)


# Two trials of four runs each, on Thursdays: a shoe that saves the heart a fiftieth and more, and a posture that saves
# nothing.
TRIALS = {"Trial: blue pair": (dt.date(2026, 6, 25), 0.965), "Trial: hands low": (dt.date(2026, 7, 30), 1.0)}
TRIAL_RUNS, TRIAL_SEED = 4, 7
_TRIAL_DAYS = {first + dt.timedelta(weeks=k) for first, _ in TRIALS.values() for k in range(TRIAL_RUNS)}


def _trials(base: Runner) -> list[Planned]:
    """Blocks of six minutes with two easy ones between, in orders that the program itself draws for such a trial."""
    from footwork.analysis import trial_statistics

    rng = np.random.default_rng(TRIAL_SEED)
    out = []
    for title, (first, cost) in TRIALS.items():
        for k, order in enumerate(trial_statistics.order(2, 1, TRIAL_RUNS, TRIAL_SEED)):
            day = first + dt.timedelta(weeks=k)
            share = 0.76 * float(np.exp(rng.normal(0, 0.004)))
            pieces, costs = [(600.0, 0.68)], [1.0]
            for i, condition in enumerate(order):
                pieces.append((360.0, share * float(np.exp(rng.normal(0, 0.004)))))
                costs.append(cost if condition else 1.0)
                if i + 1 < len(order):
                    pieces.append((120.0, 0.6))
                    costs.append(1.0)
            pieces.append((300.0, 0.64))
            out.append(
                Planned(
                    _clock(day, 18, 10 + k),
                    title,
                    pieces,
                    0.05,
                    temperature=temperature_on(day) + 4.0,
                    cost=(*costs, 1.0),
                )
            )
    return out


def steady(seconds: float, share: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Pieces of even running for so long [s] at a share of critical speed."""
    return [
        (300, share * 0.94),
        *((300.0, share * float(np.exp(rng.normal(0, 0.015)))) for _ in range(int(seconds // 300))),
    ]


def intervals(repeats: int, length: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Pieces of a session: so many repeats of so long [s], with rests."""
    share = {90: 1.13, 180: 1.08, 240: 1.055, 360: 1.01}[int(length)]
    inside: list[tuple[float, float]] = []
    for _ in range(repeats):
        inside += [(length, share * float(np.exp(rng.normal(0, 0.008)))), (max(length * 0.5, 75), 0.6)]
    return [(900, 0.7), *inside, (600, 0.66)]


def _check() -> list[tuple[float, float]]:
    return [(600, 0.66), *[(180.0, 0.66), (180.0, 0.75), (180.0, 0.85)] * 2, (300, 0.62)]


def _strides(rng: np.random.Generator) -> list[tuple[float, float]]:
    return [(1800, 0.71), *[(20.0, 1.3), (70.0, 0.62)] * 6, (300, 0.66)]


def test_pieces(runner: Runner, durations: tuple[int, ...]) -> list[tuple[float, float]]:
    """Pieces of a test of such maximal efforts [s]."""
    pieces: list[tuple[float, float]] = [(1200, 0.68), (120, 0.9), (180, 0.5)]
    for duration in durations:
        best = runner.best_speed(duration) / runner.speed_cp
        pieces += [
            (duration * 0.1, best * 1.03),
            (duration * 0.9, best * (1 - 0.03 / 9)),
            (1500 if duration < 700 else 600, 0.55),
        ]
    return pieces


def _race(runner: Runner, distance: float) -> list[tuple[float, float]]:
    time = distance / runner.speed_cp
    for _ in range(20):
        time = distance / runner.best_speed(time)
    share = runner.best_speed(time) / runner.speed_cp
    return [(900, 0.68), (60, 0.4), (time, share), (480, 0.6)]


def height(x: Floats, y: Floats) -> Floats:
    """Altitude of the invented coast [m]; x east, y north of the harbour [m]. It rises inland, northwards."""
    inland = np.clip(y / 3000.0, 0.0, 2.0)
    folds = 30 * np.sin(x / 420.0) * np.cos(y / 510.0) + 16 * np.sin(x / 230.0 + y / 310.0)
    return np.asarray(4.0 + 60.0 * inland**1.3 + folds * np.clip(inland, 0.0, 1.0), dtype=float)


def route(distance: float, hilly: float, rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """A winding loop of at least that length at 1 m steps: x, y [m] and altitude [m]; ``hilly`` takes it inland."""
    radius = max(distance, 2000.0) / (2 * np.pi)
    turn = np.linspace(0, 2 * np.pi, max(int(distance * 1.3), 2000))
    wobble = 1 + 0.15 * np.sin(3 * turn + rng.uniform(0, 6)) + 0.08 * np.sin(7 * turn + rng.uniform(0, 6))
    squash = 0.1 + 0.9 * hilly
    x = radius * wobble * np.sin(turn)
    y = squash * radius * wobble * (1 - np.cos(turn))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    metres = np.arange(0.0, distance + 50.0)
    laps = metres % along[-1]
    x, y = np.interp(laps, along, x), np.interp(laps, along, y)
    return x, y, height(x, y) * (1.0 if hilly > 0.08 else 0.15)


def positions(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Latitude and longitude [deg] of points of the invented map [m]."""
    return _TOWN[0] + y / _METRES_PER_DEGREE, _TOWN[1] + x / (_METRES_PER_DEGREE * np.cos(np.radians(_TOWN[0])))


def run(planned: Planned, base: Runner, rng: np.random.Generator) -> Samples:
    """Simulate one run: the runner holds effort, so hills change the speed."""
    runner = runner_on(planned.start.date(), base)
    shares = np.concatenate([np.full(round(s), share) for s, share in planned.pieces])
    shares = shares * planned.form if planned.marks else shares
    length = float(shares.sum() * runner.speed_cp * 1.35) + 200
    x, y, z = route(length, planned.hilly, rng)
    slope = np.gradient(np.convolve(np.pad(z, 10, mode="edge"), np.ones(21) / 21, mode="valid"))
    # Nobody goes down hills twice in the same way.
    bold = 0.04 * np.random.default_rng(len(shares) + planned.start.toordinal()).standard_normal()
    easing = np.where(slope < 0, 1.0 + bold * np.clip(-slope / 0.06, 0.0, 1.0), 1.0)
    paces = (slope_effort(slope) * easing / slope_cost(slope)).tolist()
    speed, at = np.empty(len(shares)), np.empty(len(shares))
    where, pace = 0.0, 0.0
    for i, share in enumerate(shares.tolist()):
        aim = share * runner.speed_cp * paces[int(where)]
        pace += (aim - pace) / 4.0
        where += pace
        speed[i], at[i] = pace, where
    grade = np.interp(at, np.arange(len(slope)), slope)
    seconds = np.arange(len(shares))
    pauses: list[tuple[float, float]] = []
    begin = planned.start.timestamp()
    shift = np.zeros(len(shares))
    for stop, length_s in planned.pauses:
        if stop < len(shares) - 60:
            shift[stop:] += length_s
            pauses.append((begin + stop - 1, begin + stop + length_s))
    lat, lon = positions(np.interp(at, np.arange(len(x)), x), np.interp(at, np.arange(len(y)), y))
    wander = np.cumsum(rng.normal(0, 0.25, (2, len(shares))), axis=1)
    wander -= np.linspace(0, 1, len(shares)) * wander[:, -1:]
    columns = {
        "distance": at * (1 + rng.normal(0, 0.004)),
        "speed": np.maximum(speed + rng.normal(0, 0.04, len(speed)), 0),
        "altitude": np.interp(at, np.arange(len(z)), z) + rng.normal(0, 0.15, len(speed)) + rng.normal(0, 2),
        "latitude": lat + 0.3 * wander[0] / _METRES_PER_DEGREE,
        "longitude": lon + 0.3 * wander[1] / _METRES_PER_DEGREE,
        "heart_rate": heart_rate(runner, speed * _cost(planned, len(speed)), grade, planned.temperature, rng),
        "cadence": 2 * np.rint(80 + 4.0 * (speed - 3.0) + rng.normal(0, 0.8, len(speed))),
        "temperature": np.full(len(speed), np.rint(planned.temperature)),
        "stance_time": 0.310 - 0.022 * (speed - 2.5) + rng.normal(0, 0.004, len(speed)),
        "vertical_oscillation": 0.086 - 0.004 * (speed - 3.0) + rng.normal(0, 0.002, len(speed)),
    }
    own = np.random.default_rng(int(begin))  # form differs a little from day to day
    for name, sd in (("cadence", 1.1), ("stance_time", 0.004), ("vertical_oscillation", 0.0015)):
        columns[name] = columns[name] + own.normal(0, sd)
    day = float(np.exp(rng.normal(0, 0.012)))  # how the sensor sits, the shoe, the ground
    if planned.measured:
        columns["power"] = np.rint(day * device_watts(runner, FOOT, speed, grade, rng))
    if planned.both_devices:
        wrist = WRIST if planned.start.date() < UPDATE_DAY else UPDATED
        columns["second_power"] = np.rint(device_watts(runner, wrist, speed, grade, rng))
    _spoil(columns, planned.strap)
    edges = np.concatenate([[0], np.cumsum([round(s) for s, _ in planned.pieces])]).tolist()
    laps = list(pairwise(edges)) if len(planned.pieces) > 6 and ("times" in planned.title or planned.cost) else []
    return Samples(planned, begin + seconds + shift, columns, pauses, laps)


def _cost(planned: Planned, seconds: int) -> Floats:
    """What the heart answers to in each second, against the usual."""
    if not planned.cost:
        return np.ones(seconds)
    return np.concatenate([np.full(round(s), c) for (s, _), c in zip(planned.pieces, planned.cost, strict=True)])


def _spoil(columns: dict[str, Floats], strap: str) -> None:
    """A dry strap reads high and restless for six minutes; an optical sensor starts late and counts steps for a
    while."""
    rate, noise = columns["heart_rate"], np.random.default_rng(len(columns["heart_rate"]))
    if strap == "dry":
        rate[:360] = np.clip(
            rate[:360] + 45 + 4 * noise.standard_normal(360) + np.cumsum(noise.normal(0, 1, 360)), 60, 230
        )
    elif strap == "optical":
        rate[:150] = 82 + np.cumsum(noise.normal(0, 0.2, 150))
        rate[1200:1620] = columns["cadence"][1200:1620] + noise.normal(0, 0.7, 420)


def half_marathon_course(rng: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """The race ahead: latitude, longitude [deg] and altitude [m] of a hilly half marathon, a point every 20 m."""
    x, y, z = route(21_097.5, 0.55, rng)
    keep = np.arange(0, 21_098, 20)
    lat, lon = positions(x[keep], y[keep])
    return lat, lon, z[keep]
