"""What every estimator gives on fixed simulated inputs, number by number.

Truth and coverage are checked elsewhere (reference values, recovery); this holds the very numbers, so that no formula
changes unseen. When one is meant to change: ``python -m tests.analysis.test_held``, and read the difference.
"""

import dataclasses
import datetime as dt
import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from footwork.analysis import (
    agreement,
    capacity_days,
    cleaning,
    conversion,
    drift,
    efforts,
    form,
    heart,
    intervals,
    mixed,
    pairing,
    repeats,
    screening,
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
from tests.held import differences, thinned

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
    "more runs": lambda: [worthwhile.more_runs(m, 1.0, 0.5, 12) for m in (0.1, 1.5, 2.0, 3.0)],
}


@pytest.mark.parametrize("name", CASES)
def test_the_estimate_is_what_it_was(name):
    held = json.loads(HELD.read_text(encoding="utf-8"))[name]
    found = differences(thinned(plain(CASES[name]())), held)
    assert not found, "\n".join(found[:10])


if __name__ == "__main__":
    made = {name: thinned(plain(case())) for name, case in CASES.items()}
    HELD.write_text(json.dumps(made, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")
