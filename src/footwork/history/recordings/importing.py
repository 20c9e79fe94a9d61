"""Import: workers decode and clean, the parent alone writes; nothing lost, nothing half-written, nothing twice."""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import multiprocessing
import os
import shutil
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

from filelock import FileLock, Timeout

from footwork.errors import FootworkError, LibraryError, NotARecording, UsageError
from footwork.formats import archive
from footwork.history.recordings import results
from footwork.history.recordings.results import Analysed
from footwork.store import blobs

if TYPE_CHECKING:
    from footwork.history.book import History

PROCESSES_FROM = 8  # fewer files are quicker without starting processes


BATCH = 25
MOST_WORKERS = 61  # that one system can wait for


WINDOW = 24  # files handed out ahead of the one being stored


Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Task:
    """One thing to unpack: a path, or one member of a zip; ``shown`` is how reports name it."""

    path: Path
    member: str | None
    shown: str


@dataclass
class Digest:
    """What a worker made of one file: its recordings with their results, or why there are none."""

    shown: str
    sha256: str = ""
    name: str = ""
    size: int = 0
    outcome: str = "read"  # read, known, skipped, failed or fatal
    reason: str = ""
    original: Path | None = None
    recordings: list[Analysed] = field(default_factory=list)


@dataclass
class Report:
    """What an import did, file by file; a recovered file is also added."""

    added: list[dict[str, Any]] = field(default_factory=list)
    duplicates: list[dict[str, Any]] = field(default_factory=list)
    recovered: list[dict[str, Any]] = field(default_factory=list)
    skipped: list[dict[str, Any]] = field(default_factory=list)
    failed: list[dict[str, Any]] = field(default_factory=list)
    start_used: str = ""  # the one undated file that --start has placed

    def to_json(self) -> dict[str, Any]:
        """What became of each file, as `Library.add` gives it."""
        return {name: getattr(self, name) for name in ("added", "duplicates", "recovered", "skipped", "failed")}


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
        for name in sorted(files):
            yield here / name


def printable(name: str) -> str:
    """A file name as text that can be stored and printed, whatever bytes it was made of."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _looks_like_fit(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            return stream.read(12)[8:12] == b".FIT"
    except OSError:
        return False


@dataclass(frozen=True)
class Orders:
    """What a worker must know: where temporary files go, dated masses, what is known, a start for undated files, a
    zone."""

    incoming: Path
    masses: list[tuple[str, float]]
    known: frozenset[str] = frozenset()
    start: dt.datetime | None = None
    zone: dt.tzinfo | None = None


_orders: Orders | None = None


def _start_worker(orders: Orders) -> None:
    global _orders
    import signal

    _orders = orders
    threading.Thread(target=_end_with_parent, daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop


def _end_with_parent() -> None:
    """A worker whose importer was killed ends too, so that it never writes beside the next one."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def _work(task: Task) -> list[Digest]:
    if _orders is None:
        raise RuntimeError("the worker was not started")
    return digest(task, _orders)


def digest(task: Task, orders: Orders) -> list[Digest]:
    """Read, clean and analyse the files behind a task; never raises for bad input."""
    out: list[Digest] = []
    try:
        for raw, data in archive.unpack(task.path, task.member):
            name = printable(raw)
            shown = task.shown if task.shown.removesuffix(".gz").endswith(name) else f"{task.shown}/{name}"
            out.append(_digest_file(shown, name, data, orders))
    except FootworkError as error:
        out.append(Digest(task.shown, outcome="failed", reason=str(error)))
    except MemoryError:
        out.append(Digest(task.shown, outcome="failed", reason="the file needs more memory than this machine has free"))
    except OSError as error:
        kind = "fatal" if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EROFS) else "failed"
        out.append(Digest(task.shown, outcome=kind, reason=f"cannot be read: {error.strerror or error}"))
    return out


def _digest_file(shown: str, name: str, data: bytes, orders: Orders) -> Digest:
    sha = blobs.sha256(data)
    made = Digest(shown, sha, name, len(data))
    if sha in orders.known:
        made.outcome = "known"
        return made
    try:
        recordings = results.read_dated(data, name, orders.start)
        made.recordings = [results.analyse(r, orders.masses, orders.zone) for r in recordings]
    except NotARecording as error:
        made.outcome, made.reason = "skipped", str(error)
        return made
    except FootworkError as error:
        made.outcome, made.reason = "failed", str(error)
        return made
    except (KeyboardInterrupt, SystemExit, MemoryError, OSError):
        raise
    except Exception as error:
        made.outcome, made.reason = "failed", f"it cannot be understood ({type(error).__name__}: {str(error)[:100]})"
        return made
    made.original = orders.incoming / f"{sha}.gz"
    blobs.write_original(made.original, data)
    for analysed in made.recordings:
        if analysed.signals is not None:
            analysed.parquet = orders.incoming / f"{sha[:24]}-{analysed.leg}.parquet"
            blobs.write_signals(analysed.parquet, analysed.signals)
            analysed.signals = None  # the parent reads the file where it needs the samples
    return made


def run_all(tasks: list[Task], orders: Orders, workers: int) -> Iterator[tuple[Task, list[Digest]]]:
    """Digests in the order of the tasks, by processes where that pays; survives a worker's death."""
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
                        flying.append((waiting[0], pool.submit(_work, waiting[0])))
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
    return ProcessPoolExecutor(min(workers, MOST_WORKERS), get_context("spawn"), _start_worker, (orders,))


def _one_by_one(tasks: list[Task], orders: Orders) -> Iterator[tuple[Task, list[Digest]]]:
    """Digests by one worker after another: whichever task ends its worker fails, and the next takes over."""
    waiting = deque(tasks)
    while waiting:
        with _pool(1, orders) as pool:
            try:
                while waiting:
                    found = pool.submit(_work, waiting[0]).result()
                    yield waiting.popleft(), found
            except BrokenProcessPool:
                reason = "reading it ends the program that reads it; the rest was read"
                task = waiting.popleft()
                yield task, [Digest(task.shown, outcome="failed", reason=reason)]


@contextlib.contextmanager
def lock(folder: Path) -> Iterator[None]:
    """One importer at a time; a file beside the lock names the process. The lock goes even when that is killed.

    Raises LibraryError where another import holds it.
    """
    held, holder = FileLock(folder / "import.lock"), folder / "importing"
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
    library: History, paths: list[Path], start: dt.datetime | None, workers: int, progress: Progress | None
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
            orders = Orders(incoming, library.athlete.masses(), frozenset(library.known_files()), start, library.zone)
            batch: list[Digest] = []
            for done, (task, found) in enumerate(run_all(tasks, orders, workers), start=1):
                batch += found
                if len(batch) >= BATCH:
                    _store_batch(library, batch, report, start)
                    batch = []
                if progress is not None:
                    progress(done, len(tasks), task.shown)
            _store_batch(library, batch, report, start)
        except OSError as error:
            raise _explain(error, library.folder) from None
        finally:
            shutil.rmtree(left, ignore_errors=True)
    return report


def _explain(error: OSError, folder: Path) -> LibraryError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return LibraryError(
            f"the disk that holds {folder} is full: free some space and run the same command again; "
            "what was added before is kept and nothing is half-written"
        )
    return LibraryError(f"cannot write to the library {folder}: {error.strerror or error}")


def _store_batch(library: History, batch: list[Digest], report: Report, start: dt.datetime | None) -> None:
    for made in batch:
        if made.outcome == "fatal":
            raise OSError(errno.ENOSPC, made.reason)
    pending = Report(start_used=report.start_used)
    with library.writing() as connection:
        for made in batch:
            results.store(library, connection, made, pending, start)
    # Only what the transaction has made true is reported.
    for name, rows in pending.to_json().items():
        getattr(report, name).extend(rows)
    report.start_used = pending.start_used
