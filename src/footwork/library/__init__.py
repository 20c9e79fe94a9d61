"""Use cases on one runner's library, a module a topic, behind one thin `Library`."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from footwork.errors import LibraryError
from footwork.library.athlete import Athlete
from footwork.library.runs import Run, RunRow
from footwork.library.said import Said
from footwork.quantities import Effort
from footwork.signals import Course, Recording, Signals
from footwork.store import database, schema

Path_ = str | Path


def read(path: Path_) -> list[Recording] | Course:
    """Recordings (or the course) in a file, gzipped or zipped or not.

    Raises
    ------
    footwork.FootworkError
        Not a recording, or unreadable.
    """
    from footwork import formats
    from footwork.formats import archive

    name, data = archive.read_single(Path(path))
    return formats.read(data, name)


class Library(Said):
    """One runner's recordings and what follows from them. Open with `Library.open`, close or use ``with``."""

    def __init__(self, folder: Path, engine: Any, readonly: bool) -> None:
        self.folder = folder
        self.readonly = readonly
        self._engine = engine
        self._cache: dict[Any, Any] = {}
        self._cache_stamp: Any = None
        self._scratch: tempfile.TemporaryDirectory[str] | None = None
        self.athlete = Athlete(self)
        self.problems: list[str] = []  # what the last refresh could not rebuild, in sentences

    @classmethod
    def open(
        cls, path: Path_, create: bool = True, readonly: bool | None = None, progress: Any = None, refresh: bool = True
    ) -> Library:
        """Open the library in a folder; ``readonly`` is found out where not given.

        Results of an older method version are made anew first unless ``refresh`` is false, which can take a while;
        ``progress(done, total, name)`` is called along the way.

        Raises
        ------
        LibraryError
            No library there and ``create`` is false, a newer version, damage, or no permission.
        """
        folder = Path(path)
        if folder.exists() and not folder.is_dir():
            raise LibraryError(f"{folder} is a file, not a library folder")
        if readonly is None:
            readonly = folder.exists() and not database.is_writable(folder)
        library = cls(folder, database.open_engine(folder, create, readonly), readonly)
        if refresh and not readonly:
            library.refresh(progress)
        return library

    @classmethod
    def from_nothing(cls) -> Library:
        """An empty throw-away library, for questions that carry their own data."""
        scratch = tempfile.TemporaryDirectory(prefix="footwork-")
        library = cls.open(Path(scratch.name) / "library")
        library._scratch = scratch
        return library

    @classmethod
    def from_files(cls, paths: Sequence[Path_], start: dt.datetime | None = None) -> Library:
        """A throw-away library with just these recordings, for questions that need no library."""
        library = cls.from_nothing()
        library.add(paths, start=start)
        return library

    def close(self) -> None:
        """Let go of the databases; a throw-away library is deleted."""
        if not self.readonly:
            with self.reading() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        self._engine.dispose()
        if self._scratch is not None:
            self._scratch.cleanup()

    def __enter__(self) -> Library:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A consistent view of both databases."""
        with database.reading(self._engine, self.folder) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction, all or nothing. Raises LibraryError where the library cannot be written."""
        if self.readonly:
            raise LibraryError(f"the library {self.folder} is read-only here: make it writable to change it")
        with database.writing(self._engine, self.folder) as connection:
            yield connection

    def cached(self, key: Any, make: Callable[[], Any]) -> Any:
        """A result across runs, kept until anything in the library's databases changes."""
        stamp = database.stamp(self.folder)
        if stamp != self._cache_stamp:
            self._cache, self._cache_stamp = {}, stamp
        # An answer begun before a write belongs to the old cache, which this name still holds.
        cache = self._cache
        if key not in cache:
            cache[key] = make()
        return cache[key]

    def known_files(self) -> list[str]:
        """SHA-256 of every original."""
        with self.reading() as connection:
            return list(connection.execute(select(schema.file.c.sha256)).scalars())

    def add(
        self, paths: Sequence[Path_], start: dt.datetime | None = None, workers: int = 1, progress: Any = None
    ) -> dict[str, Any]:
        """Import recordings from files and folders.

        Parameters
        ----------
        paths : sequence of path
            FIT, GPX or CSV, plain, gzipped or zipped; folders are searched.
        start : datetime, optional
            Timezone-aware start for a file without a date.
        workers : int
            Processes to decode with; 1 uses none.
        progress : callable, optional
            Called with files done, files in all, and the name.

        Returns
        -------
        dict
            Lists ``added``, ``duplicates``, ``recovered``, ``skipped``, ``failed`` of ``{"file", "reason"}``.
        """
        from footwork.library import importing

        if self.readonly:
            raise LibraryError(f"the library {self.folder} is read-only here: make it writable to add to it")
        report = importing.add(self, [Path(p) for p in paths], start, workers, progress).to_json()
        self.refresh()  # a recording that joins a corrected run takes part in the corrections
        return report

    def refresh(self, progress: Any = None) -> int:
        """Make results anew that are missing or of an older method version or mass; returns how many."""
        from footwork.library import results

        with self.reading() as connection:
            old = results.stale(connection, self.athlete.masses(), self.zone)
        self.problems = results.rebuild(self, old, progress) if old else []
        return len(old) - len(self.problems)

    def runs(self) -> list[RunRow]:
        """All runs, the newest first."""
        from footwork.library import runs

        found: list[RunRow] = self.cached("runs", lambda: runs.rows(self))
        return found

    def find(self, **wanted: Any) -> list[RunRow]:
        """Runs that have all that is wanted, the newest first; see `finding.Wanted` for what can be."""
        from footwork.library import finding

        return finding.find(self.runs(), finding.Wanted(**wanted))

    def totals(self, by: str, rows: list[RunRow] | None = None) -> list[dict[str, Any]]:
        """Runs (all by default) added up by ``week`` or ``month``; see `finding.totals`."""
        from footwork.library import finding

        return finding.totals(self, self.runs() if rows is None else rows, by)

    def run(self, run_id: int) -> Run:
        """One run with all that is known of it. Raises UsageError where there is none."""
        from footwork.library import runs

        return runs.one(self, run_id)

    def signals(self, run_id: int) -> Signals:
        """1 Hz signals of a run's primary recording."""
        from footwork.library import runs

        return runs.signals(self, run_id)

    def compare(self, run_id: int, first: int = 1, second: int = 2) -> dict[str, Any]:
        """Agreement of two recordings of a run; see `compare.of_run`."""
        from footwork.library import compare

        found: dict[str, Any] = self.cached(
            ("compare", run_id, first, second), lambda: compare.of_run(self, run_id, first, second)
        )
        return found

    def devices(self) -> dict[str, Any]:
        """Every scale with its use, drift and checks, and conversions to the main one; see `devices.answer`."""
        from footwork.library import devices

        return devices.answer(self)

    def device_check(self, run_id: int, start: float | None = None) -> dict[str, Any]:
        """What the device check in a run says; ``start`` [s] where it is known better than it can be found."""
        from footwork.library import devices

        return devices.checked(self, run_id, start)

    def power_at_speed(self, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
        """Power at speed of a scale with its band and data; see `powerspeed.answer`."""
        from footwork.library import powerspeed

        return powerspeed.answer(self, date, scale)

    def mean_on(self, run_id: int, scale: str) -> dict[str, Any]:
        """Mean power of a run on a scale, converted where it was not measured there; see `scales.mean_on`."""
        from footwork.library import scales

        return scales.mean_on(self, run_id, scale)

    def activities(self) -> list[dict[str, Any]]:
        """Recordings of other sports, kept for their load: start, sport, time, work, heart rate."""
        from footwork.library import runs

        return runs.activities(self)

    def scales(self) -> dict[str, str]:
        """Scale keys and the names they are shown by; ``model`` is modelled power."""
        from footwork.library import placing

        return placing.names(self)

    @property
    def zone(self) -> dt.tzinfo | None:
        """The runner's time zone, for recordings that state no offset; None is this machine's."""
        from zoneinfo import ZoneInfo

        name = self.setting("zone")
        return ZoneInfo(name) if name else None

    def setting(self, name: str, default: str = "") -> str:
        """A setting: ``units`` is metric or imperial, ``zone`` an IANA time zone."""
        with self.reading() as connection:
            value = connection.execute(select(schema.setting.c.value).where(schema.setting.c.name == name)).scalar()
        return default if value is None else str(value)

    def set_setting(self, name: str, value: str) -> None:
        """Set a setting. Raises UsageError for an unknown one."""
        from zoneinfo import available_timezones

        from footwork.errors import UsageError

        if name == "zone":
            if value not in available_timezones():
                raise UsageError(f"'{value}' is no time zone: write it as Europe/Lisbon")
        elif (name, value) not in {("units", "metric"), ("units", "imperial")}:
            raise UsageError(f"there is no setting {name} = {value}: units can be metric or imperial")
        self.store_setting(name, value)

    def store_setting(self, name: str, value: str) -> None:
        """Keep a setting as it is given."""
        with self.writing() as connection:
            connection.execute(schema.setting.delete().where(schema.setting.c.name == name))
            connection.execute(schema.setting.insert().values(name=name, value=value))

    def capacity(
        self,
        efforts: Sequence[str | Effort] = (),
        date: dt.date | None = None,
        scale: str | None = None,
        mass: float | None = None,
    ) -> Any:
        """Critical power, W′, tail, domains and their evidence; see `capacity.Capacity`."""
        from footwork.library import capacity

        return capacity.answer(self, efforts, date, scale, mass)

    def history(self, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
        """Capacity as plain JSON with its ``history`` of every day, what ``moved`` it, and which ``tests`` tell
        most."""
        from footwork.library import history

        return history.told(self, self.capacity(date=date, scale=scale))

    def usual(self, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
        """Usual watts for easy, steady and hard running and at pace, and how the last runs compare; plain JSON."""
        from footwork.library import usual

        return usual.answer(self, date, scale)

    def accept(self, watts: float, date: dt.date | None = None, scale: str | None = None) -> dict[str, Any]:
        """Accept a CP [W] from a date on; see `accepted.accept`."""
        from footwork.library import accepted

        return accepted.accept(self, watts, date, scale)

    def withdraw(self, date: dt.date, scale: str | None = None) -> int:
        """Take back the CP that was accepted on a date; returns how many entries that were."""
        from footwork.library import accepted

        return accepted.forget(self, date, scale)

    def race(self, **question: Any) -> Any:
        """Power, pace, time and splits for a race; the arguments are the fields of `race.Question`."""
        from footwork.library import race

        if any(
            question.get(name) is not None for name in ("course", "heights", "reports")
        ):  # a file may change under its name
            return race.answer(self, **question)
        key = ("race", *sorted((k, tuple(v) if isinstance(v, list) else v) for k, v in question.items()))
        return self.cached(key, lambda: race.answer(self, **question))

    def review(self, run_id: int, **question: Any) -> dict[str, Any]:
        """A race as it was run against the plan of the day before; see `review.answer`."""
        from footwork.library import review

        return review.answer(self, run_id, **question)

    def predictions(self) -> dict[str, Any]:
        """Predictions of past races against their results; see `review.predictions`."""
        from footwork.library import review

        return review.predictions(self)

    def efforts(self, run_id: int, signal: str | None = None) -> list[dict[str, Any]]:
        """Warm-up, work, recovery and cool-down of a run, found without laps; see `intervals.of_run`."""
        from footwork.library import intervals

        return intervals.of_run(self, run_id, signal)

    def balance(self, run_id: int) -> dict[str, Any]:
        """W′ balance along a run with its interval; see `intervals.balance`."""
        from footwork.library import intervals

        return intervals.balance(self, run_id)

    def today(self) -> dict[str, Any]:
        """What is new and what is due."""
        from footwork.library import today

        found: dict[str, Any] = self.cached("today", lambda: today.answer(self))
        return found

    def load(self, since: dt.date | None = None, until: dt.date | None = None) -> Any:
        """Time in domains and CP-minutes of a span of dates."""
        from footwork.library import load

        return load.span(self, since, until)

    def run_load(self, run_id: int) -> dict[str, Any] | None:
        """Time in domains and CP-minutes of a run; None where its scale has no CP."""
        from footwork.library import load, runs

        return load.run(self, runs.find(self, run_id))

    def best_curve(
        self, since: dt.date | None = None, until: dt.date | None = None, scale: str | None = None
    ) -> list[dict[str, Any]]:
        """Mean maximal power of a span of dates, with the run that set each point."""
        from footwork.library import capacity

        return capacity.best_curve(self, since, until, scale)

    def export(self, run_id: int, out: Path_, with_location: bool = False) -> dict[str, Any]:
        """Write a run's signals as CSV or Parquet by the ending of ``out``; see `export.one`."""
        from footwork.library import export

        return export.one(self, run_id, Path(out), with_location)

    def export_all(self, folder: Path_, **how: Any) -> dict[str, Any]:
        """Write everything as plain files into a new folder; see `export.everything`."""
        from footwork.library import export

        return export.everything(self, Path(folder), **how)

    def places(self) -> list[dict[str, Any]]:
        """Private places, around which exports hold no positions."""
        from footwork.library import export

        return export.places(self)

    def add_place(self, name: str, latitude: float, longitude: float, radius: float = 300.0) -> None:
        """Keep positions around a place [deg, m] out of exports; see `export.add_place`."""
        from footwork.library import export

        export.add_place(self, name, latitude, longitude, radius)

    def remove_place(self, name: str) -> None:
        """Forget a private place."""
        from footwork.library import export

        export.remove_place(self, name)

    def backup(self, path: Path_) -> dict[str, Any]:
        """Write all that cannot be rebuilt into one verified file; see `keeping.backup`."""
        from footwork.library import keeping

        return keeping.backup(self, Path(path))

    @classmethod
    def restore(cls, path: Path_, folder: Path_) -> Library:
        """Make a library folder from a backup, whole or not at all, and open it; see `keeping.restore`."""
        from footwork.library import keeping

        target = Path(folder).resolve()
        keeping.restore(Path(path), target)
        return cls.open(target, create=False)
