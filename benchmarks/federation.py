"""Many libraries: a squad of fifteen, and a simulated federation on a Dask scheduler with worker processes.

``python -m benchmarks.federation [--distinct 40] [--runs 100] [--sizes 100 500 2000] [--workers 2] [--keep FOLDER]``
prints rows for benchmarks/README.md. Libraries are copied from distinct ones, so that only what each task does counts.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime as dt
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import psutil

from footwork import Library, Squad
from footwork.demo import season, write
from footwork.demo.simulate import draw_runner
from footwork.squad.federation import refresh

LAST = dt.date(2026, 8, 30)


def distinct(folder: Path, count: int, runs: int) -> list[Path]:
    """Libraries of as many drawn runners, each with so many runs of twenty to fifty minutes and two tests."""
    made = []
    for number in range(count):
        rng = np.random.default_rng(number)
        runner = draw_runner(rng)
        files = folder / f"files{number}"
        files.mkdir(parents=True)
        for k in range(runs):
            day = LAST - dt.timedelta(days=2 * k)
            tested = k in (3, 30)
            easy = season.steady(1200 + 300 * (k % 6), 0.71, rng)
            pieces = season.test_pieces(runner, (180, 720)) if tested else easy
            start = dt.datetime.combine(day, dt.time(8, 0), season.ZONE)
            marks = ("test",) if tested else ()
            samples = season.run(season.Planned(start, "run", pieces, 0.2, marks), runner, rng)
            content = write.fit_bytes([("running", samples)], 5000 + number, 9000 + number)
            (files / f"{day}.fit").write_bytes(content)
        place = folder / f"d{number}"
        with Library.open(place) as library:
            library.athlete.set(LAST - dt.timedelta(days=2 * runs), mass=round(runner.mass))
            library.add([files], workers=2)
            for row in library.runs():
                if (LAST - row.local.date()).days in (6, 60):
                    library.mark(row.id, "test")
        shutil.rmtree(files)
        made.append(place)
    return made


@contextlib.contextmanager
def cluster(workers: int) -> Iterator[str]:
    """A scheduler and worker processes; its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    # Dask's own profiler keeps a tree of calls for every second of the last hour: half a megabyte a library.
    bare = {**os.environ, "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False"}
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": bare}
    base = [sys.executable, "-m"]
    words = ["distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]
    running = [subprocess.Popen([*base, *words], **quiet)]
    try:
        for _ in range(workers):
            words = ["distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny"]
            running.append(subprocess.Popen([*base, *words], **quiet))
        time.sleep(8.0)
        yield address
    finally:
        for process in running:
            process.kill()
            process.wait()


def _memory() -> float:
    """Resident memory of this process and all below it. [MB]"""
    me = psutil.Process()
    return sum(p.memory_info().rss for p in [me, *me.children(recursive=True)]) / 2**20


def _size(folder: Path) -> int:
    return sum(f.stat().st_size for f in folder.rglob("*") if f.is_file())


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--distinct", type=int, default=40)
    asked.add_argument("--runs", type=int, default=100)
    asked.add_argument("--sizes", type=int, nargs="+", default=[100, 500, 2000])
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--keep", type=Path, help="A folder where the distinct libraries are kept, to be taken again.")
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        known = told.keep or Path(place)
        made = [p for p in (known / f"d{k}" for k in range(told.distinct)) if p.exists()]
        if len(made) < told.distinct:
            made = distinct(known, told.distinct, told.runs)
        size = np.mean([_size(p) for p in made])
        what = f"{told.distinct} distinct libraries of {told.runs} runs"
        print(f"{what}, {size / 1e6:.1f} MB each, {os.cpu_count()} cores")
        _squad(Path(place) / "squad", made)
        rates = []
        with cluster(told.workers) as address:
            for count in told.sizes:
                folder = Path(place) / f"n{count}"
                for k in range(count):
                    shutil.copytree(made[k % len(made)], folder / f"r{k:05d}")
                peak = [0.0]
                began = time.monotonic()
                found = refresh(
                    Squad([folder]),
                    date=LAST,
                    scheduler=address,
                    progress=lambda done, total, name, peak=peak: peak.__setitem__(0, max(peak[0], _memory())),
                )
                took = time.monotonic() - began
                rates.append(took / count)
                print(
                    f"| a federation of {count} libraries, {told.workers} Dask workers | {took:.1f} s, "
                    f"{1000 * took / count:.0f} ms a library | {len(found.rows)} rows, {len(found.failed)} failed; "
                    f"{100 * (rates[-1] / rates[0] - 1):+.0f} % a library against {told.sizes[0]}; memory of all "
                    f"processes {peak[0]:.0f} MB |"
                )
                shutil.rmtree(folder)


def _squad(folder: Path, made: list[Path]) -> None:
    """Fifteen runners, cold and warm, against asking each library's first page."""
    for k in range(15):
        shutil.copytree(made[k % len(made)], folder / f"r{k}")
    words = [sys.executable, "-m", "footwork", "squad", str(folder), "--date", str(LAST)]
    times = []
    for _ in range(2):
        began = time.monotonic()
        subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
        times.append(time.monotonic() - began)
    began = time.monotonic()
    for k in range(3):
        one = [sys.executable, "-m", "footwork", "--library", str(folder / f"r{k}"), "today", "--date", str(LAST)]
        subprocess.run(one, check=True, stdout=subprocess.DEVNULL)
    each = 5 * (time.monotonic() - began)
    print(
        f"| squad of fifteen, nothing kept | {times[0]:.1f} s | {each / times[0]:.1f} times quicker than `today` for "
        f"each ({each:.0f} s, from three of them); budget 6 s |"
    )
    print(f"| squad of fifteen, nothing changed | {times[1]:.2f} s | {each / times[1]:.0f} times quicker; budget 1 s |")


if __name__ == "__main__":
    main()
