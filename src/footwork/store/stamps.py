"""Whether anything in a library has changed, found without opening it."""

from __future__ import annotations

from pathlib import Path

FILE_NAME = "library.sqlite"


def stamp(folder: Path) -> tuple[tuple[int, int], ...]:
    """Changes whenever either database is written to."""
    out = []
    for name in (FILE_NAME, f"{FILE_NAME}-wal", "derived/derived.sqlite", "derived/derived.sqlite-wal"):
        try:
            found = (folder / name).stat()
            # An empty journal comes and goes with each connection and says nothing.
            out.append((found.st_mtime_ns, found.st_size) if found.st_size else (0, 0))
        except FileNotFoundError:
            out.append((0, 0))
    return tuple(out)
