"""Two importers, a server and its readers on one library at once."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

from benchmarks.drawn import served

from footwork.api import Library
from footwork.maintenance.check_up import check_library

PAGES = (
    "/",
    "/runs",
    "/capacity",
    "/usual",
    "/week",
    "/runs/1",
    "/today.json",
    "/runs.json",
    "/capacity.json",
    "/diary",
)
LONGEST_S = 2.0
LOOKS_S = 0.5  # of a reader at a page; none connects as a browser does


@dataclass
class Crowd:
    """Answers by their seconds, what was wrong with them, how many imports ended and how many found another at work."""

    took: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    imports: int = 0
    busy: int = 0

    def slow(self) -> int:
        """Answers over the limit."""
        return sum(t > LONGEST_S for t in self.took)


def attack(files: Path, work: Path, seconds: float) -> Crowd:
    """Half of the files are there; the two importers add the rest again and again, while three readers read."""
    out, place = Crowd(), work / "crowd"
    shutil.rmtree(place, ignore_errors=True)
    names = sorted(files.iterdir())
    for part, chosen in (("first", names[: len(names) // 2]), ("all", names)):
        (place / part).mkdir(parents=True)
        for path in chosen:
            shutil.copy(path, place / part)
    with Library.open(place / "library") as library:
        library.add([place / "first"])
    with served(place / "library") as address:
        until = time.monotonic() + seconds
        readers = [threading.Thread(target=_read, args=(address, until, k, out)) for k in range(3)]
        importers = [threading.Thread(target=_import, args=(place, until, out)) for _ in range(2)]
        for thread in (*readers, *importers):
            thread.start()
        for thread in (*readers, *importers):
            thread.join()
    with Library.open(place / "library") as library:
        if len(library.known_files()) != len(names) or len(library.runs()) != len(names):
            out.faults.append(f"{len(library.runs())} runs of {len(names)} files")
    out.faults += check_library(place / "library")["problems"]
    shutil.rmtree(place)
    return out


def _read(address: str, until: float, start: int, out: Crowd) -> None:
    k = start
    while time.monotonic() < until:
        page = PAGES[k % len(PAGES)]
        k += 1
        begun = time.monotonic()
        try:
            with urllib.request.urlopen(address + page, timeout=30) as answer:
                answer.read()
        except urllib.error.HTTPError as error:
            if error.code >= 500:
                out.faults.append(f"{page}: {error.code}")
        except OSError as error:
            out.faults.append(f"{page}: {error}")
        out.took.append(time.monotonic() - begun)
        time.sleep(LOOKS_S)


def _import(place: Path, until: float, out: Crowd) -> None:
    while time.monotonic() < until:
        command = [sys.executable, "-m", "footwork", "--library", str(place / "library"), "add", str(place / "all")]
        done = subprocess.run([*command, "--json"], capture_output=True, text=True, check=False)
        if done.returncode == 0 and not json.loads(done.stdout)["failed"]:
            out.imports += 1
        elif done.returncode == 4 and "another import" in done.stderr:
            out.busy += 1
            time.sleep(0.3)
        else:
            out.faults.append(f"add ended with {done.returncode}: {done.stderr.strip()[-100:]}")
