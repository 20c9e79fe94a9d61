"""What goes on while pages are served: looks at the watched folder, titles of runs that have none yet, and answers
that pages will want after a change."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import threading
import time
import traceback
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import Client

from footwork.api import Library
from footwork.errors import FootworkError
from footwork.maintenance import watched
from footwork.questions.runs import run_titles
from footwork.web import jobs
from footwork.web.declaration import opened

EVERY_S = 15.0
QUIET_S = 2.0  # without a change: it is over
AT_ONCE = 200
GONE_S = 15.0  # a browser connects to its page within a second or few
TITLES_AT_ONCE, PAUSE_S = 3, 1.0  # some 0.1 s of work, then so long for the pages

said: dict[Path, str] = {}  # what the last look came to, by library


async def watch(library: Library) -> None:
    """Look at the library's watched folder for ever; without one nothing happens."""
    while True:
        try:
            await look(library)
        except Exception:  # the next look may do better
            traceback.print_exc()
        await asyncio.sleep(EVERY_S)


async def forget_visitors() -> None:
    """Let go of pages that nobody looks at, soon: each holds thousands of objects, and hundreds of them stop all other
    pages for seconds whenever the collector looks through them."""
    gc.collect()
    gc.freeze()  # what was loaded stays anyway, and need not be looked through again
    while True:
        Client.prune_instances(client_age_threshold=GONE_S)
        await asyncio.sleep(1.0)


async def title_runs(library: Library) -> None:
    """Find what runs were, a few at a time so that no page waits, until all are known; then now and then again."""
    before: dict[int, str | None] = {}
    while True:
        try:
            rows = await asyncio.to_thread(library.runs)
            found = await asyncio.to_thread(run_titles, library, rows, TITLES_AT_ONCE)
        except Exception:
            traceback.print_exc()
            found = before
        await asyncio.sleep(EVERY_S if found == before else PAUSE_S)
        before = found


async def keep_ready(library: Library) -> None:
    """When the program starts work out what the first page shows, and once a change is over what the pages show that
    were opened before it: none then waits for it."""
    before: Any = None
    ready: set[str] = set()
    while True:
        try:
            now = library.state()
            if now != before:
                before, ready = now, set()
            else:
                answers = {**opened.get(library.folder, {}), "/": Library.today}
                for address in [a for a in reversed(answers) if a not in ready]:  # the newest first
                    if library.state() != before:  # it begins anew when that is over
                        break
                    ready.add(address)
                    began = time.monotonic()
                    await _aside(partial(answers[address], library))
                    await asyncio.sleep(time.monotonic() - began)  # as long again for the pages themselves
        except Exception:
            traceback.print_exc()
        await asyncio.sleep(QUIET_S)


async def _aside(work: Callable[[], Any]) -> None:
    """Work in a thread that the end of the program does not wait for; what a page itself will say is not said here."""
    loop = asyncio.get_running_loop()
    over = asyncio.Event()

    def run() -> None:
        try:
            work()
        except FootworkError:
            pass
        except Exception:
            traceback.print_exc()
        with contextlib.suppress(RuntimeError):  # the program has ended meanwhile
            loop.call_soon_threadsafe(over.set)

    threading.Thread(target=run, daemon=True).start()
    await over.wait()


async def look(library: Library) -> int:
    """Add what is new in the watched folder; returns how many files were added or known."""
    folder = await asyncio.to_thread(library.setting, "watched")
    if not folder or library.readonly:
        said.pop(library.folder, None)
        return 0
    if not await asyncio.to_thread(Path(folder).is_dir):
        said[library.folder] = "The folder is not there now."
        return 0
    if said.get(library.folder) == "The folder is not there now.":
        said.pop(library.folder)
    fresh = await asyncio.to_thread(watched.fresh_files, library.folder, Path(folder), AT_ONCE)
    if not fresh:
        return 0
    problem, report = await jobs.run_command(library.folder, "add", "--", *fresh)
    if problem:  # they stay new, and the next look tries again
        said[library.folder] = f"At the last look: {problem}."
        return 0
    runs = {run for entry in report.get("added", []) for run in entry.get("runs", [])}
    said[library.folder] = f"At the last look {len(fresh)} new files and {len(runs)} new runs came in."
    await asyncio.to_thread(watched.remember, library.folder, fresh)
    return len(fresh)
