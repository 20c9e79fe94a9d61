"""How a call, a command and its memory are measured."""

from __future__ import annotations

import statistics
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import psutil


def command(*args: str) -> list[str]:
    return [str(Path(sys.executable).with_name("footwork")), *args]


def seconds_of(call: Callable[[], object], times: int = 5) -> float:
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


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


def decode_with_fitfast(files: list[Path]) -> float:
    """Seconds one process needs to decode these files with a decoder in Rust."""
    import fitfast

    begin = time.perf_counter()
    for path in files:
        fitfast.parse(path.read_bytes(), datetimes=False)
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
