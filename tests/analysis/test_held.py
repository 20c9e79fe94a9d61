"""What every estimator gives on fixed simulated inputs, number by number.

Truth and coverage are checked elsewhere (reference values, recovery); this holds the very numbers, so that no formula
changes unseen. When one is meant to change: ``python -m tests.analysis.test_held``, and read the difference.
"""

import dataclasses
import datetime as dt
import json
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from footwork.analysis import (
    agreement,
    capacity_days,
    change_points,
    check,
    cleaning,
    conversion,
    drift,
    editing,
    efforts,
    form,
    heart,
    heart_shares,
    intervals,
    load_response,
    load_sums,
    mixed,
    modelled_power,
    pairing,
    possible,
    repeats,
    response,
    screening,
    settled,
    signs,
    speed,
    summary,
    trial_statistics,
    usual_watts,
    worthwhile,
)
from footwork.demo import season
from footwork.demo.simulate import Runner
from footwork.physiology import curve
from footwork.quantities import plain
from footwork.signals import Lap, PowerStream, Recording, Signals
from tests import devices, everyday, heartfaults, seasons, sessions
from tests.analysis.test_devices import steps
from tests.held import differences, thinned, write

HELD = Path(__file__).with_name("held.json")
RUNNER = Runner()
DAY = dt.date(2026, 3, 1)


def told(value):
    """Anything an estimator returns as plain JSON; arrays by their sums, ends and some of their values."""
    if hasattr(value, "to_json"):
        return plain(value)
    if dataclasses.is_dataclass(value):
        return {f.name: told(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, np.ndarray):
        flat = np.asarray(value, float).ravel()
        known = flat[np.isfinite(flat)]
        some = flat[np.linspace(0, len(flat) - 1, min(len(flat), 7)).astype(int)] if len(flat) else flat
        return [list(value.shape), len(known), float(known.sum()), float((known**2).sum()), plain(some)]
    if isinstance(value, dict):
        return {str(k): told(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [told(v) for v in value]
    return plain(value)


def runs_of(values):
    """A signal of classes as [value, length] pairs."""
    edges = np.flatnonzero(np.diff(values)) + 1
    bounds = np.concatenate([[0], edges, [len(values)]])
    return [[int(values[a]), int(b - a)] for a, b in pairwise(bounds)]


def screened(kind, with_power=True, seed=4242):
    rng = np.random.default_rng(seed)
    rate, power, cadence = heartfaults.trace(rng)
    heartfaults.FAULTS[kind](rate, cadence, rng)
    found = screening.screen(
        rate, power if with_power else np.full(len(power), np.nan), cadence, np.ones(len(rate), bool)
    )
    return [runs_of(found.quality), found.faults]


def nasty():
    """A recording with everything that cleaning mends: order, gaps, pauses, spikes, zeros, a counter that jumps."""
    rng = np.random.default_rng(7)
    t = np.arange(2400.0)
    power = np.rint(220 + 40 * np.sin(t / 120) + rng.normal(0, 6, len(t)))
    moving = power / 70
    altitude = 100 + 15 * np.sin(t / 200) + rng.normal(0, 0.3, len(t))
    columns = {
        "time": 1_770_000_000 + t,
        "power": power,
        "speed": moving.copy(),
        "distance": np.cumsum(moving),
        "altitude": altitude,
        "cadence": np.full(len(t), 172.0),
        "heart_rate": np.rint(140 + 0.1 * (power - 220)),
        "latitude": 45 + t * 2e-5,
        "longitude": 8 + t * 1e-5,
        "temperature": np.full(len(t), 17.0),
        "stance_time": np.full(len(t), 0.25),
        "vertical_oscillation": np.full(len(t), 0.08),
    }
    columns["power"][300] = 1500.0
    columns["power"][500:520] = 0.0
    columns["speed"][800] = 11.0
    columns["altitude"][1000] += 60
    columns["distance"][1200:] += 5000
    columns["stance_time"][50:60] = 0.0
    columns["vertical_oscillation"][70] = 0.9
    keep = np.ones(len(t), bool)
    keep[1300:1307] = keep[1500:1540] = False
    order = np.flatnonzero(keep)
    order[[100, 101]] = order[[101, 100]]
    columns = {k: v[order] for k, v in columns.items()}
    pauses, laps = [(1_770_000_700.0, 1_770_000_760.0)], [Lap(1_770_000_000.0, 1_770_001_000.0)]
    return Recording("running", columns, [PowerStream("power", "x")], pauses, laps)


def signals(pieces, seed=3):
    start = dt.datetime(2026, 4, 6, 8, tzinfo=season.ZONE)
    made = season.run(season.Planned(start, "test", pieces), RUNNER, np.random.default_rng(seed))
    recording = Recording("running", {"time": made.time, **made.columns}, [PowerStream("power", "x")])
    return cleaning.clean(recording, 68.0)[0]


@cache
def blocks(count=14):
    """Minute rows of some runs of one runner, easy and hard."""
    out = []
    for k in range(count):
        pieces = [(600, 0.68), (900 + 60 * k, 0.74 + 0.01 * (k % 5)), (300, 0.9 if k % 3 == 0 else 0.7)]
        out.append(summary.blocks(signals(pieces, seed=900 + k)).astype(float))
    return out


def best():
    rows = []
    for day, pieces in (
        (1000, [(600, 0.7), (720, 1.02)]),
        (1010, [(600, 0.7), (180, 1.2), (600, 0.7)]),
        (1012, [(3600, 0.8)]),
    ):
        made = summary.summarise(signals(pieces, seed=day)).streams[0]
        durations = curve.stored_durations(86400)[: len(made.best)]
        rows.append(
            efforts.Best(
                len(rows), day, str(day), False, durations, made.best.astype(float), made.start.astype(np.int64)
            )
        )
    return rows


def pair_of_signals():
    first = signals([(600, 0.7), (600, 0.95), (600, 0.65), (300, 1.05), (600, 0.7)])
    rng = np.random.default_rng(9)
    n = len(first)
    second = Signals(
        {**first.columns, "time": first["time"] + 4, "power": 1.04 * first["power"] + rng.normal(0, 5, n)},
        first.timer,
        first.streams,
    )
    return first, second


def interval_run(seed):
    return sessions.run(np.random.default_rng(seed))[0]


def lines():
    """Groups of nine points about lines of one slope whose levels differ."""
    x = np.arange(9.0)
    noise = [np.random.default_rng(k).normal(0, 0.3, 9) for k in range(7)]
    return [(np.column_stack([np.ones(9), x]), 3 + 0.5 * x + k + noise[k]) for k in range(7)]


def kinds(signal, second=0):
    """Sessions of every kind, steady runs and lights among them, half on hills and with laps."""
    names = (*sessions.KINDS, "steady", "lights")
    made = [sessions.hard(300 + 50 * second + k, kind, (k + second) % 2 == 1) for k, kind in enumerate(names)]
    return [told(run.divided(signal, laps=k % 3 == 0)) for k, run in enumerate(made)]


def clocks_of(late, by, gap=None):
    """One run on two devices, the second so many seconds ahead, smoother and with holes."""
    rng = np.random.default_rng(17)
    n = 2400
    wave = 3 + np.convolve(rng.normal(0, 0.6, n), np.ones(25) / 5, mode="same")
    other = np.convolve(wave, np.ones(5) / 5, mode="same") + rng.normal(0, 0.1, n)
    second = np.interp(np.arange(n) - late, np.arange(n), other)
    if gap:
        second[gap[0] : gap[1]] = np.nan
    return pairing.lag_between(wave, second, by)


def moved():
    first, second = pair_of_signals()
    both = pairing.common(first, second)
    late = [pairing.shifted(first, lag) for lag in (0.2, 7.4, -3.6)]
    return [told(pairing.drift(*both, "power")), [len(s) for s in both], told(late)]


def year(seed, weeks, gain):
    """A season's heart rate at power: what is prepared of it, its fit, gains and drift."""
    runs, border = seasons.season(np.random.default_rng(seed), gain, weeks=weeks)
    made = settled.prepare(runs, border, few=weeks < 10)
    model = response.fit(made)
    gains, why = response.gain(model, model.days[0], model.days[-1])
    levels = [model.rate(d) for d in np.linspace(model.days[0], model.days[-1], 5)]
    return told([made, levels, why, [gains.mean(), gains.std()], model.drift(), settled.shown(runs, 0.9 * border)])


def skies(count=14):
    rng = np.random.default_rng(31)
    return [usual_watts.Sky(*rng.uniform((0, 0, 0), (28, 8, 360))) if k % 4 else None for k in range(count)]


def against(what):
    """Runs against what was usual before them, with weather and without."""
    rows, of = blocks(18), skies(18)
    made = usual_watts.fit(rows[:14], of[:14], what)
    return told([usual_watts.compare(made, rows[k], of[k], what) for k in range(14, 18)])


def without_meter():
    """Watts by the model from speeds that jump and heights of a satellite."""
    made = cleaning.clean(nasty(), 70.0)[0]
    rng = np.random.default_rng(23)
    rough = made["speed"] + rng.normal(0, 0.3, len(made)) + 4 * (rng.random(len(made)) < 0.01)
    height = made["altitude"] + rng.normal(0, 2.0, len(made))
    noise = modelled_power.height_noise(height)
    power = modelled_power.modelled(rough, made.get("grade"), made.timer, 70.0, noise)
    seconds = np.array([1.0, 10.0, 60.0, 1200.0])
    return told(
        [modelled_power.smooth_speed(rough, made.timer), noise, power, modelled_power.error_over(seconds, power[1])]
    )


def edited():
    """A run cut, joined, left out of, moved, and with another length and incline."""
    made = cleaning.clean(nasty(), 70.0)[0]
    begin = made["time"][0]
    parts = [editing.cut(made, begin + a, begin + b) for a, b in ((0, 700), (760, 1400))]
    changed = [
        editing.join(parts),
        editing.leave_out(made, begin + 100, begin + 200),
        editing.leave_out(made, begin + 100, begin + 200, "power"),
        editing.judge_heart_rate(made, False),
        editing.shift(made, 90.0),
        editing.rescale(made, 5000.0),
        editing.tilt(made, 0.02),
    ]
    return [told(c) for c in changed]


def impossible():
    """Speeds of a vehicle, leaps, and watts that no speed asks for."""
    made = cleaning.clean(nasty(), 70.0)[0]
    columns = {k: v.copy() for k, v in made.columns.items()}
    columns["distance"][900:] += 9.0 * np.minimum(np.arange(len(made) - 900), 240)
    columns["power"][1600:1800] *= 2.4
    by_place = {k: columns[k] for k in ("time", "latitude", "longitude")}
    masks = [possible.too_fast(columns), possible.too_fast(by_place)]
    masks += [possible.beyond_watts(columns, "power", made.timer, mass) for mass in (70.0, None, 45.0)]
    speeds = [made["speed"], np.where(np.arange(len(made)) % 9 == 0, 60.0, 3.0)]
    return [[runs_of(m) for m in masks], [possible.leaps(s) for s in speeds]]


def watched():
    """Half a year of mornings, ill once, with cycles."""
    rng = np.random.default_rng(12)
    days = 180
    bad = np.exp(-0.5 * ((np.arange(days) - 120) / 3.0) ** 2)
    rows = [
        50 + rng.normal(0, 1.5, days) + 6 * bad,
        7 + rng.normal(0, 0.8, days) - 2 * bad,
        rng.normal(0, 1, days) + 2 * bad,
    ]
    rows[0][rng.random(days) < 0.2] = np.nan
    channels = [
        signs.Channel(name, sign, felt, sd, values)
        for name, sign, felt, sd, values in zip(
            ("rate", "sleep", "sore"), (1, -1, 1), (False, False, True), (2.0, 1.0, 1.0), rows, strict=True
        )
    ]
    score, count = signs.scores(channels, 3)
    periods = [8, 36, 66, 120, 149]
    return told(
        [score, count, signs.checks(score, count, {2: 2.2, 3: 2.4}), signs.without_cycle(rows[0], periods, 1.5)]
    )


def loads():
    rng = np.random.default_rng(3)
    way = rng.lognormal(3.5, 0.5, 16)
    ways = [load_sums.calibrate(way * rng.lognormal(0.1, 0.15, 16), way, e) for e in (0.1, 0.25)]
    parts = [load_sums.Part(w, 0.1 + 0.01 * k, (("capacity", load_sums.of_capacity(0.8)),)) for k, w in enumerate(way)]
    return told([ways, [w.applied(60.0) for w in ways], load_sums.summed(parts, {"capacity": np.diag([4e-4, 1e-4])})])


def followed():
    """Tests after loads that come and go, by each model."""
    rng = np.random.default_rng(8)
    load = 30 * (1 + 0.5 * np.sin(np.arange(300) / 14)) * rng.lognormal(0, 0.5, 300)
    days = np.arange(20, 300, 17)
    outcomes = load_response.simulated(rng, days, load, 35.0, 0.06)
    fits = {m: load_response.fit(m, days, outcomes, load) for m in ("M0", "M1", "M2")}
    apart = [load_response.beats(fits[a], fits["M0"]) for a in ("M1", "M2")]
    return told([fits, apart, load_response.why_withheld(days, outcomes, load), load_response.prior_sd()])


def alike():
    rng = np.random.default_rng(2)
    a = rng.normal(250, 30, 60)
    b = 0.97 * a + 9 + rng.normal(0, 6, 60)
    table = np.column_stack([a, b, b + rng.normal(2, 5, 60)])
    slow = np.convolve(b - a, np.ones(7) / 7, mode="same")
    return told(
        [
            agreement.agreement(a, b, "W", ordered=False, error_ratio=1.7),
            agreement.deming(a, b, 0.6),
            agreement.concordance(a, b),
            agreement.repeatability(a, b),
            agreement.intraclass(table),
            agreement.effective_number(slow),
        ]
    )


def best_cadence():
    rng = np.random.default_rng(6)
    cadence = np.tile(np.linspace(160, 190, 7), 5)
    groups = np.repeat(np.arange(5), 7)
    hours = np.tile(np.arange(7) / 8, 5)
    rate = 150 + 0.02 * (cadence - 177) ** 2 + 2.5 * hours + rng.normal(0, 0.6, 35) + groups
    return told(trial_statistics.optimum(cadence, rate, groups, hours))


CASES = {
    **{f"screening {k}": (lambda k=k: screened(k)) for k in heartfaults.FAULTS},
    **{
        f"screening without power {k}": (lambda k=k: screened(k, False)) for k in ("jumps", "cadence lock", "dry strap")
    },
    "cleaning": lambda: told(cleaning.clean(nasty(), 70.0)),
    "summary": lambda: told(summary.summarise(cleaning.clean(nasty(), 70.0)[0])),
    "efforts in power": lambda: [told(intervals.find(interval_run(s), "power")) for s in range(500, 508)],
    "efforts in heart rate": lambda: [
        told(intervals.find(sessions.run(np.random.default_rng(s))[1], "heart_rate")) for s in range(500, 504)
    ],
    "repeats": lambda: told(repeats.grouped(intervals.find(interval_run(503), "power"), None, interval_run(503))),
    "power at speed": lambda: told(speed.fit(blocks(), 68.0)) | {"flat_power": None},
    "held out": lambda: told(speed.held_out(blocks(), 68.0)),
    "usual power": lambda: told(usual_watts.fit(blocks(), [usual_watts.Sky()] * 14)),
    "usual heart rate": lambda: told(usual_watts.fit(blocks(), [usual_watts.Sky()] * 14, "heart_rate")),
    "heart rate at power": lambda: told(heart.heart_rate_at(blocks(), np.random.default_rng(1).normal(240, 5, 500))),
    "form": lambda: told(form.answer([(DAY + dt.timedelta(days=5 * k), b) for k, b in enumerate(blocks())])),
    "agreement": lambda: told(agreement.agreement(*[s["power"] for s in pair_of_signals()], "W")),
    "clocks": lambda: told(pairing.clock_offset(*pair_of_signals())),
    "conversion": lambda: told(
        conversion.learn([devices.pair(np.random.default_rng(s), 1.1, 0.04, 0.01, 40) for s in range(8)])
    ),
    "jumps": lambda: [told(drift.jumps(devices.season(np.random.default_rng(s), 0.04)[0])) for s in range(6)],
    "drift series": lambda: told(drift.series(blocks(), 68.0)),
    "bests": lambda: [told(efforts.maximal_efforts(b)) for b in best()],
    "capacity days": lambda: [
        [told(t.lower_bound), t.kind, None if t.posterior is None else told(t.posterior.long_draws(200))]
        for months in (everyday.habitual_running(3), everyday.season(4, (16, 58), last=120))
        for day in (months.bests[2].day, months.day - 40, months.day)
        for t in [capacity_days.CapacityDays(months.bests).on(day)]
    ],
    "mixed": lambda: told(
        mixed.fit(lines(), [10.0, 10.0], [0.0, 0.0], start=(0.5, 1.0), floor=(0.01, 0.01), robust=True)
    ),
    "trial": lambda: told(seasons.shoe(5)[1]),
    "trial design": lambda: [
        told(trial_statistics.runs_needed(3.0, 1.5, 1.0)),
        told(trial_statistics.power_of(3.0, 1.5, 8, 1.0, 0.975)),
        told(trial_statistics.order(2, 2, 6, 3)),
        told(trial_statistics.run_sd(1.2, 4, 0.8)),
    ],
    "bounds of looks": lambda: [worthwhile.boundary(k, 0.025) for k in (1, 2, 5, 10, 21, 40, 80)],
    "sessions of every kind in power": lambda: [kinds("power"), kinds("power", 1)],
    "sessions of every kind in speed": lambda: [kinds("speed"), kinds("speed", 1)],
    "clocks apart": lambda: [told(clocks_of(*c)) for c in ((0, "a"), (37.4, "b"), (-83, "c"), (5.5, "d", (700, 1300)))],
    "clocks put right": moved,
    "heart rate of a season": lambda: [year(4, 20, 0.03), year(5, 30, 0.0), year(6, 8, 0.0)],
    "usual power in weather": lambda: told(usual_watts.fit(blocks(), skies())),
    "power at speed in weather": lambda: told(speed.fit(blocks(), None, skies())) | {"flat_power": None},
    "power against usual": lambda: [against("power"), against("heart_rate")],
    "modelled watts": without_meter,
    "edited": edited,
    "impossible": impossible,
    "signs": watched,
    "loads": loads,
    "response to load": followed,
    "alike": alike,
    "best cadence": best_cadence,
    "checks": lambda: [
        told([check.find(s), check.measure(s)]) for s in (steps(), steps((2.5, 2.9, 3.6), 300, 5.0, 0.04))
    ],
    "heart rate as shares": lambda: told(heart_shares.line([heart_shares.settled(b, 250.0) for b in blocks()])),
    "heart rate across a jump": lambda: drift.heart_rate_change(blocks()[:7], blocks()[7:], 0.05),
    "pieces": lambda: [
        change_points.change_points(np.repeat([1.0, 2.5, 2.0, 4.0], 25) + lines()[0][1][0], p, 5) for p in (1, 9)
    ],
    "hard part": lambda: [efforts.hard_part(interval_run(s)) for s in range(500, 508)],
    "words of repeats": lambda: [
        repeats.round_seconds(v) for v in (31.0, 62, 118, 133, 171, 297, 605, 911, 1795, 3611)
    ],
    "asked and run": lambda: repeats.align(
        [(180, 300.0), (180, 300), (90, 330), (600, 270)], [(175, 298.0), (60, None), (92, 335.0), (590, 265.0)]
    ),
    "verdicts": lambda: [
        told(worthwhile.decide(m, sd, 1.0, looks=k)) for m in (-3, 0.2, 1.5, 4) for sd in (0.3, 1.1) for k in (1, 9)
    ],
    "more runs": lambda: [worthwhile.more_runs(m, 1.0, 0.5, 12) for m in (0.1, 1.5, 2.0, 3.0)],
}


@pytest.mark.parametrize("name", CASES)
def test_the_estimate_is_what_it_was(name):
    held = json.loads(HELD.read_text(encoding="utf-8"))[name]
    found = differences(thinned(plain(CASES[name]())), held)
    assert not found, "\n".join(found[:10])


if __name__ == "__main__":
    made = {name: thinned(plain(case())) for name, case in CASES.items()}
    write(HELD, made)
