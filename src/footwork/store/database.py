"""Open the two databases of a library folder as one connection, migrate the first, rebuild the second."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, nullcontext, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from footwork.errors import LibraryError
from footwork.store import schema, scratch, seal
from footwork.store.blobs import PRIVATE_FILE, PRIVATE_FOLDER, make_private
from footwork.store.stamps import FILE_NAME, size_of

MADE_ANEW = "made-anew.json"


class Damaged(LibraryError):
    """A database whose bytes are no database, or one that contradicts itself."""


def is_writable(folder: Path) -> bool:
    """Whether this process may write there; a read-only mount says no even to root."""
    return os.access(folder, os.W_OK)


def user_version(path: Path) -> int:
    """The schema number of a SQLite file, read from its header without opening it where all is merged; 0 for none.

    Raises Damaged for a file that is no SQLite database.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(64)
    except FileNotFoundError:
        return 0
    if head and not head.startswith(b"SQLite format 3\x00"):
        raise Damaged(f"{path} is no library database; restore it from a backup")
    if size_of(path.with_name(path.name + "-wal")) and is_writable(path.parent):
        with closing(sqlite3.connect(path)) as raw:
            return int(raw.execute("PRAGMA user_version").fetchone()[0])
    return int.from_bytes(head[60:64], "big")


def open_engine(folder: Path, create: bool, readonly: bool) -> Engine:
    """An engine on ``library.sqlite`` with ``derived.sqlite`` attached as ``derived``; what is wrong with anything
    derived is thrown away, to be made anew.

    Raises
    ------
    LibraryError
        No library there, one made by a newer version, or a damaged or unwritable one.
    """
    path = folder / FILE_NAME
    check_there(folder, create)
    try:
        if readonly:
            return _connect(folder, _readonly_uri)
        return _open_writable(folder, path)
    except (DatabaseError, sqlite3.DatabaseError) as error:
        raise _explain(error, folder) from None
    except OSError as error:
        raise LibraryError(f"cannot write to the library {folder}: {error.strerror or error}") from None


def check_there(folder: Path, create: bool = False) -> None:
    """Whether there is a library, or one may be made. Raises LibraryError; originals without the database that knows
    them are no place for a new one."""
    path = folder / FILE_NAME
    if size_of(path):
        return
    originals = folder / "originals"
    if originals.is_dir() and any(p.is_file() for p in originals.rglob("*.gz")):
        raise LibraryError(
            f"the database {path} is {'empty' if path.exists() else 'gone'}, though originals are there: restore a "
            f"backup into a new folder, or begin anew there with 'footwork --library NEW add {originals}'"
        )
    if not path.exists() and not create:
        raise LibraryError(f"there is no library in {folder}: make one with 'footwork --library {folder} add PATH'")


def names_of_originals(folder: Path) -> dict[str, str]:
    """What each original is called where it is to be found again, by its SHA-256: its file's name and its runs.

    Raises Damaged.
    """
    query = (
        "SELECT f.sha256, f.name, group_concat(DISTINCT r.run_id) FROM file f "
        "LEFT JOIN recording r ON r.file_id = f.id GROUP BY f.id ORDER BY f.id"
    )
    try:
        with closing(sqlite3.connect(_readonly_uri(folder / FILE_NAME, ""), uri=True)) as raw:
            rows = raw.execute(query).fetchall()
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise Damaged(f"the database {folder / FILE_NAME} cannot be read ({error}): restore it from a backup") from None
    return {sha: name + (f" (run {runs.replace(',', ', ')})" if runs else "") for sha, name, runs in rows}


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Wait for a lock file and hold it; it is let go even when the process is killed."""
    with FileLock(path, mode=PRIVATE_FILE):
        yield


def _open_writable(folder: Path, path: Path) -> Engine:
    if not folder.exists():
        folder.mkdir(parents=True, mode=PRIVATE_FOLDER)
    elif not any(folder.iterdir()):
        folder.chmod(PRIVATE_FOLDER)  # it becomes a library, and holds nothing else
    with held(folder / "open.lock"):  # two programs opening a new library at once make it one after the other
        scratch.sweep(folder)
        _look_through(folder)
        engine = _made_ready(folder, path)
        seal_if_missing(folder)
        return engine


def _look_through(folder: Path) -> None:
    """Both databases are what was written last, by their seal; without one they are looked through. Derived results
    that are not are thrown away. Raises LibraryError for what the runner told."""
    _checked(folder / FILE_NAME, folder)  # a newer version has its own ways
    wrong = seal.changed(folder)
    if FILE_NAME in (wrong or ()):
        raise LibraryError(seal.changed_by_others(folder))
    path = folder / FILE_NAME
    if wrong is None and user_version(path):
        check(path)
    fault = derived_fault(folder, wrong)
    if fault:
        with seal.locked(folder):  # nobody writes into what goes
            throw_away_derived(folder, fault)


def derived_fault(folder: Path, wrong: tuple[str, ...] | None) -> str:
    """What is wrong with derived results, given what `seal.changed` found; empty where nothing is, or there are none
    yet."""
    path = folder / "derived" / "derived.sqlite"
    if (folder / "derived").exists() and not (folder / "derived").is_dir():
        return "there was no folder"
    if wrong is not None:
        return "something else changed its bytes" if "derived/derived.sqlite" in wrong and path.exists() else ""
    try:
        if user_version(path):
            check(path)
    except Damaged:
        return "its database was broken"
    except OSError:
        return "it could not be read"
    return ""


def throw_away_derived(folder: Path, why: str) -> None:
    """Remove everything that can be made anew, and leave a note of why; by whoever holds the seal's lock."""
    seal.lift(folder)
    derived = folder / "derived"
    if derived.is_dir() and not derived.is_symlink():
        shutil.rmtree(derived)
    else:
        derived.unlink(missing_ok=True)
    derived.mkdir(mode=PRIVATE_FOLDER)
    at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    (derived / MADE_ANEW).write_text(json.dumps({"at": at, "why": why}), "utf-8")


def made_anew(folder: Path) -> dict[str, str]:
    """When all derived results were last thrown away because something was wrong with them (``at``), and ``why``;
    empty if never."""
    try:
        return dict(json.loads((folder / "derived" / MADE_ANEW).read_text("utf-8")))
    except (OSError, ValueError, TypeError):
        return {}


def seal_if_missing(folder: Path) -> None:
    """Seal databases that were looked through, unless somebody writes them now."""
    if not (folder / seal.FILE).exists():
        with suppress(LibraryError), seal.locked(folder, waits=0):
            seal.put_on(folder)


def _made_ready(folder: Path, path: Path) -> Engine:
    version = _checked(path, folder)
    derived, signals = folder / "derived", folder / "derived" / "signals"
    fresh = user_version(derived / "derived.sqlite") != schema.DERIVED_VERSION
    if fresh:
        with seal.locked(folder):
            seal.lift(folder)  # what it says of results is of those that are gone
    with nullcontext() if version == schema.LIBRARY_VERSION and not fresh else seal.lifted(folder):
        if fresh:
            if derived.exists() and not (derived / MADE_ANEW).exists():
                shutil.rmtree(derived)
            (derived / "derived.sqlite").unlink(missing_ok=True)
            derived.mkdir(exist_ok=True, mode=PRIVATE_FOLDER)
            make_private(derived / "derived.sqlite")
            with closing(sqlite3.connect(derived / "derived.sqlite")) as raw:
                raw.execute("PRAGMA journal_mode=WAL")
        for place in (folder / "originals", signals):
            if place.exists() and not place.is_dir():
                place.unlink()
            place.mkdir(exist_ok=True, mode=PRIVATE_FOLDER)
        if not path.exists():
            make_private(path)
        engine = _connect(folder, lambda p: str(p))
        if version != schema.LIBRARY_VERSION:
            _migrate(engine)
        if fresh:
            schema.derived.create_all(engine)
            with engine.begin() as connection:
                connection.exec_driver_sql(f"PRAGMA derived.user_version={schema.DERIVED_VERSION}")
            with engine.connect() as connection:
                connection.exec_driver_sql("PRAGMA derived.wal_checkpoint(TRUNCATE)")
    return engine


def _checked(path: Path, folder: Path) -> int:
    version = user_version(path)
    if version > schema.LIBRARY_VERSION:
        raise LibraryError(f"the library {folder} was made by a newer Footwork: update Footwork to open it")
    return version


def _readonly_uri(path: Path, more: str = "&immutable=1") -> str:
    from urllib.parse import quote

    return f"file:{quote(str(path.resolve()))}?mode=ro{more}"


def _connect(folder: Path, address: Callable[[Path], str]) -> Engine:
    readonly = address is _readonly_uri
    if readonly:
        wrong = seal.changed(folder) or ()
        if FILE_NAME in wrong:
            raise LibraryError(seal.changed_by_others(folder))
        if wrong:
            raise LibraryError(f"the results in {folder} are damaged: open the library once where it can be written")
        version = _checked(folder / FILE_NAME, folder)
        if (
            version != schema.LIBRARY_VERSION
            or user_version(folder / "derived" / "derived.sqlite") != schema.DERIVED_VERSION
        ):
            raise LibraryError(f"the library {folder} must be updated but cannot be written: make it writable once")

    def creator() -> sqlite3.Connection:
        raw = sqlite3.connect(
            address(folder / FILE_NAME), timeout=20, isolation_level=None, uri=readonly, check_same_thread=False
        )
        raw.execute("ATTACH DATABASE ? AS derived", (address(folder / "derived" / "derived.sqlite"),))
        if not readonly:
            raw.execute("PRAGMA journal_mode=WAL")
            raw.execute("PRAGMA synchronous=FULL")
            raw.execute("PRAGMA foreign_keys=ON")
        return raw

    engine = create_engine("sqlite://", creator=creator, poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def begin(connection: Any) -> None:
        # Readers take no lock, so that pages answer while an import writes.
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _migrate(engine: Engine) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    with engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        connection.exec_driver_sql(f"PRAGMA user_version={schema.LIBRARY_VERSION}")
        connection.commit()
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")


def _explain(error: Exception, folder: Path) -> LibraryError:
    text = str(getattr(error, "orig", error))
    if "disk is full" in text or "disk I/O" in text:
        return LibraryError(
            f"the disk that holds {folder} is full: free some space and try again; nothing was half-written"
        )
    if "locked" in text:
        return LibraryError(f"the library {folder} is busy in another program: try again in a moment")
    if "readonly" in text or "unable to open" in text:
        return LibraryError(f"the library {folder} cannot be written: check its permissions")
    return LibraryError(f"the library database in {folder} is damaged ({text}): restore it from a backup")


def check(path: Path) -> None:
    """Look through a whole database file. Raises Damaged where it is, LibraryError where another program holds it."""
    try:
        with closing(sqlite3.connect(_readonly_uri(path, ""), uri=True)) as raw:
            rows = [str(row[0]) for row in raw.execute("PRAGMA integrity_check")]
            rows += [f"a row of {r[0]} points nowhere" for r in raw.execute("PRAGMA foreign_key_check")]
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "unable to open" in str(error):
            raise _explain(error, path.parent) from None
        rows = [str(error)]
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        rows = [str(error)]
    if rows != ["ok"]:
        found = next(r for r in rows if r != "ok")[:100].splitlines()[0]
        raise Damaged(f"the database {path} is damaged ({found}): restore it from a backup")


@contextmanager
def reading(engine: Engine, folder: Path) -> Iterator[Connection]:
    """A consistent view; database errors become one sentence. Raises LibraryError."""
    try:
        with engine.connect() as connection:
            yield connection
    except (DatabaseError, sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise _explain(error, folder) from None


@contextmanager
def writing(engine: Engine, folder: Path) -> Iterator[Connection]:
    """One write transaction, all or nothing; database errors become one sentence. Raises LibraryError."""
    try:
        with seal.lifted(folder), engine.execution_options(write=True).begin() as connection:
            yield connection
    except (DatabaseError, sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise _explain(error, folder) from None
