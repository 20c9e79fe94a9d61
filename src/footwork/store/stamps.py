"""Whether anything in a library has changed, found without opening it; and text that is kept beside it."""

from __future__ import annotations

import contextlib
import os
import tempfile
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


def write_kept(path: Path, text: str) -> None:
    """Write text that can be found again, whole or not at all; a disk that cannot hold it is no error here."""
    with contextlib.suppress(OSError):
        path.parent.mkdir(exist_ok=True)
        made, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(made, "w", encoding="utf-8", newline="") as out:
                out.write(text)
            os.replace(name, path)
        except OSError:
            os.unlink(name)
            raise
