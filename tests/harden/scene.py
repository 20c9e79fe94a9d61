"""The library that is attacked: some weeks of an invented runner, and the files they came from."""

from __future__ import annotations

import datetime as dt
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
