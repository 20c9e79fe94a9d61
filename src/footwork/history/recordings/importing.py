"""Import: workers decode and clean, the parent alone writes; nothing lost, nothing half-written, nothing twice."""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import os
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from filelock import FileLock, Timeout
from sqlalchemy import Connection

from footwork.errors import FootworkError, LibraryError, UsageError
from footwork.formats import archive
from footwork.history.log import diary
from footwork.history.recordings import results, workers
from footwork.history.recordings.digesting import Digest, Orders, Task, printable

if TYPE_CHECKING:
    from footwork.history.book import History

BATCH = 25  # files that are stored at once,
EVERY_S = 0.5  # or as many as come in this time: small ones are hundreds a second, and each write ends with a seal
MOST = 1000  # and never more, so that no kill costs them all
OUTCOMES = ("added", "duplicates", "recovered", "healed", "told", "skipped", "failed")
Progress = Callable[[int, int, str], None]


@dataclass
class Report:
    """What an import did, file by file; a recovered file is also added."""

    added: list[dict[str, Any]] = field(default_factory=list)
    duplicates: list[dict[str, Any]] = field(default_factory=list)
    recovered: list[dict[str, Any]] = field(default_factory=list)
    healed: list[dict[str, Any]] = field(default_factory=list)
    told: list[dict[str, Any]] = field(default_factory=list)
    skipped: list[dict[str, Any]] = field(default_factory=list)
    failed: list[dict[str, Any]] = field(default_factory=list)
    start_used: str = ""  # the one undated file that --start has placed
    replaced: list[Path] = field(default_factory=list)  # signals of copies that a better one took the place of

    def to_json(self) -> dict[str, Any]:
        """What became of each file, as `Library.add` gives it."""
        return {name: getattr(self, name) for name in OUTCOMES}


def tasks_for(paths: list[Path], library: Path, report: Report) -> list[Task]:
    """Files to read under the paths, folders recursively; what cannot be a recording is reported as skipped."""
    out: list[Task] = []
    inside = library.resolve()
    for given in paths:
        if not given.exists():
            report.failed.append({"file": printable(str(given)), "reason": "there is no such file or folder"})
            continue
        base = given.parent if given.is_file() else given
        for path in [given] if given.is_file() else _walk(given, inside):
            shown = printable(str(path if given.is_file() else path.relative_to(base)))
            if path.is_symlink() and path != given and not path.resolve().is_relative_to(given.resolve()):
                there = "that leads out of the folder: add what it names" if path.exists() else "to nothing"
                report.skipped.append({"file": shown, "reason": f"a link {there}"})
                continue
            if path.is_dir():
                continue  # a link to a folder inside, which is walked anyway
            if not path.is_file():
                report.skipped.append({"file": shown, "reason": "not a plain file"})
                continue
            if not path.name.lower().endswith(archive.ENDINGS) and not _looks_like_fit(path):
                report.skipped.append({"file": shown, "reason": "not a FIT, GPX or CSV file"})
                continue
            try:
                members = archive.members(path)
            except FootworkError as error:
                report.failed.append({"file": shown, "reason": str(error)})
                continue
            for member in members:
                if member is not None and not member.lower().endswith(archive.ENDINGS):
                    report.skipped.append(
                        {"file": printable(f"{shown}/{member}"), "reason": "not a FIT, GPX or CSV file"}
                    )
                else:
                    out.append(Task(path, member, shown if member is None else printable(f"{shown}/{member}")))
    return out


def _walk(folder: Path, library: Path) -> Iterator[Path]:
    for root, folders, files in os.walk(folder):
        here = Path(root)
        folders[:] = sorted(f for f in folders if (here / f).resolve() != library)
        yield from (here / f for f in folders if (here / f).is_symlink())
        for name in sorted(files):
            yield here / name


def _looks_like_fit(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            return stream.read(12)[8:12] == b".FIT"
    except OSError:
        return False


@contextlib.contextmanager
def lock(folder: Path) -> Iterator[None]:
    """One importer at a time; a file beside the lock names the process. The lock goes even when that is killed.

    Raises LibraryError where another import holds it.
    """
    held, holder = FileLock(folder / "import.lock", mode=0o600), folder / "importing"
    try:
        held.acquire(blocking=False)
    except Timeout:
        process = holder.read_text(encoding="ascii").strip() if holder.exists() else "unknown"
        raise LibraryError(f"another import into {folder} is running (process {process}): wait for it to end") from None
    try:
        with contextlib.suppress(OSError):  # a full disk is told where it matters
            holder.write_text(str(os.getpid()), encoding="ascii")
        yield
    finally:
        with contextlib.suppress(OSError):
            holder.unlink()
        held.release()


def add(
    library: History, paths: list[Path], start: dt.datetime | None, processes: int, progress: Progress | None
) -> Report:
    """Import all recordings under the paths into an open, writable library. See `Library.add`.

    Raises LibraryError where the folder cannot be written or another import is running.
    """
    report = Report()
    if start is not None and start.timestamp() > time.time() + 86400:
        raise UsageError(f"--start {start:%Y-%m-%d} lies in the future")
    with lock(library.folder):
        left = library.folder / "incoming"
        shutil.rmtree(left, ignore_errors=True)  # what an import that was killed left behind
        incoming = left / str(os.getpid())
        try:
            incoming.mkdir(parents=True)
            tasks = tasks_for(paths, library.folder, report)
            orders = Orders(
                library.folder,
                incoming,
                library.athlete.masses(),
                frozenset(library.known_files()),
                start,
                library.zone,
            )
            batch: list[Digest] = []
            stored = time.monotonic()
            for done, (task, found) in enumerate(workers.run_all(tasks, orders, processes), start=1):
                batch += found
                ready = len(batch) >= BATCH and time.monotonic() - stored >= EVERY_S
                if ready or len(batch) >= MOST:
                    _store_batch(library, batch, report, start)
                    batch, stored = [], time.monotonic()
                if progress is not None:
                    progress(done, len(tasks), task.shown)
            _store_batch(library, batch, report, start)
        except OSError as error:
            raise _explain(error, library.folder) from None
        finally:
            archive.let_go()
            shutil.rmtree(left, ignore_errors=True)
    return report


def _explain(error: OSError, folder: Path) -> LibraryError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return LibraryError(
            f"the disk that holds {folder} is full: free some space and run the same command again; "
            "what was added before is kept and nothing is half-written"
        )
    return LibraryError(f"cannot write to the library {folder}: {error.strerror or error}")


def _tell(connection: Connection, known: diary.FileValues, made: Digest, report: Report) -> None:
    """Write what a file tells of days into the diary."""
    fresh = known.add(connection, made.measured)
    if not fresh:
        report.duplicates.append({"file": made.shown, "reason": "the diary has what it tells"})
        return
    days = sorted({m.date.isoformat() for m in fresh})
    names = ", ".join(sorted({m.field.replace("_", " ") for m in fresh}))
    span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    report.told.append({"file": made.shown, "reason": f"{names} of {span}"})


def _store_batch(library: History, batch: list[Digest], report: Report, start: dt.datetime | None) -> None:
    for made in batch:
        if made.outcome == "fatal":
            raise OSError(errno.ENOSPC, made.reason)
    pending = Report(start_used=report.start_used)
    with library.writing() as connection:
        known = diary.FileValues.of(connection) if any(made.measured for made in batch) else None
        for made in batch:
            if known is not None and made.outcome == "told":
                _tell(connection, known, made, pending)
            else:
                results.store(library, connection, made, pending, start)
    for signals in pending.replaced:
        with contextlib.suppress(OSError):  # open elsewhere: the check-up finds what is left of it
            signals.unlink()
    # Only what the transaction has made true is reported.
    for name, rows in pending.to_json().items():
        getattr(report, name).extend(rows)
    report.start_used = pending.start_used
