"""Measure what the README promises, each against what a user would otherwise do, in one run.

``python -m benchmarks.run [--recordings 1000] [--runs 3000]`` prints a table; paste it into benchmarks/README.md.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import psutil

from footwork.demo import season, write
from footwork.demo.simulate import Runner

SHAPES = 12


def recordings(folder: Path, count: int, seconds: int) -> None:
    """Distinct recordings: a dozen simulated runs, each put on many days with noise of its own."""
    folder.mkdir(parents=True)
    rng = np.random.default_rng(7)
    start = dt.datetime(2016, 1, 1, 8, tzinfo=dt.UTC)
    shapes = []
    for i in range(SHAPES):
        pieces = [(seconds / 12, float(s)) for s in rng.uniform(0.65, 1.02, 12)]
        shapes.append(season.run(season.Planned(start, "bench", pieces, 0.3), Runner(), np.random.default_rng(i)))
    for i in range(count):
        base = shapes[i % SHAPES]
        columns = {**base.columns, "power": np.rint(base.columns["power"] + rng.normal(0, 2, len(base.time)))}
        shifted = replace(base, time=base.time + 86_400.0 * i, columns=columns)
        (folder / f"{i:05}.fit").write_bytes(write.fit_bytes([("running", shifted)], 1001, 77001))


def decode_with_fitdecode(files: list[Path]) -> float:
    """Seconds one process needs to decode these files and look at every field."""
    import fitdecode

    begin = time.perf_counter()
    for path in files:
        with fitdecode.FitReader(str(path)) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage):
                    for item in frame.fields:
                        item.value  # noqa: B018
    return time.perf_counter() - begin


class Memory:
    """Highest resident memory of a process and its children, sampled ten times a second."""

    def __init__(self, pid: int) -> None:
        self.peak = 0
        self._process = psutil.Process(pid)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._stop.wait(0.1):
            try:
                family = [self._process, *self._process.children(recursive=True)]
                self.peak = max(self.peak, sum(p.memory_info().rss for p in family))
            except psutil.Error:
                continue

    def stop(self) -> float:
        self._stop.set()
        self._thread.join()
        return self.peak / 2**20


def command(*args: str) -> list[str]:
    return [str(Path(sys.executable).with_name("footwork")), *args]


def seconds_of(call: Callable[[], object], times: int = 5) -> float:
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def bench_import(scratch: Path, count: int) -> list[tuple[str, str, str]]:
    folder = scratch / "hours"
    recordings(folder, count, 3600)
    files = sorted(folder.iterdir())
    sample = files[:: max(count // 100, 1)]
    plain = decode_with_fitdecode(sample) * len(files) / len(sample)
    begin = time.perf_counter()
    child = subprocess.Popen(
        command("--library", str(scratch / "hours-library"), "add", str(folder), "--json"), stdout=subprocess.DEVNULL
    )
    memory = Memory(child.pid)
    child.wait()
    taken, peak = time.perf_counter() - begin, memory.stop()
    return [
        (
            f"import and analyse {count} one-hour FIT recordings, 2 processes",
            f"{taken:.1f} s",
            f"{plain / taken:.1f} times faster than one process only decoding them with fitdecode "
            f"({plain:.0f} s, from {len(sample)} of them)",
        ),
        ("memory of that import, all processes", f"{peak:.0f} MB", "budget 800 MB"),
    ]


def bench_curve() -> list[tuple[str, str, str]]:
    from footwork.physiology.curve import mean_maximal

    power = np.clip(np.random.default_rng(1).normal(230, 45, 10_800), 0, None)

    def plainly() -> list[float]:
        total = np.concatenate([[0.0], np.cumsum(power)])
        return [float((total[d:] - total[:-d]).max() / d) for d in range(1, len(power) + 1)]

    ours, theirs = seconds_of(lambda: mean_maximal(power)), seconds_of(plainly, 3)
    return [
        (
            "mean maximal power of 3 h, every second",
            f"{1000 * ours:.0f} ms",
            f"{theirs / ours:.1f} times faster than the cumulative sum in floats; budget 60 ms",
        )
    ]


def bench_commands(scratch: Path, count: int) -> list[tuple[str, str, str]]:
    folder, library = scratch / "short", scratch / "short-library"
    recordings(folder, count, 1200)
    subprocess.run(
        command("--library", str(library), "add", str(folder), "--json"), stdout=subprocess.DEVNULL, check=True
    )
    bare = seconds_of(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True), 7)
    out = []
    for name, args, budget in (
        ("footwork --help", ["--help"], 0.4),
        (f"footwork runs, {count} runs", ["--library", str(library), "runs"], 0.8),
    ):
        taken = seconds_of(lambda args=args: subprocess.run(command(*args), stdout=subprocess.DEVNULL, check=True), 7)  # type: ignore[misc]
        out.append((name, f"{taken:.2f} s", f"{taken / bare:.1f} times a bare interpreter; budget {budget} s"))
    return out + bench_pages(library, count)


def bench_pages(library: Path, count: int) -> list[tuple[str, str, str]]:
    import httpx

    child = subprocess.Popen(
        command("--library", str(library), "serve", "--port", "0"),
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "CI": "1"},
    )
    out = []
    try:
        assert child.stdout is not None
        found = re.search(r"http://[\d.:]+", child.stdout.readline())
        assert found
        with httpx.Client(base_url=found.group(), timeout=60) as client:
            for path in (
                "/",
                "/runs",
                "/runs?by=week",
                "/runs/1500",
                "/usual",
                "/progress",
                "/capacity",
                "/race",
                "/devices",
                "/power-at-speed",
                "/diary",
                "/library",
                "/settings",
                "/methods",
            ):
                begin = time.perf_counter()
                client.get(path)
                first = time.perf_counter() - begin
                taken = seconds_of(lambda path=path: client.get(path), 11)  # type: ignore[misc]
                out.append(
                    (
                        f"page {path}, {count} runs",
                        f"{1000 * taken:.0f} ms",
                        f"first time {1000 * first:.0f} ms; budget 200 ms",
                    )
                )
    finally:
        child.terminate()
        child.wait(10)
    return out


def ten_years(scratch: Path, count: int) -> Path:
    """A library of many runs of which every fourth is a session and every 45th a marked test, with an accepted CP."""
    from footwork.api import Library

    rng, runner = np.random.default_rng(7), Runner()
    start = dt.datetime(2016, 1, 1, 8, tzinfo=dt.UTC)
    easy = [[(100, float(s)) for s in rng.uniform(0.65, 0.85, 12)] for _ in range(9)]
    session = [(400, 0.7), *[(180.0, 1.06), (90.0, 0.6)] * 3, (200, 0.65)]
    plans = [*easy, *[session] * 3, season._test(runner, (180, 720))]
    shapes = [
        season.run(season.Planned(start, "bench", p, 0.3), runner, np.random.default_rng(i))
        for i, p in enumerate(plans)
    ]
    files, tests = scratch / "ten-years", []
    files.mkdir()
    for i in range(count + 1):
        tested = i % 45 == 44
        base = shapes[-1] if tested else shapes[9 + i // 4 % 3] if i % 4 == 0 else shapes[i % 9]
        power = base.columns["power"] * (1 + 0.01 * rng.standard_normal()) + rng.normal(0, 2, len(base.time))
        shifted = replace(base, time=base.time + 103_680 * i, columns={**base.columns, "power": np.rint(power)})
        (files / f"{i:05}.fit").write_bytes(write.fit_bytes([("running", shifted)], 1001, 77001))
        if tested:
            tests.append(float(shifted.time[0]))
    (files / f"{count:05}.fit").rename(scratch / "new.fit")
    folder = scratch / "ten-years-library"
    subprocess.run(
        command("--library", str(folder), "add", str(files), "--json"), stdout=subprocess.DEVNULL, check=True
    )
    with Library.open(folder) as library:
        library.athlete.set(start.date(), mass=runner.mass)
        number = {dt.datetime.fromisoformat(r.start).timestamp(): r.id for r in library.runs()}
        for at in tests:
            library.mark(number[round(at)], "test")
        library.accept(280.0, dt.date(2018, 1, 1))
    return folder


def bench_history(scratch: Path, count: int) -> list[tuple[str, str, str]]:
    """The whole history refitted, and every page right after one new run."""

    import httpx

    from footwork.api import Library

    folder = ten_years(scratch, count)
    with Library.open(folder) as library:
        begin = time.perf_counter()
        library.history()
        whole = time.perf_counter() - begin
    out = [(f"CP of every day of a history of {count} runs, from the first", f"{whole:.1f} s", "budget 15 s")]
    child = subprocess.Popen(
        command("--library", str(folder), "serve", "--port", "0"),
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "CI": "1"},
    )
    try:
        assert child.stdout is not None
        found = re.search(r"http://[\d.:]+", child.stdout.readline())
        assert found
        with httpx.Client(base_url=found.group(), timeout=60) as client:
            pages = ("/capacity", "/", "/runs", "/runs?by=week", "/usual", "/race", "/diary", "/library")
            for page in pages:
                client.get(page)
            begin = time.perf_counter()
            subprocess.run(
                command("--library", str(folder), "add", str(scratch / "new.fit"), "--json"),
                stdout=subprocess.DEVNULL,
                check=True,
            )
            added = time.perf_counter() - begin
            taken = {}
            for page in pages:
                begin = time.perf_counter()
                client.get(page)
                taken[page] = time.perf_counter() - begin
            slowest = max(taken, key=lambda p: taken[p])
    finally:
        child.terminate()
        child.wait(10)
    total = sum(taken.values())
    return [
        *out,
        (f"footwork add, one new run on {count}", f"{added:.2f} s", "a process of its own"),
        (
            f"all {len(pages)} pages with numbers, one after the other, right after it",
            f"{total:.2f} s",
            f"slowest {slowest}, {taken[slowest]:.2f} s; {whole / total:.1f} times faster than the refit "
            "alone; budget 2 s",
        ),
    ]


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
    pacing.best(engine, coarse)  # imports
    begin = time.perf_counter()
    _, solved = pacing.best(engine, fine)
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


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--recordings", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=3000)
    asked = parser.parse_args()
    rows = bench_curve() + bench_race() + bench_sessions() + bench_progress(asked.runs)
    with tempfile.TemporaryDirectory() as scratch:
        rows += bench_import(Path(scratch), asked.recordings)
        rows += bench_commands(Path(scratch), asked.runs)
        rows += bench_history(Path(scratch), asked.runs)
        rows += bench_devices(Path(scratch))
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, {dt.date.today()}\n")
    print("| what | measured | against |\n|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
