"""SIGKILL at random moments: nothing lost, nothing doubled, and the next command finds a sound library."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from footwork.api import Library
from footwork.errors import FootworkError
from footwork.maintenance.check_up import check_library
from footwork.store import scratch

WORDS = "four plain words here"


@dataclass
class Killed:
    """How often a command was killed in the middle, how often it had ended before, and what was wrong afterwards."""

    killed: int = 0
    ended: int = 0
    faults: list[str] = field(default_factory=list)


def _command(name: str, files: Path, place: Path) -> list[str]:
    (place / "words").write_text(WORDS)
    return {
        "add": ["add", str(files)],
        "edit": ["edit", "trim", "1", "--from", "1:00"],
        "accept": ["capacity", "--accept", "251"],
        "backup": ["backup", str(place / "b.zip")],
        "backup --encrypt": ["backup", str(place / "b.age"), "--encrypt", "--passphrase-file", str(place / "words")],
        "restore": ["restore", str(place / "given.zip"), "--into", str(place / "restored")],
        "check-up --repair": ["check-up", "--repair"],
        "export": ["export", "--all", "--out", str(place / "out")],
        "receive": ["receive", str(place / "given.age"), "--apply", "--passphrase-file", str(place / "words")],
    }[name]


COMMANDS = ("add", "edit", "accept", "backup", "backup --encrypt", "restore", "check-up --repair", "export", "receive")


def _run(words: list[str], library: Path, after: float | None) -> bool:
    """Run a command, and kill its whole group after so many seconds; whether it was killed."""
    child = subprocess.Popen(
        [sys.executable, "-m", "footwork", "--library", str(library), *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        child.wait(after)
    except subprocess.TimeoutExpired:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        child.wait()
        return True
    return False


def attack(name: str, times: int, library: Path, files: Path, work: Path, seed: int) -> Killed:
    """Kill a command again and again, each time on a fresh copy; ``library`` holds all of ``files``."""
    rng = random.Random(seed)
    out = Killed()
    place = work / "kills"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    with Library.open(library) as whole:
        count, known = len(whole.runs()), sorted(whole.known_files())
        whole.backup(place / "given.zip")
        from footwork.maintenance import handover

        handover.hand_over(whole, place / "given.age", WORDS, whole=True)
    begun = time.monotonic()
    _fresh(name, library, place)
    _run(_command(name, files, place), place / "library", None)
    lasts = time.monotonic() - begun
    for _ in range(times):
        _fresh(name, library, place)
        killed = _run(_command(name, files, place), place / "library", rng.uniform(0.05, lasts))
        out.killed += killed
        out.ended += not killed
        try:
            out.faults += [f"{name}: {text}" for text in _wrong(name, place, files, count, known)]
        except FootworkError as error:
            out.faults.append(f"{name}: {error}")
    shutil.rmtree(place)
    return out


def _fresh(name: str, library: Path, place: Path) -> None:
    for left in ("library", "restored", "out", "b.zip", "b.age"):
        path = place / left
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)
    if name == "add":
        return
    shutil.copytree(library, place / "library")
    if name == "receive":  # a run of it is not here
        with Library.open(place / "library") as opened:
            from footwork.history.recordings import deletion
            from footwork.store import schema

            deletion.delete_forever(opened, opened.runs()[0].id)
            with opened.writing() as connection:
                connection.execute(schema.setting.delete())
    if name == "check-up --repair":
        shutil.rmtree(place / "library" / "derived" / "signals")


def _wrong(name: str, place: Path, files: Path, count: int, known: list[str]) -> list[str]:
    """What is wrong after a kill and the next command."""
    library, out = place / "library", []
    if name in ("add", "receive"):
        with Library.open(library) as opened:
            opened.add([files])
    Library.open(library).close()  # the next command
    found = check_library(library)
    if found["problems"]:  # what was cut short is mended, where it is asked for
        found = check_library(library, repair=True)
    out += found["problems"]
    with Library.open(library) as opened:
        if sorted(opened.known_files()) != known:
            out.append("recordings are missing or doubled")
        if len(opened.runs()) != count:
            out.append(f"{len(opened.runs())} runs of {count}")
        for row in opened.runs():
            opened.signals(row.id)
    if name == "restore" and (place / "restored").exists():
        Library.open(place / "restored").close()
        out += check_library(place / "restored")["problems"]
    left = [p.name for p in place.iterdir() if p.name.startswith(".footwork-")]
    if left or (library / scratch.PLACE).exists() or (library / "incoming").exists():
        out.append(f"left behind: {left}")
    return out
