"""Processes that digest files beside the one that stores them; they stand before a database is imported."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from footwork.history.recordings.digesting import Digest, Orders, Task

PROCESSES_FROM = 8  # fewer files are quicker without starting processes
MOST_WORKERS = 61  # that one system can wait for
# Files handed out ahead of the one being stored: small ones are many in the time of one write. Where a worker dies they
# are read one by one.
WINDOW = 100


def make_ready(paths: list[Path]) -> None:
    """Begin to import what workers need, on another core, where the paths may hold many files; returns at once."""
    if (os.cpu_count() or 1) > 1 and _many(paths):
        _context()


def _many(paths: list[Path]) -> bool:
    count = 0
    for path in paths:
        if path.suffix.lower() == ".zip":
            return True
        for _, _, files in os.walk(path):
            count += len(files)
            if count >= PROCESSES_FROM:
                return True
    return count + len(paths) > PROCESSES_FROM


def _context() -> BaseContext:
    """Where workers come from: on Linux forked from a process that only imported; elsewhere that is not safe beside the
    threads that libraries start, and each begins anew."""
    if sys.platform != "linux":
        return multiprocessing.get_context("spawn")
    from multiprocessing import forkserver

    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["footwork.history.recordings.digesting", "scipy.linalg", "scipy.ndimage"])
    # The parent decides when to stop: what it starts here must not hear of Ctrl-C.
    heard = signal.signal(signal.SIGINT, signal.SIG_IGN) if _in_main_thread() else None
    try:
        forkserver.ensure_running()
    except OSError:  # as where the path of temporary files is too long for a socket
        return multiprocessing.get_context("spawn")
    finally:
        if heard is not None:
            signal.signal(signal.SIGINT, heard)
    return context


def _in_main_thread() -> bool:
    return threading.current_thread() is threading.main_thread()


def run_all(tasks: list[Task], orders: Orders, workers: int) -> Iterator[tuple[Task, list[Digest]]]:
    """Digests in the order of the tasks, by processes where that pays; survives a worker's death."""
    from footwork.history.recordings.digesting import digest

    if workers < 2 or len(tasks) < PROCESSES_FROM:
        for task in tasks:
            yield task, digest(task, orders)
        return
    waiting = deque(tasks)
    while waiting:
        flying: deque[tuple[Task, Future[list[Digest]]]] = deque()
        with _pool(workers, orders) as pool:
            try:
                while waiting or flying:
                    while waiting and len(flying) < WINDOW:
                        flying.append((waiting[0], pool.submit(work, waiting[0])))
                        waiting.popleft()
                    task, future = flying[0]
                    found = future.result()
                    flying.popleft()
                    yield task, found
            except BrokenProcessPool:
                pass
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise
        # Some file killed its worker: those that were out go one by one, so that only the culprit fails.
        yield from _one_by_one([task for task, _ in flying], orders)


def _pool(workers: int, orders: Orders) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(min(workers, MOST_WORKERS), _context(), start_worker, (orders,))


def _one_by_one(tasks: list[Task], orders: Orders) -> Iterator[tuple[Task, list[Digest]]]:
    """Digests by one worker after another: whichever task ends its worker fails, and the next takes over."""
    waiting = deque(tasks)
    while waiting:
        with _pool(1, orders) as pool:
            try:
                while waiting:
                    found = pool.submit(work, waiting[0]).result()
                    yield waiting.popleft(), found
            except BrokenProcessPool:
                from footwork.history.recordings.digesting import Digest

                reason = "reading it ends the program that reads it; the rest was read"
                task = waiting.popleft()
                yield task, [Digest(task.shown, outcome="failed", reason=reason)]


_orders: Orders | None = None


def start_worker(orders: Orders) -> None:
    global _orders
    _orders = orders
    os.environ["POLARS_MAX_THREADS"] = "1"  # the other cores have workers of their own
    if lower := getattr(os, "nice", None):  # not every system has it
        lower(10)  # pages that are read meanwhile come first
    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop


def _end_with_parent() -> None:
    """A worker whose importer was killed ends too, so that it never writes beside the next one."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def work(task: Task) -> list[Digest]:
    if _orders is None:
        raise RuntimeError("the worker was not started")
    from footwork.history.recordings.digesting import digest

    return digest(task, _orders)
