"""The library that is attacked: some weeks of an invented runner, and the files they came from."""

from __future__ import annotations

import datetime as dt
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.conftest import library_of, write_weeks


def made(work: Path) -> tuple[Path, Path]:
    """The folder of a library and of its files."""
    files = work / "files"
    files.mkdir(parents=True)
    write_weeks(files, dt.date(2026, 3, 2))
    with library_of(files, work / "library") as library:
        library.tell(date="2026-04-01", note="slept well")
        library.accept(250, "2026-04-02")
        library.capacity()
    return work / "library", files


@contextmanager
def served(library: Path) -> Iterator[str]:
    """Address of a server of a library, until the attack is over."""
    server = subprocess.Popen(
        [sys.executable, "-m", "footwork", "--library", str(library), "serve", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "CI": "true"},
    )
    try:
        assert server.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", server.stdout.readline())
        assert found is not None
        yield found.group()
    finally:
        server.terminate()
        server.wait(20)
