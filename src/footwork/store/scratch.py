"""Files on their way out of a library: noted while they are made, so that the next command removes what a killed one
left beside its target."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

PLACE = "leaving"
_PREFIX, _SUFFIX = ".footwork-", ".part"  # a note can have nothing else removed


@contextlib.contextmanager
def inside(folder: Path) -> Iterator[Path]:
    """A new path that only the library's owner can read: in the library, or in a private folder of the system's where
    that can't be written; whatever is there afterwards is removed."""
    if os.access(folder, os.W_OK):
        with beside(folder, folder / "x") as path:
            yield path
    else:
        with tempfile.TemporaryDirectory() as place:
            yield Path(place) / "x"


@contextlib.contextmanager
def beside(folder: Path, target: Path) -> Iterator[Path]:
    """A new path beside ``target``, on its disk, for what will take its place in one step; whatever is there afterwards
    is removed."""
    name = uuid.uuid4().hex
    path = target.parent.resolve() / f"{_PREFIX}{name}{_SUFFIX}"
    note = folder / PLACE / f"{name}.json"
    lock = FileLock(note.with_suffix(".lock"))
    try:
        note.parent.mkdir(exist_ok=True, mode=0o700)
        lock.acquire()
        note.write_text(json.dumps(str(path)), "utf-8")
    except OSError:  # a library that can't be written: a kill would leave the file
        lock.release()
        note = Path()
    try:
        yield path
    finally:
        _remove(path)
        if note.name:
            note.unlink(missing_ok=True)
            lock.release()
            _clear(note.parent, lock)


def sweep(folder: Path) -> None:
    """Remove what killed commands left: on their way out, and an import's."""
    for note in (folder / PLACE).glob("*.json"):
        with contextlib.suppress(OSError, Timeout):
            lock = FileLock(note.with_suffix(".lock"), timeout=0)
            with lock:
                with contextlib.suppress(ValueError, TypeError):  # a note that was cut short names nothing
                    path = Path(json.loads(note.read_text("utf-8")))
                    if path.name.startswith(_PREFIX) and path.name.endswith(_SUFFIX):
                        _remove(path)
                note.unlink(missing_ok=True)
            _clear(note.parent, lock)
    if (folder / "incoming").exists():
        with contextlib.suppress(OSError, Timeout), FileLock(folder / "import.lock", timeout=0):
            shutil.rmtree(folder / "incoming", ignore_errors=True)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def _clear(place: Path, lock: FileLock) -> None:
    with contextlib.suppress(OSError):
        Path(lock.lock_file).unlink(missing_ok=True)
        place.rmdir()
