"""What is known of one runner: the databases, what was told, and the rows that questions are asked of."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, select

from footwork.errors import LibraryError
from footwork.history.athlete import Athlete
from footwork.history.catalogue import RunRow
from footwork.quantities import Day, Span, as_date, as_day, as_distance, as_duration, as_moment, as_number, as_seconds
from footwork.results.health import Context, Health, Sharing
from footwork.signals import Signals
from footwork.store import database, schema, stamps

Path_ = str | Path


class History:
    """One runner's recordings and all that the runner told, without any question. See `footwork.Library`."""

    def __init__(self, folder: Path, engine: Any, readonly: bool) -> None:
        self.folder = folder
        self.readonly = readonly
        self._engine = engine
        self._kept: tuple[dict[Any, Any], dict[Any, threading.RLock]] = {}, {}  # results, and who makes one
        self._kept_stamp: Any = None
        self._looking = threading.Lock()
        self._scratch: Any = None  # the folder of a throw-away library
        self.athlete = Athlete(self)
        self.for_coach = False  # whether a coach looks at it, who sees of the diary what the runner shares
        self.problems: list[str] = []  # what the last refresh could not rebuild, in sentences

    @classmethod
    def open(
        cls, path: Path_, create: bool = True, readonly: bool | None = None, progress: Any = None, refresh: bool = True
    ) -> Self:
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

    def close(self) -> None:
        """Let go of the databases; a throw-away library is deleted."""
        if not self.readonly:
            with self.reading() as connection:
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        self._engine.dispose()
        if not self.readonly:
            database.seal_if_missing(self.folder)
        self._kept = {}, {}  # at once, not when the collector comes by: a worker opens one library after another
        if self._scratch is not None:
            self._scratch.cleanup()

    def __enter__(self) -> Self:
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

    def state(self) -> Any:
        """Equal as long as nothing in the library's databases changes."""
        return stamps.stamp(self.folder)

    def cached(self, key: Any, make: Callable[[], Any]) -> Any:
        """A result across runs, kept until anything in the library's databases changes or the day ends, for what is
        asked without a date is of today; threads that want the same wait for the first."""
        with self._looking:
            state = self.state(), dt.date.today()
            if state != self._kept_stamp:
                self._kept, self._kept_stamp = ({}, {}), state
            # An answer begun before a write belongs to the old results, which these names still hold.
            results, makers = self._kept
            maker = makers.setdefault(key, threading.RLock())
        if key not in results:
            with maker:
                if key not in results:
                    results[key] = make()
        return results[key]

    def known_files(self) -> list[str]:
        """SHA-256 of every original."""
        with self.reading() as connection:
            return list(connection.execute(select(schema.file.c.sha256)).scalars())

    def file_names(self) -> dict[str, tuple[str, float | None]]:
        """Names of the originals as they came, and the start that was given with them [Unix s], by SHA-256."""
        f = schema.file.c
        with self.reading() as connection:
            return {r[0]: (r[1], r[2]) for r in connection.execute(select(f.sha256, f.name, f.start_given))}

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
            Lists ``added``, ``duplicates``, ``recovered``, ``healed`` (originals put right), ``told`` (days of the
            diary), ``skipped``, ``failed`` of ``{"file", "reason"}``.

        Raises
        ------
        LibraryError
            Read-only, another import is running, or the disk is full; what was added before is kept.
        """
        from footwork.history.recordings import importing

        if self.readonly:
            raise LibraryError(f"the library {self.folder} is read-only here: make it writable to add to it")
        report = importing.add(self, [Path(p) for p in paths], start, workers, progress).to_json()
        self.refresh()  # a recording that joins a corrected run takes part in the corrections
        return report

    def refresh(self, progress: Any = None) -> int:
        """Make results anew that are missing or of an older method version or mass; returns how many."""
        from footwork.history.recordings import results

        with self.reading() as connection:
            old = results.stale(connection, self.athlete.masses(), self.zone)
        self.problems = results.rebuild(self, old, progress) if old else []
        return len(old) - len(self.problems)

    def runs(self) -> list[RunRow]:
        """All runs, the newest first."""
        from footwork.history import catalogue

        found: list[RunRow] = self.cached("runs", lambda: catalogue.rows(self))
        return found

    def current_day(self) -> dt.date:
        """The day that is meant where none is told: today, or in an archive its newest run's."""
        from footwork.history import catalogue

        found: dt.date = self.cached("current day", lambda: catalogue.current_day(self))
        return found

    def signals(self, run_id: int) -> Signals:
        """1 Hz signals of a run's primary recording."""
        from footwork.history.recordings import run_signals

        return run_signals.signals(self, run_id)

    def mean_on(self, run_id: int, scale: str) -> dict[str, Any]:
        """Mean power of a run on a scale, converted where it was not measured there; see `conversions.mean_on`."""
        from footwork.history.scales import conversions

        return conversions.mean_on(self, run_id, scale)

    def activities(self) -> list[dict[str, Any]]:
        """Recordings of other sports, kept for their load: start, sport, time, work, heart rate."""
        from footwork.history import catalogue

        return catalogue.activities(self)

    def scales(self) -> dict[str, str]:
        """Scale keys and the names they are shown by; ``model`` is modelled power."""
        from footwork.history.scales import scale_keys

        return scale_keys.names(self)

    @property
    def zone(self) -> dt.tzinfo | None:
        """The runner's time zone, for recordings that state no offset; None is this machine's."""
        from zoneinfo import ZoneInfo

        name = self.setting("zone")
        return ZoneInfo(name) if name else None

    def setting(self, name: str, default: str = "") -> str:
        """A setting: ``units`` is metric or imperial, ``zone`` an IANA time zone, ``watched`` a folder whose new
        recordings come in by themselves while pages are served."""
        with self.reading() as connection:
            value = connection.execute(select(schema.setting.c.value).where(schema.setting.c.name == name)).scalar()
        return default if value is None else str(value)

    def set_setting(self, name: str, value: str) -> None:
        """Set a setting; an empty ``watched`` folder is watched no more. Raises UsageError for an unknown one."""
        from footwork.history import settings

        self.store_setting(name, settings.as_kept(name, value))

    def store_setting(self, name: str, value: str) -> None:
        """Keep a setting as it is given."""
        with self.writing() as connection:
            connection.execute(schema.setting.delete().where(schema.setting.c.name == name))
            connection.execute(schema.setting.insert().values(name=name, value=value))

    def accept(self, watts: float | str, date: Day | None = None, scale: str | None = None) -> dict[str, Any]:
        """Accept a CP [W] from a date on; see `accepted.accept`."""
        from footwork.history.log import accepted

        return accepted.accept(self, as_number(watts, "a critical power"), as_day(date), scale)

    def withdraw(self, date: Day, scale: str | None = None) -> int:
        """Take back the CP that was accepted on a date; returns how many entries that were."""
        from footwork.history.log import accepted

        return accepted.forget(self, as_date(date), scale)

    def places(self) -> list[dict[str, Any]]:
        """Private places, around which exports hold no positions."""
        from footwork.history import private_places

        return private_places.places(self)

    def add_place(self, name: str, latitude: float, longitude: float, radius: float = 300.0) -> None:
        """Keep positions around a place [deg, m] out of exports; see `private_places.add_place`."""
        from footwork.history import private_places

        private_places.add_place(self, name, latitude, longitude, radius)

    def remove_place(self, name: str) -> None:
        """Forget a private place."""
        from footwork.history import private_places

        private_places.remove_place(self, name)

    def mark(
        self,
        run_id: int,
        name: str,
        remove: bool = False,
        incline: float | None = None,
        surface: str | None = None,
        shoe: str | None = None,
    ) -> list[str]:
        """Mark a run as race, test or another kind (`entries.MARKS`), or take the mark off; returns its marks. A
        surface and shoe to be said with it are looked at first, so that nothing is kept where one cannot be.

        ``incline`` of a treadmill [%].
        """
        from footwork.history.log import entries

        entries.check_description(self, run_id, surface, shoe, "" if remove else name)
        return entries.mark(self, run_id, name, remove, incline)

    def judge_heart_rate(self, run_id: int, value: str) -> int:
        """Say that a run's heart rate is ``sound`` or ``doubtful``; see `corrections.judge_heart_rate`."""
        from footwork.history.log import corrections

        return corrections.judge_heart_rate(self, run_id, value)

    def describe_run(self, run_id: int, surface: str | None = None, shoe: str | None = None) -> None:
        """Say the surface (`entries.SURFACES`) or the shoe of a run; an empty text takes it back."""
        from footwork.history.log import entries

        entries.describe(self, run_id, surface, shoe)

    def enter_run(self, start: dt.datetime | str, duration: Span, metres: Span | None = None, **more: Any) -> int:
        """Enter a run that was not recorded, or a past race result; returns its number. See `corrections.enter_run`."""
        from footwork.history.log import corrections

        return corrections.enter_run(
            self, as_moment(start), as_duration(duration), None if metres is None else as_distance(metres), **more
        )

    def correct_distance(self, run_id: int, metres: Span) -> int:
        """Correct the distance of a run [m]; returns the number of the edit, by which it can be undone."""
        from footwork.history.log import corrections

        return corrections.distance(self, run_id, as_distance(metres))

    def trim(self, run_id: int, begin: Span | None = None, end: Span | None = None) -> int:
        """Keep only the elapsed seconds from ``begin`` to ``end``; returns the number of the edit.

        Both [s]. Raises UsageError outside the run.
        """
        from footwork.history.log import corrections

        return corrections.trim(self, run_id, as_seconds(begin), as_seconds(end))

    def leave_out(
        self, run_id: int, begin: Span | None = None, end: Span | None = None, only: str | None = None
    ) -> int:
        """Leave elapsed seconds, or the whole run, out of analysis (``only`` one signal); returns the edit's number.

        Both [s]. Raises UsageError outside the run.
        """
        from footwork.history.log import corrections

        return corrections.leave_out(self, run_id, as_seconds(begin), as_seconds(end), only)

    def split(self, run_id: int, at: Span) -> tuple[int, int]:
        """Make two runs of one at an elapsed second; returns the number of the edit and the new, later run.

        ``at`` [s]. Raises UsageError outside the run.
        """
        from footwork.history.log import corrections

        return corrections.split(self, run_id, as_duration(at))

    def merge(self, run_id: int, other: int) -> int:
        """Make one run of two that follow each other; returns the number of the edit."""
        from footwork.history.log import corrections

        return corrections.merge(self, run_id, other)

    def pair(self, run_id: int, other: int) -> int:
        """Say that another run is this one by a second device; returns the edit's number. See `corrections.pair`."""
        from footwork.history.log import corrections

        return corrections.pair(self, run_id, other)

    def add_lap(self, run_id: int, begin: Span, end: Span) -> int:
        """Add a lap by hand between two elapsed seconds; returns the number of the edit.

        Both [s]. Raises UsageError outside the run.
        """
        from footwork.history.log import corrections

        return corrections.lap(self, run_id, as_duration(begin), as_duration(end))

    def delete(self, run_id: int, forever: bool = False) -> list[int]:
        """Hide a run, which can be undone, or remove it for ever with its originals; returns the runs that went."""
        from footwork.history.log import corrections
        from footwork.history.recordings import deletion

        if forever:
            return deletion.delete_forever(self, run_id)
        corrections.hide(self, run_id)
        return [run_id]

    def bound_to(self, run_id: int) -> list[int]:
        """Runs of the same files, which go with this one when it is deleted for ever."""
        from footwork.history.recordings import deletion

        return deletion.bound_to(self, run_id)

    def edits(self, run_id: int | None = None, undone: bool = False) -> list[dict[str, Any]]:
        """What was said about a run (all by default), the newest first; each ``id`` can be undone."""
        from footwork.history.log import entries

        return entries.listed(self, run_id, undone)

    def undo(self, edit: int) -> str:
        """Take one edit back; returns what it was."""
        from footwork.history.log import entries

        return entries.undo(self, edit)

    def tell(self, run: int | None = None, date: Day | None = None, **values: Any) -> list[int]:
        """Write into the diary of a run or a day; see `diary.tell`."""
        from footwork.history.log import diary

        return diary.tell(self, run, as_day(date), **values)

    def diary_from(self, path: Path_, columns: Mapping[str, str]) -> int:
        """Values of days from a CSV file; ``columns`` names its column of ``date`` and of each field. Returns how many
        were new."""
        from footwork.history.log import diary

        return diary.from_csv(self, Path(path), columns)

    def diary(self, since: Day | None = None, until: Day | None = None) -> list[dict[str, Any]]:
        """What the diary holds, the newest day first; nothing where it is not shared with who looks."""
        from footwork.history.log import diary

        return [] if self.diary_withheld else diary.days(self, as_day(since), as_day(until))

    def health(self, date: Day | None = None) -> Health | None:
        """What the diary tells of a day, today by default, that holds hard running back; see `diary.health`."""
        from footwork.history.log import diary

        found = diary.health(self, as_day(date))
        return replace(found, told=False) if found is not None and self.diary_withheld else found

    def sharing(self) -> Sharing:
        """What the runner lets a coach see; `privacy.sharing`."""
        from footwork.history.log import privacy

        return privacy.sharing(self)

    def consent(self, note: str = "", date: Day | None = None) -> int:
        """Write down that the runner consents to a coach reading this library; `privacy.consent`."""
        from footwork.history.log import privacy

        return privacy.consent(self, note, as_day(date))

    def withdraw_consent(self) -> int:
        """Write down that consent is withdrawn. Raises UsageError where there is none."""
        from footwork.history.log import privacy

        return privacy.withdraw(self)

    def share_diary(self, shared: bool) -> int:
        """Let a coach see diary and health, or not. Raises UsageError without consent."""
        from footwork.history.log import privacy

        return privacy.share_diary(self, shared)

    @contextmanager
    def seen_by_coach(self) -> Iterator[Self]:
        """The same library as a coach may see it, for what is passed on."""
        made = type(self)(self.folder, self._engine, self.readonly)
        made.for_coach = True
        yield made

    @property
    def diary_withheld(self) -> bool:
        """Whether a coach looks who is not shown the diary."""
        return self.for_coach and not self.sharing().diary

    def context(self) -> Context:
        """What the runner chose to tell of what moves heart rate; `diary.context`."""
        from footwork.history.log import diary

        found = diary.context(self)
        return replace(found, told=False) if self.diary_withheld else found

    def pause(self) -> str:
        """What a pause of over two weeks up to today leaves unknown of the runner, as sentences; empty without one."""
        from footwork.wording.due_words import after_pause

        rows = self.runs()
        today = dt.date.today()
        return after_pause(rows[0].local.date() if rows else None, today, self.current_day() != today)

    def set_weather(self, run_id: int, metar: str | None = None, **values: Any) -> dict[str, Any]:
        """Keep the weather of a run, from a METAR line or values; see `weather.tell`."""
        from footwork.history.conditions import weather

        return weather.from_metar(self, run_id, metar) if metar else weather.tell(self, run_id, **values)

    def weather_from(self, path: str | Path) -> dict[str, Any]:
        """Weather for many runs from a table or dated METAR lines; see `weather.from_file`."""
        from footwork.history.conditions import weather

        return weather.from_file(self, Path(path))

    def rename_scale(self, name: str, new: str) -> str:
        """Give a scale another name; returns it."""
        from footwork.history.scales import decisions

        return decisions.rename(self, name, new)

    def join_scales(self, name: str, into: str) -> int:
        """Count two scales as one; returns the edit's number. See `decisions.join`."""
        from footwork.history.scales import decisions

        return decisions.join(self, name, into)

    def break_scale(self, name: str, date: Day) -> tuple[int, str]:
        """Let a device count as a new scale from a date on; returns the edit's number and the new scale's name."""
        from footwork.history.scales import decisions

        return decisions.accept_break(self, name, as_date(date))
