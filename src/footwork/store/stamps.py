"""Whether anything in a library has changed, found without opening it; and text that is kept beside it."""

from __future__ import annotations

import contextlib
import os
import tempfile
import zlib
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
        except (FileNotFoundError, NotADirectoryError):
            out.append((0, 0))
    return tuple(out)


def size_of(path: Path) -> int:
    """Bytes of a file, 0 where there is none; a journal comes and goes between two looks."""
    try:
        return path.stat().st_size
    except (FileNotFoundError, NotADirectoryError):
        return 0


def read_kept(path: Path) -> str | None:
    """Text as `write_kept` kept it; None where there is none, or not what was written."""
    try:
        check, _, text = path.read_bytes().partition(b"\n")
    except OSError:
        return None
    return text.decode("utf-8") if check == _check(text) else None


def _check(text: bytes) -> bytes:
    return b"%08x" % zlib.crc32(text)


def write_kept(path: Path, text: str) -> None:
    """Write text that can be found again by `read_kept`, whole or not at all, with its checksum; a disk that cannot
    hold it is no error here."""
    content = text.encode("utf-8")
    with contextlib.suppress(OSError):
        path.parent.mkdir(exist_ok=True, mode=0o700)
        made, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(made, "wb") as out:
                out.write(_check(content) + b"\n" + content)
            os.replace(name, path)
        except OSError:
            os.unlink(name)
            raise
