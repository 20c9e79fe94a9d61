"""Uploads are imported by a child process at low priority; the page follows its lines."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

coached: set[Path] = set()  # libraries that a coach looks at: their commands know it
left_out: dict[Path, list[str]] = {}  # what the last drop could not use, until a page has said it


@dataclass
class Job:
    """One import: how far it is, and in the end its report or what went wrong."""

    folder: Path
    done: int = 0
    total: int = 0
    running: bool = True
    report: dict[str, Any] = field(default_factory=dict)
    error: str = ""


def inbox() -> Path:
    """A folder of its own for the files of one upload."""
    return Path(tempfile.mkdtemp(prefix="footwork-upload-"))


def safe_name(given: str, index: int) -> str:
    """A file name from an upload: no path, no control characters, never empty."""
    base = PurePosixPath(given.replace("\\", "/")).name
    kept = "".join(c for c in base if c.isprintable() and c not in '/\\:*?"<>|').strip(". ")
    while len(kept.encode()) > 200:  # file systems count bytes
        kept = kept[1:]
    return kept or f"upload-{index}"


async def _start(command: list[str], for_coach: bool = False) -> asyncio.subprocess.Process:
    """A child of this program at low priority."""
    more = {"FOOTWORK_FOR_COACH": "1"} if for_coach else {}
    child = await asyncio.create_subprocess_exec(
        *command,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env={**os.environ, "FOOTWORK_PROGRESS_LINES": "1", **more},
        creationflags=getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0),  # Windows; elsewhere by setpriority
    )
    if hasattr(os, "setpriority"):
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, child.pid, 10)
    return child


open_to_others = False  # then no page reads or writes a folder of this machine but the libraries
ELSEWHERE = ("backup", "restore", "export", "demo")  # commands whose work is in other folders
OPTIONS = ("--file=", "--csv=", "--course=", "--shelf=", "--out=", "--into=")


def _elsewhere(words: tuple[str, ...]) -> bool:
    """Whether a command would read or write a folder that is neither the library nor this program's own inbox."""
    if words[0] in ELSEWHERE:
        return True
    named = [w.partition("=")[2] for w in words if w.startswith(OPTIONS)]
    named += [w for w in words[1:] if w != "--" and words[0] in ("add", "check-up")]
    inside = Path(tempfile.gettempdir()).resolve()
    return any(not Path(n).resolve().is_relative_to(inside) for n in named)


async def run_command(library: Path, *words: str) -> tuple[str, Any]:
    """Run one command on a library in another process; returns what went wrong, or nothing, and its result."""
    if open_to_others and _elsewhere(words):
        return "these pages are open to others, so they touch no other folder of this machine", {}
    plain = words.index("--") if "--" in words else len(words)  # what follows are words, never options
    if any("\0" in word for word in words):
        return "a field holds a character that no text has", {}
    child = await _start(
        [sys.executable, "-m", "footwork", "--library", str(library), *words[:plain], "--json", *words[plain:]],
        library in coached,
    )
    output, errors = await child.communicate()
    try:
        result = json.loads(output)
    except ValueError:
        result = {}
    if child.returncode == 0:
        return "", result
    told = result.get("error") if isinstance(result, dict) else None
    if told is None and result:
        return "", result  # what a check finds is an answer too
    last = errors.decode("utf-8", "replace").strip().rpartition("\n")[2].removeprefix("footwork: ")
    return str(told or last or f"'{words[0]}' ended with code {child.returncode}"), result


async def run_import(library: Path, job: Job, start: str = "") -> None:
    """Run ``footwork add`` on the inbox and keep the job up to date; the inbox is deleted at the end."""
    command = [sys.executable, "-m", "footwork", "--library", str(library), "add", str(job.folder), "--json"]
    if start:
        command += ["--start", start]
    try:
        child = await _start(command)
    except OSError as error:
        job.error, job.running = f"the import could not start ({error})", False
        shutil.rmtree(job.folder, ignore_errors=True)
        return
    try:
        assert child.stderr is not None and child.stdout is not None
        reading = asyncio.create_task(child.stdout.read())
        last = ""
        async for raw in child.stderr:
            line = raw.decode("utf-8", "replace").strip()
            try:
                progress = json.loads(line)
                job.done, job.total = int(progress["done"]), int(progress["total"])
            except (ValueError, KeyError, TypeError):
                last = line or last
        output = await reading
        await child.wait()
        try:
            found = json.loads(output)
            job.error = str(found.get("error", ""))
            job.report = {} if job.error else found
        except ValueError:
            job.error = last.removeprefix("footwork: ") or "the import ended without a report"
    finally:
        if child.returncode is None:
            child.kill()
        job.running = False
        shutil.rmtree(job.folder, ignore_errors=True)
