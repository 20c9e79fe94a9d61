"""A seal over the two databases: checksums of what this program wrote last. Bytes that anything else changed, a fading
disk or another program, are found by it before they are believed.

It is taken away before a write and put on after it, so a missing one means a write that was cut short, not damage.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import zlib
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from footwork.errors import LibraryError
from footwork.store.stamps import FILE_NAME, size_of

FILE = "seal.json"
DATABASES = (FILE_NAME, "derived/derived.sqlite")
WAITS_S = 30.0  # for another program's write
_CHUNK = 1 << 22


def changed(folder: Path) -> tuple[str, ...] | None:
    """Databases whose bytes are not those that were sealed; None where there is no seal to tell.

    Raises LibraryError where another program writes for too long.
    """
    wrong = _compared(folder)
    if not wrong:
        return wrong
    try:
        with locked(folder):  # unless somebody wrote between the two looks
            return _compared(folder)
    except OSError:  # where nobody can write, nobody did
        return wrong


def changed_by_others(folder: Path) -> str:
    """The sentence for a database of what was told that something else wrote to."""
    return (
        f"the database {folder / FILE_NAME} is not what Footwork wrote: its bytes were changed by something else. "
        f"Restore a backup, or take it as it is with 'footwork --library {folder} check-up --repair'"
    )


def _compared(folder: Path) -> tuple[str, ...] | None:
    try:
        sealed = dict(json.loads((folder / FILE).read_text("ascii")))
    except (OSError, ValueError, TypeError):
        return None
    return tuple(name for name in DATABASES if sealed.get(name) != _checksum(folder / name))


def _checksum(path: Path) -> list[int] | None:
    """Size and CRC-32 of a file."""
    check = size = 0
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                check, size = zlib.crc32(chunk, check), size + len(chunk)
    except OSError:
        return None
    return [size, check]


@contextlib.contextmanager
def locked(folder: Path, waits: float = WAITS_S) -> Iterator[None]:
    """Alone with the bytes of both databases. Raises LibraryError where another program writes for longer."""
    lock = FileLock(folder / "seal.lock", timeout=waits, mode=0o600)
    try:
        lock.acquire()
    except Timeout:
        raise LibraryError(f"the library {folder} is busy in another program: try again in a moment") from None
    try:
        yield
    finally:
        lock.release()


@contextlib.contextmanager
def lifted(folder: Path) -> Iterator[None]:
    """Take the seal off for a write and put it on after it. What was changed by something else is not sealed with it:
    what was told is refused, and derived results stay distrusted until the next one opens them.

    Raises LibraryError.
    """
    with contextlib.ExitStack() as held:
        try:
            held.enter_context(locked(folder))
            wrong = _compared(folder)
            if FILE_NAME in (wrong or ()):
                raise LibraryError(changed_by_others(folder))
            lift(folder)
        except OSError as error:
            if error.errno == errno.ENOSPC:  # whoever writes says what a full disk means
                raise
            raise LibraryError(f"cannot write to the library {folder}: {error.strerror or error}") from None
        try:
            yield
        except BaseException:
            if wrong is not None:  # rolled back: what was looked at is there again
                put_on(folder, wrong)
            raise
        put_on(folder, wrong or ())


def lift(folder: Path) -> None:
    """Take the seal off, for certain: one that came back with the power would tell of damage."""
    try:
        (folder / FILE).unlink()
    except FileNotFoundError:
        return
    with contextlib.suppress(OSError):  # not every system opens a folder
        here = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(here)
        finally:
            os.close(here)


def put_on(folder: Path, distrusted: tuple[str, ...] = ()) -> None:
    """Seal what is there, by whoever holds the lock, but what is ``distrusted``; not while a journal is still to be
    merged. A disk that can't hold the seal is no error: the next one to open looks closely instead."""
    if any(size_of(folder / f"{name}-wal") for name in DATABASES):
        return
    made = json.dumps({name: _checksum(folder / name) for name in DATABASES if name not in distrusted})
    temporary = folder / f".{FILE}.part"
    with contextlib.suppress(OSError):
        temporary.write_text(made, "ascii")
        temporary.chmod(0o600)
        os.replace(temporary, folder / FILE)
