"""The diary: how a run or a day felt, sleep, resting heart rate, soreness, overnight heart rate variability, illness,
injury, well again, a note. What files tell of a day stands beside what was written by hand, and never over it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, delete

from footwork.errors import UsageError
from footwork.formats import wellness
from footwork.formats.wellness import Measured
from footwork.history.log import entries, parts, uniting
from footwork.results.health import Context, Health, Spell
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

# Field: (unit, lowest, highest); text fields have no bounds.
NUMBERS = {
    "exertion": ("of 10", 0.0, 10.0),
    "sleep": ("h", 0.0, 24.0),
    "resting_heart_rate": ("bpm", 25.0, 120.0),
    "soreness": ("of 10", 0.0, 10.0),
    "overnight_hrv": ("ms", 3.0, 300.0),
}


TEXTS = ("illness", "injury", "well", "note")
# What moves heart rate, only where the runner wants to tell it: field and what can be said of a day.
CONTEXT = {"pregnancy": ("begins", "over"), "heart_medication": ("begins", "over"), "period": ("begins",)}


FIELDS = (*NUMBERS, *TEXTS, *CONTEXT)


SAME = 0.05  # a value that differs by less tells nothing new
LEAST_CYCLE = 10  # days between first days of periods; our convention
ASK_AFTER_DAYS = 14  # an entry as old as that is asked about again; our convention
EASY_DAYS = (3, 14)  # easy days of a return: as many as days off, at least and at most; our convention


def health(library: History, day: dt.date | None = None) -> Health | None:
    """What holds hard running back on a day (today by default), as far as the diary told by then; None where nothing.

    Illness or injury counts from its entry until the diary says *well*; then as many easy days follow as were off.
    """
    asked = day or dt.date.today()
    open_since: dict[str, tuple[dt.date, dt.date]] = {}  # first and newest day of what still counts
    until: dt.date | None = None
    for on, name in _told_of_health(library, asked):
        if name != "well":
            open_since[name] = (open_since.get(name, (on, on))[0], on)
        elif open_since:
            off = (on - min(since for since, _ in open_since.values())).days
            easy = on + dt.timedelta(days=min(max(off, EASY_DAYS[0]), EASY_DAYS[1]) - 1)
            until, back = max(until or easy, easy), on
            open_since.clear()
    for name, state in (("illness", "ill"), ("injury", "injured")):
        if name in open_since:
            since, newest = open_since[name]
            return Health(state, since, None, (asked - newest).days > ASK_AFTER_DAYS)  # type: ignore[arg-type]
    return Health("returning", back, until) if until is not None and asked <= until else None


def context(library: History) -> Context:
    """What the runner told of what moves heart rate."""

    def make() -> Context:
        spells, periods = [], []
        started: dict[str, dt.date] = {}
        for row in reversed([r for r in days(library) if r["run"] is None and CONTEXT.keys() & r.keys()]):
            day = dt.date.fromisoformat(row["date"])
            if "period" in row:
                periods.append(day)
            for name in ("pregnancy", "heart_medication"):
                if row.get(name) == "begins":
                    started.setdefault(name, day)
                elif row.get(name) == "over" and name in started:
                    spells.append(Spell(started.pop(name), day))
        spells += [Spell(day, None) for day in started.values()]
        return Context(tuple(sorted(spells, key=lambda s: s.since)), tuple(periods))

    found: Context = library.cached("context", make)
    return found


def _told_of_health(library: History, until: dt.date) -> list[tuple[dt.date, str]]:
    """Illness, injury and well-again as they stand up to a day: day and field, of one day in the order they were
    written."""

    def make() -> list[tuple[dt.date, str]]:
        of_run = {row.id: row.local.date() for row in library.runs()}
        with library.reading() as connection:
            told = parts.read_entries(connection, "diary")
        newest: dict[tuple[dt.date, int, str], tuple[int, bool]] = {}
        for place, entry in enumerate(told):
            on = of_run.get(entry.run or 0) if entry.date is None else dt.date.fromisoformat(entry.date)
            if on is not None and entry.payload["name"] in ("illness", "injury", "well"):
                of = (on, entry.run or 0, entry.payload["name"])
                newest[of] = (place, entry.payload["value"] is not None)
        rows = [(on, number, name) for (on, _, name), (number, said) in newest.items() if said]
        return [(on, name) for on, _, name in sorted(rows)]

    every: list[tuple[dt.date, str]] = library.cached("told of health", make)
    return [row for row in every if row[0] <= until]


def tell(
    library: History, run: int | None = None, date: dt.date | None = None, **values: float | str | None
) -> list[int]:
    """Write into the diary of a run, or of a day (today by default); None takes a field back.

    Returns
    -------
    list of int
        Numbers of the entries, one a field.

    Raises
    ------
    UsageError
        An unknown field or an impossible value; nothing is written then.
    """
    if run is not None and date is not None:
        raise UsageError("say it of a run or of a day, not of both")
    if run is not None:
        entries.library_row(library, run)
    day = None if run is not None else date or dt.date.today()
    if day is not None and day > dt.date.today():
        raise UsageError(f"{day} lies in the future")
    kept: dict[str, float | str | None] = {}
    for name, value in values.items():
        if name not in FIELDS:
            raise UsageError(f"the diary has no '{name}': it has {', '.join(FIELDS)}")
        if name in NUMBERS and value is not None:
            unit, low, high = NUMBERS[name]
            if not low <= float(value) <= high:
                raise UsageError(f"{name.replace('_', ' ')} lies between {low:g} and {high:g} {unit}")
            kept[name] = float(value)
        elif name in CONTEXT and value not in (None, *CONTEXT[name]):
            said = " or ".join(f"'{word}'" for word in CONTEXT[name])
            raise UsageError(f"{name.replace('_', ' ')} is told of a day as {said}")
        elif name in CONTEXT and day is None:
            raise UsageError(f"{name.replace('_', ' ')} is told of a day, not of a run")
        else:
            text = " ".join(str(value).split())[:2000] if value is not None else None
            kept[name] = text or None
    for name in CONTEXT.keys() & kept.keys():
        _in_order(library, name, day or dt.date.today(), kept[name])
    for name in [n for n in CONTEXT if n in kept and kept[n] is None]:
        _forget(library, name, day or dt.date.today())
        del kept[name]
    of_file = _of_file(library, day) if run is None and day is not None and None in kept.values() else set()
    return [
        entries.write(
            library, "diary", run, {"name": n, "value": v, **({HIDES: True} if v is None and n in of_file else {})}, day
        )
        for n, v in kept.items()
    ]


def _of_file(library: History, day: dt.date) -> set[str]:
    """Fields of a day that show what a file told."""
    return {n for r in days(library, day, day) if r["run"] is None for n in r.get("from_file", ())}


def _in_order(library: History, name: str, day: dt.date, said: float | str | None) -> None:
    """Refuse an end of what did not begin, and a period that begins within another."""
    told = [(dt.date.fromisoformat(r["date"]), r[name]) for r in days(library) if r["run"] is None and name in r]
    what = name.replace("_", " ")
    if said == "over":
        before = [value for on, value in told if on < day]
        if not before or before[0] == "over":
            raise UsageError(f"no {what} is known to have begun before {day}: write the day it began first")
    near = [on for on, _ in told if name == "period" and said and 0 < abs((on - day).days) < LEAST_CYCLE]
    if near:
        raise UsageError(
            f"a period is known to begin on {near[0]}, less than {LEAST_CYCLE} days from {day}: only its first day is "
            f"written; footwork diary --date {near[0]} --clear period takes that one back"
        )


def _forget(library: History, name: str, day: dt.date) -> None:
    """Remove what was told of a day's context, so that nothing of it is left among the entries."""
    with library.writing() as connection:
        connection.exec_driver_sql("PRAGMA secure_delete=ON")
        told = parts.read_entries(connection, "diary", undone=True)
        gone = [e for e in told if e.run is None and e.date == day.isoformat() and e.payload["name"] == name]
        connection.execute(delete(schema.entry).where(schema.entry.c.id.in_([e.id for e in gone])))
        uniting.remember_forgotten(connection, [uniting.same_of(e) for e in gone])


FROM_FILE = "file"
HIDES = "hides"  # of an entry that takes away what a file told; taking back a hand entry shows the file's again


@dataclass
class FileValues:
    """What files told before: when and what, by day and field."""

    known: dict[tuple[str, str], tuple[str, float]]

    @classmethod
    def of(cls, connection: Connection) -> FileValues:
        """As the log holds them."""
        made = cls({})
        for entry in parts.read_entries(connection, "diary"):
            if entry.payload.get("source") == FROM_FILE and entry.date is not None:
                made.known[entry.date, entry.payload["name"]] = (entry.payload["at"], entry.payload["value"])
        return made

    def add(self, connection: Connection, measured: Sequence[Measured]) -> list[Measured]:
        """Write what is new, or told otherwise than by an earlier file of the same day, unless that measured later;
        returns what was written."""
        out = []
        for m in measured:
            key, at = (m.date.isoformat(), m.field), m.at.isoformat()
            before = self.known.get(key)
            if before is not None and (at < before[0] or abs(m.value - before[1]) < SAME):
                continue
            self.known[key] = (at, m.value)
            payload = {"name": m.field, "value": round(m.value, 2), "source": FROM_FILE, "at": at}
            entries.keep(connection, "diary", None, payload, m.date)
            out.append(m)
        return out


def from_csv(library: History, path: Path, columns: Mapping[str, str]) -> int:
    """Values of days from a CSV file, as `wellness.read_csv` takes them; never over what was written by hand. Returns
    how many are new.

    Raises
    ------
    UsageError, UnreadableFile
        No such file; a column or a value that cannot be.
    """
    if not path.is_file():
        raise UsageError(f"there is no file {path}")
    measured = wellness.read_csv(path.read_bytes(), columns)
    late = [m for m in measured if m.date > dt.date.today()]
    if late:
        raise UsageError(f"{late[0].date} lies in the future")
    with library.writing() as connection:
        return len(FileValues.of(connection).add(connection, measured))


def days(library: History, since: dt.date | None = None, until: dt.date | None = None) -> list[dict[str, Any]]:
    """What the diary holds, the newest day first: ``date``, ``run`` (None for the day itself), the fields told,
    and which of them a file told (``from_file``)."""
    of_run = {row.id: row for row in library.runs()}
    found: dict[tuple[str, int], dict[str, Any]] = {}
    measured: dict[tuple[str, int], dict[str, tuple[str, Any]]] = {}
    hidden: set[tuple[str, int, str]] = set()  # values of files that the runner took away
    with library.reading() as connection:
        told = parts.read_entries(connection, "diary")
    for entry in told:
        if entry.run is not None or entry.date is None:
            continue
        name, value = entry.payload["name"], entry.payload["value"]
        if entry.payload.get("source") == FROM_FILE:
            of_day = measured.setdefault((entry.date, 0), {})
            if entry.payload["at"] >= of_day.get(name, ("", None))[0]:  # of two that measured at once, the last told
                of_day[name] = entry.payload["at"], value
        else:
            found.setdefault((entry.date, 0), {})[name] = value
            (hidden.add if entry.payload.get(HIDES) else hidden.discard)((entry.date, 0, name))
    for key, of_day in measured.items():
        mine = found.setdefault(key, {})
        files = sorted(name for name in of_day if mine.get(name) is None and (*key, name) not in hidden)
        mine |= {name: of_day[name][1] for name in files}
        if files:
            mine["from_file"] = files
    for run_id, said in entries.told(library).items():
        if said.diary and run_id in of_run:
            found[(of_run[run_id].local.date().isoformat(), run_id)] = dict(said.diary)
    out = [
        {"date": date, "run": run or None, **{n: v for n, v in values.items() if v is not None}}
        for (date, run), values in sorted(found.items(), reverse=True)
        if any(v is not None for v in values.values())
    ]
    first, last = since.isoformat() if since else "", until.isoformat() if until else "9999"
    return [row for row in out if first <= row["date"] <= last]
