"""Faults of the machine: one sentence, and the library whole afterwards."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from footwork.maintenance.check_up import check_library
from footwork.store import seal
from tests.program import footwork

NOBODY = 65534
WRITING = (
    ["add", "{files}"],
    ["capacity", "--accept", "250"],
    ["mark", "1", "--as", "race"],
    ["diary", "--note", "x"],
    ["edit", "trim", "1", "--from", "1:00"],
)
READING = (["runs"], ["capacity"], ["show", "1"], ["check-up"])


@contextmanager
def _mounted(kind: list[str], target: Path) -> Iterator[bool]:
    target.mkdir(exist_ok=True)
    done = subprocess.run(["mount", *kind, str(target)], capture_output=True, check=False)
    try:
        yield done.returncode == 0
    finally:
        subprocess.run(["umount", "-l", str(target)], capture_output=True, check=False)


def _asked(words: list[str], library: Path, files: Path) -> tuple[int, str]:
    filled = [w.replace("{files}", str(files)) for w in words]
    done = subprocess.run(
        [sys.executable, "-m", "footwork", "--library", str(library), *filled],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr.strip()


def _one_sentence(code: int, said: str, words: list[str]) -> list[str]:
    told = [line for line in said.splitlines() if not line.startswith(("adding", "rebuilding"))]
    if code not in (2, 3, 4) or len(told) != 1 or "Traceback" in said or not told[0].startswith("footwork:"):
        return [f"{' '.join(words)}: ended with {code}: {said[-160:]}"]
    return []


def attack(library: Path, files: Path, work: Path) -> dict[str, list[str] | None]:
    """What was wrong at each fault; None where it could not be made here."""
    out: dict[str, list[str] | None] = {}
    size = sum(p.stat().st_size for p in library.rglob("*") if p.is_file()) // 1024
    with _mounted(["-t", "tmpfs", "-o", f"size={size + 300}k", "tmpfs"], work / "small") as there:
        out["disk full"] = _full(work / "small", library, files) if there else None
    copy = work / "only"
    shutil.copytree(library, copy)
    with _mounted(["--bind", str(copy)], work / "ro") as there:
        shut = (
            there
            and not subprocess.run(
                ["mount", "-o", "remount,ro,bind", str(work / "ro")], capture_output=True, check=False
            ).returncode
        )
        out["read-only"] = _refused(work / "ro", files) if shut and not os.access(work / "ro", os.W_OK) else None
    out["no permission"] = _as_nobody(library, files) if os.geteuid() == 0 else None
    newer = work / "newer"
    shutil.copytree(library, newer)
    with closing(sqlite3.connect(newer / "library.sqlite")) as raw:
        raw.execute("PRAGMA user_version=99")
    out["newer schema"] = []
    for words in (*READING, *WRITING):
        code, said = _asked(words, newer, files)
        out["newer schema"] += _one_sentence(code, said, words)
        if "newer" not in said:
            out["newer schema"].append(f"{words}: {said[-100:]}")
    with closing(sqlite3.connect(newer / "library.sqlite")) as raw:
        raw.execute("PRAGMA user_version=3")
    seal.lift(newer)
    out["newer schema"] += check_library(newer)["problems"]
    return out


def _full(disk: Path, library: Path, files: Path) -> list[str]:
    wrong = []
    for words in WRITING:
        shutil.rmtree(disk / "library", ignore_errors=True)
        shutil.copytree(library, disk / "library")
        filling = os.open(disk / "filling", os.O_CREAT | os.O_WRONLY)
        with suppress(OSError):
            while os.write(filling, b"x" * 4096):
                pass
        os.close(filling)
        code, said = _asked(words, disk / "library", files)
        if code:  # a small word may find room in what is there
            wrong += _one_sentence(code, said, words)
        (disk / "filling").unlink()
        wrong += check_library(disk / "library", repair=True)["problems"]
    return wrong


def _refused(library: Path, files: Path) -> list[str]:
    wrong = []
    for words in WRITING:
        wrong += _one_sentence(*_asked(words, library, files), words)
    for words in READING[:3]:
        code, said = _asked(words, library, files)
        if code:
            wrong.append(f"{words}: {said[-120:]}")
    return wrong


def _as_nobody(library: Path, files: Path) -> list[str]:
    """As a plain user who may read neither the library nor, here, the program's files: a child that has all of it in
    memory gives up being root."""
    wrong = []
    for words in (*READING, *WRITING):
        filled = [w.replace("{files}", str(files)) for w in words]
        footwork(*filled, library=library.with_name("nowhere"))  # what it imports
        here, there = os.pipe()
        child = os.fork()
        if child == 0:
            os.setgid(NOBODY)
            os.setuid(NOBODY)
            done = footwork(*filled, library=library)
            os.write(there, f"{done.returncode}|{done.stderr.strip()}"[:4000].encode())
            os._exit(0)
        os.close(there)
        os.waitpid(child, 0)
        with os.fdopen(here) as out:
            code, _, said = out.read().partition("|")
        wrong += _one_sentence(int(code or -1), said, words)
    shutil.rmtree(library.with_name("nowhere"), ignore_errors=True)
    return wrong + check_library(library)["problems"]
