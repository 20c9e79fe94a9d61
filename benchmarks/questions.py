"""Devices, races, sessions and progress, each against what a user would otherwise do."""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks.timing import decode_with_fitdecode, seconds_of
from footwork.demo import season, write
from footwork.demo.simulate import Runner


def bench_devices(scratch: Path) -> list[tuple[str, str, str]]:
    """Two recordings of two hours compared, and power at speed refitted from a thousand runs' cached minutes."""
    from footwork.analysis import speed
    from footwork.analysis.usual_watts import Sky
    from footwork.api import Library
    from footwork.history.scales import conversions
    from footwork.questions import devices

    start = dt.datetime(2026, 4, 1, 8, tzinfo=dt.UTC)
    base = season.run(
        season.Planned(start, "bench", [(600.0, s) for s in (0.7, 0.8, 0.75, 0.9) * 3], 0.5),
        Runner(),
        np.random.default_rng(1),
    )
    noise = np.random.default_rng(2).normal(0, 8, len(base.time))
    other = replace(
        base,
        time=base.time + 5,
        columns={**base.columns, "power": np.rint(np.clip(1.1 * base.columns["power"] + noise, 0, None))},
    )
    pair = [scratch / "first.fit", scratch / "second.fit"]
    for path, samples, serial in zip(pair, (base, other), (1001, 2002), strict=True):
        path.write_bytes(write.fit_bytes([("running", samples)], serial, serial))
    devices.compare_files(pair)
    taken, plain = seconds_of(lambda: devices.compare_files(pair), 3), decode_with_fitdecode(pair)
    with Library.open(scratch / "ten-years-library") as library:
        key = next(r.scale_key for r in library.runs() if r.measured)
        rows = conversions.rows_on_scale(library, key or "")[:1000]
        blocks, skies = [r.blocks for r in rows], [Sky(12.0, 3.0, float(7 * i % 360)) for i in range(len(rows))]
    fitted = seconds_of(lambda: speed.fit(blocks, 68.0, skies), 3)
    every = np.concatenate(blocks)
    return [
        (
            "compare two 2 h recordings, files to verdict",
            f"{taken:.2f} s",
            f"{plain / taken:.1f} times faster than only decoding both with fitdecode ({plain:.1f} s); budget 1.5 s",
        ),
        (
            f"refit power at speed over {len(rows)} runs, {len(every)} cached minutes",
            f"{fitted:.2f} s",
            f"{plain / 2 * len(rows) / fitted:.0f} times faster than decoding as many two-hour files again; budget 5 s",
        ),
    ]


def bench_race() -> list[tuple[str, str, str]]:
    """The quickest plan over a hilly marathon in segments of 50 m, against a general optimiser on a far coarser
    course."""
    from scipy.optimize import minimize

    from footwork.analysis import speed
    from footwork.planning import pacing
    from footwork.planning.course import Course

    def marathon(count: int) -> Course:
        x = (np.arange(count) + 0.5) * 42_195 / count
        grade = 0.03 * np.sin(2 * np.pi * x / 4400) + 0.015 * np.sin(2 * np.pi * x / 1450)
        return Course(np.full(count, 42_195 / count), grade, 3 * np.cos(2 * np.pi * x / 42_195), np.full(count, 1.225))

    engine = pacing.Engine(280.0, 15_000.0, 0.065, speed.prior(68.0).power, 68.0)
    fine, coarse = marathon(844), marathon(40)
    pacing.quickest(engine, coarse)  # imports
    begin = time.perf_counter()
    _, solved = pacing.quickest(engine, fine)
    taken = time.perf_counter() - begin
    start = pacing.even_power(engine, coarse).speed
    begin = time.perf_counter()
    minimize(
        lambda v: float((coarse.length / v).sum()),
        start * 0.99,
        method="SLSQP",
        constraints={"type": "ineq", "fun": lambda v: [float(pacing.at_speed(engine, coarse, v).endurance[-1])]},
    )
    plain = time.perf_counter() - begin
    asked, slider, rested = bench_sliders()
    return [
        (
            "a slider moved: even power of a hilly marathon, with its chance of running dry",
            f"{1000 * slider:.0f} ms",
            f"{asked / slider:.0f} times quicker than asking for the plan again ({asked:.2f} s); budget 150 ms",
        ),
        (
            "a slider at rest: its quickest plan",
            f"{1000 * rested:.0f} ms",
            f"{asked / rested:.1f} times quicker than asking again; budget 1 s",
        ),
        (
            "quickest plan of a hilly marathon, 844 segments",
            f"{taken:.2f} s",
            f"{solved.status}, residual {solved.residual:.0e}, {solved.seconds:.2f} s in the solver; "
            f"{plain * 844 / 40 / taken:.1f} times faster a segment than SLSQP on 40 segments ({plain:.1f} "
            "s); budget 1 s",
        ),
    ]


def bench_sessions() -> list[tuple[str, str, str]]:
    """Efforts of a three-hour run, against a general library's exact method on the same bins; and the preview of a
    session."""
    import ruptures

    from footwork.analysis import intervals
    from footwork.api import Library

    rng = np.random.default_rng(7)
    pieces = np.concatenate(
        [np.full(1800, 200.0), *[np.concatenate([np.full(300, 280.0), np.full(180, 190.0)])] * 18, np.full(360, 190.0)]
    )
    power = pieces * (1 + 0.05 * rng.standard_normal(len(pieces)))
    intervals.find(power)
    found = seconds_of(lambda: intervals.find(power), 5)
    bins = np.log(power[: len(power) // 30 * 30].reshape(-1, 30).mean(axis=1))
    plain = seconds_of(lambda: ruptures.Dynp(model="l2", min_size=2, jump=1).fit(bins).predict(n_bkps=20), 1)
    text = "15 min easy, 5 x (4 min at 105 % CP, 2 min easy jog), 10 min easy"
    with Library.from_nothing() as library:
        stated = {"efforts": ("3:00=361", "12:00=300"), "mass": 68.0}
        library.session(text, **stated)
        shown = seconds_of(lambda: library.session(text, **stated), 5)
    return [
        (
            f"efforts of a {len(power) / 3600:.0f} h run, to the second",
            f"{1000 * found:.0f} ms",
            f"{plain / found:.0f} times quicker than exact dynamic programming on bins of 30 s ({plain:.1f} "
            "s); budget 300 ms",
        ),
        ("preview of a session of twelve steps, with its kinder version", f"{1000 * shown:.0f} ms", "budget 100 ms"),
    ]


def bench_progress(count: int) -> list[tuple[str, str, str]]:
    """Heart rate's response refitted over many runs, against a general library's mixed model on the same columns, by
    its share of the runs."""
    import statsmodels.api as sm
    from tests import seasons

    from footwork.analysis import response

    runs, border = seasons.season(np.random.default_rng(1), 0.03)
    many = [replace(r, day=r.day + 140 * (k // len(runs))) for k, r in enumerate(runs * (count // len(runs) + 1))][
        :count
    ]
    begin = time.perf_counter()
    prepared = response.prepare(many, border)
    model = response.fit(prepared)
    whole = time.perf_counter() - begin
    held = seconds_of(lambda: response.fit(prepared, held=(model.run_sd, model.drift_sd, model.walk)), 3)
    few = many[:100]
    x, y, groups = [], [], []
    for k, run in enumerate(few):
        answered, since = response.answered(run.blocks[:, 1], run.blocks[:, 0], model.tau, model.border)
        kept = response.usable(run, answered, since, border)
        x.append(np.delete(response.design(run, answered, kept, model.power, few[0].day), [8, 9, 10, 11, 12], axis=1))
        y.append(run.blocks[kept][:, 4])
        groups += [k] * int(kept.sum())
    design, rate = np.concatenate(x), np.concatenate(y)
    design = design[:, np.ptp(design, axis=0) + (np.arange(design.shape[1]) == 0) > 0]
    begin = time.perf_counter()
    sm.MixedLM(rate, design, groups=groups, exog_re=design[:, [0]]).fit(reml=True)
    theirs = (time.perf_counter() - begin) * count / len(few)
    return [
        (
            f"progress: heart rate at power refitted over {count} runs from stored minutes",
            f"{whole:.1f} s",
            f"{theirs / whole:.1f} times quicker than statsmodels' MixedLM without a season (from {len(few)} "
            "runs); budget 10 s",
        ),
        ("progress: a further run, variances held", f"{1000 * held:.0f} ms", "budget 1 s"),
    ]


def bench_sliders() -> tuple[float, float, float]:
    """Seconds of a whole race plan over a hilly marathon, and of even power and the quickest plan after a change."""
    from footwork.api import Library
    from footwork.history.conditions.race_weather import Weather
    from footwork.questions import race
    from footwork.questions.race import Change
    from footwork.signals import Course

    way = np.linspace(0, 42_195, 4220)
    angle = 2 * np.pi * way / way[-1]
    course = Course(
        47 + 0.06 * np.sin(angle),
        8 + 0.088 * np.cos(angle),
        way,
        400 + 30 * np.sin(2 * np.pi * way / 4400),
        "benchmark",
    )
    question = {
        "course": course,
        "weather": Weather(wind=3.0, wind_from=240.0),
        "efforts": ("3:00=361", "12:00=300"),
        "mass": 68.0,
    }
    with Library.from_nothing() as library:
        plan = library.race(**question)
        asked = seconds_of(lambda: library.race(**question), 3)
    change = Change(critical_power=1.02, wind=2.0)
    return (
        asked,
        seconds_of(lambda: race.even_power(plan, change), 5),
        seconds_of(lambda: race.optimum(plan, change), 3),
    )
