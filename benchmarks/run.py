"""Measure what the README promises, each against what a user would otherwise do, in one run.

``python -m benchmarks.run [--recordings 1000] [--runs 3000]`` prints a table; paste it into benchmarks/README.md.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import subprocess
import sys
import tempfile
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks.drawn import bench_drawn
from benchmarks.questions import bench_devices, bench_progress, bench_race, bench_sessions
from benchmarks.timing import Memory, command, decode_with_fitdecode, decode_with_fitfast, seconds_of
from footwork.demo import season, write
from footwork.demo.simulate import Runner

SHAPES = 12
QUESTIONS = (
    "--help",
    "today",
    "runs",
    "show 5",
    "efforts 5",
    "capacity",
    "numbers",
    "usual",
    "progress",
    "power-at-speed",
    "devices",
    "race --distance half",
    "session list",
    "trial list",
    "diary",
    "places",
    "athlete",
    "methods",
    "check-up",
)


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


def bench_import(scratch: Path, count: int) -> list[tuple[str, str, str]]:
    folder = scratch / "hours"
    recordings(folder, count, 3600)
    files = sorted(folder.iterdir())
    sample = files[:: max(count // 100, 1)]
    plain, rust = (decode(sample) * len(files) / len(sample) for decode in (decode_with_fitdecode, decode_with_fitfast))
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
            f"({plain:.0f} s, from {len(sample)} of them), "
            f"{taken / rust:.1f} times as long as with fitfast ({rust:.0f} s)",
        ),
        ("memory of that import, all processes", f"{peak:.0f} MB", "budget 800 MB"),
    ]


def bench_small(scratch: Path, count: int) -> list[tuple[str, str, str]]:
    """Many recordings of a minute in one archive, against unpacking and decoding them alone."""
    from footwork.formats import archive, read

    path = scratch / "small.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for k in range(count):
            day = np.datetime64("2010-01-01") + k
            rows = [f"{day}T08:{s // 60:02}:{s % 60:02}Z,{200 + s % 9},{140 + s % 5}" for s in range(60)]
            made.writestr(f"{k}.csv", "\n".join(["time,power,heart_rate", *rows]))
    begin = time.perf_counter()
    for member in archive.members(path):
        for name, data in archive.unpack(path, member):
            read(data, name)
    decoded = time.perf_counter() - begin
    ask = command("--library", str(scratch / "small-library"), "add", str(path), "--json")
    taken = seconds_of(lambda: subprocess.run(ask, stdout=subprocess.DEVNULL, check=True), 1)
    told = f"{taken / decoded:.1f} times as long as one process only decoding them ({decoded:.1f} s); budget 10 s"
    return [(f"import and analyse {count} recordings of a minute in one archive", f"{taken:.1f} s", told)]


def bench_real(scratch: Path, folder: Path) -> list[tuple[str, str, str]]:
    """A folder of real recordings of all formats, imported into a new library."""
    from footwork.errors import FootworkError
    from footwork.formats import archive, read

    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.name.lower().endswith(archive.ENDINGS))
    begin = time.perf_counter()
    for path in files:
        try:
            read(path.read_bytes(), path.name)
        except FootworkError:
            continue
    decoded = time.perf_counter() - begin
    ask = command("--library", str(scratch / "real-library"), "add", str(folder), "--json")
    taken = seconds_of(lambda: subprocess.run(ask, stdout=subprocess.DEVNULL, check=False), 1)
    return [
        (
            f"import and analyse {len(files)} real files in a new library",
            f"{taken:.1f} s",
            f"{taken / decoded:.1f} times as long as one process only decoding them ({decoded:.1f} s)",
        )
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
    for question in QUESTIONS:
        words = command("--library", str(library), *question.split())
        ask = lambda words=words: subprocess.run(words, stdout=subprocess.DEVNULL, check=True)  # type: ignore[misc] # noqa: E731
        first, again = seconds_of(ask, 1), seconds_of(ask, 5)
        told = f"{again / bare:.1f} times a bare interpreter, {first:.1f} s at first; budget 0.6 s"
        out.append((f"footwork {question}, {count} runs, nothing changed", f"{again:.2f} s", told))
    return out


def ten_years(scratch: Path, count: int) -> Path:
    """A library of many runs of which every fourth is a session and every 45th a marked test, with an accepted CP."""
    from footwork.api import Library

    rng, runner = np.random.default_rng(7), Runner()
    start = dt.datetime(2016, 1, 1, 8, tzinfo=dt.UTC)
    easy = [[(100, float(s)) for s in rng.uniform(0.65, 0.85, 12)] for _ in range(9)]
    session = [(400, 0.7), *[(180.0, 1.06), (90.0, 0.6)] * 3, (200, 0.65)]
    plans = [*easy, *[session] * 3, season.test_pieces(runner, (180, 720))]
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
    """The whole history refitted, and every page before and after one new run."""
    from footwork.api import Library

    folder = ten_years(scratch, count)
    with Library.open(folder) as library:
        whole = seconds_of(library.history, 1)
    # A new process, as after a new run: the days before the newest run are kept, the rest is worked out anew.
    with Library.open(folder) as library:
        library.runs()
        again = seconds_of(lambda: (library.capacity(), library.history()), 1)
    out = [
        (f"CP of every day of a history of {count} runs, from the first", f"{whole:.1f} s", "asked: 3 s"),
        (
            "CP of today and every day, refitted from the days kept",
            f"{again:.2f} s",
            f"{whole / again:.0f} times faster than from the first; asked: 0.1 s",
        ),
    ]
    return out + bench_drawn(folder, scratch / "new.fit", count)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--recordings", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=3000)
    parser.add_argument("--real", type=Path, help="a folder of real recordings")
    asked = parser.parse_args()
    rows = bench_curve() + bench_race() + bench_sessions() + bench_progress(asked.runs)
    with tempfile.TemporaryDirectory() as scratch:
        rows += bench_import(Path(scratch), asked.recordings)
        rows += bench_small(Path(scratch), 5 * asked.recordings)
        rows += bench_real(Path(scratch), asked.real) if asked.real else []
        rows += bench_commands(Path(scratch), asked.runs)
        rows += bench_history(Path(scratch), asked.runs)
        rows += bench_devices(Path(scratch))
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, {dt.date.today()}\n")
    print("| what | measured | against |\n|---|---|---|")
    for row in rows:
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
