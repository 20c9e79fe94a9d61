"""A folder of this machine that is looked at now and then: recordings that are new there come in by themselves."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from footwork.web import jobs

if TYPE_CHECKING:
    from footwork.api import Library

EVERY_S = 15.0
SETTLED_S = 3.0  # a file that was just written may be half there
ENDINGS = {".fit", ".gpx", ".csv", ".gz", ".zip"}
AT_ONCE = 200
SEEN = "derived/watched.json"

said: dict[Path, str] = {}  # what the last look came to, by library


async def watch(library: Library) -> None:
    """Look at the library's watched folder for ever; without one nothing happens."""
    while True:
        with contextlib.suppress(Exception):  # the next look may do better
            await look(library)
        await asyncio.sleep(EVERY_S)


async def look(library: Library) -> int:
    """Add what is new in the watched folder; returns how many files were looked at."""
    folder = library.setting("watched")
    if not folder or library.readonly:
        return 0
    if not Path(folder).is_dir():
        said[library.folder] = "The folder is not there now."
        return 0
    seen = _seen(library.folder)
    fresh = [p for p, stamp in _there(Path(folder)).items() if seen.get(p) != stamp][:AT_ONCE]
    if not fresh:
        return 0
    stamps = _there(Path(folder))
    problem, report = await jobs.run_command(library.folder, "add", "--", *fresh)
    if problem and not report:
        said[library.folder] = f"{problem}."
        return 0
    runs = {run for entry in report.get("added", []) for run in entry.get("runs", [])}
    said[library.folder] = f"{len(fresh)} new files, {len(runs)} new runs, at the last look."
    with contextlib.suppress(OSError):
        part = library.folder / f"{SEEN}.part"
        part.write_text(json.dumps({**seen, **{p: stamps[p] for p in fresh if p in stamps}}), "utf-8")
        os.replace(part, library.folder / SEEN)
    return len(fresh)


def _there(folder: Path) -> dict[str, list[float]]:
    """Recordings in a folder and below it that are no longer being written, with their time and size."""
    out = {}
    for parent, _, names in os.walk(folder):  # links are not followed
        for name in names:
            path = Path(parent, name)
            if path.suffix.lower() not in ENDINGS or path.is_symlink():
                continue
            with contextlib.suppress(OSError):
                found = path.stat()
                if time.time() - found.st_mtime > SETTLED_S:
                    out[str(path)] = [found.st_mtime, float(found.st_size)]
    return out


def _seen(library: Path) -> dict[str, list[float]]:
    with contextlib.suppress(OSError, ValueError):
        found: dict[str, list[float]] = json.loads((library / SEEN).read_text("utf-8"))
        return found
    return {}
