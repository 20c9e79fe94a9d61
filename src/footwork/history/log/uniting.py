"""Two copies of one runner's log brought together: entries that only the other side has are taken, what it took back is
taken back, and where both sides said something else of one thing it is shown and left as it is here.

The log is a list: an entry is the same on both sides where its kind and the moment it was made are. Numbers of entries
and runs differ between copies, so a run goes by the files it was recorded in, and numbers inside entries are changed on
the way.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, insert, select, update

from footwork.errors import UsageError
from footwork.history.log import entries, parts
from footwork.history.log.parts import Entry
from footwork.store import schema

if TYPE_CHECKING:
    from footwork.history.book import History

RUNS = ("other", "new_run")  # in a payload, numbers of runs
ENTRIES = ("season", "plan", "first", "was", "trial")  # in a payload or what it says of its plan, numbers of entries
PLAN = ("session", "season", "season-weeks", "comment", "trial")  # what a plan is made of
# Kinds of which each run, day or field has one word that counts.
SINGLE = ("diary", "session", "surface", "shoe", "heart-rate", "distance", "efforts", "weather")
FORGOTTEN = "forgotten"  # setting: hashes of entries and originals that were removed for ever, and do not come back


@dataclass
class United:
    """What bringing the other side's log here comes to, in sentences: ``new`` entries, those ``undone``, ``conflicts``
    that are left as they are here, and what is left out since its run is not here (``without_run``)."""

    new: list[str] = field(default_factory=list)
    undone: list[str] = field(default_factory=list)
    conflicts: list[str] = field(default_factory=list)
    without_run: list[str] = field(default_factory=list)

    @property
    def changes(self) -> int:
        """How many entries would be written or taken back."""
        return len(self.new) + len(self.undone)


def packed(library: History, kinds: Collection[str] = (), without: Collection[str] = ()) -> dict[str, Any]:
    """A library's log as plain JSON: entries (of some kinds only, or without some), and for each run the hashes of its
    files."""
    with library.reading() as connection:
        told = [e for e in parts.read_entries(connection, *kinds, undone=True) if e.kind not in without]
        files = _files_of_runs(connection)
        originals = list(connection.execute(select(schema.file.c.sha256)).scalars())
        a, f = schema.accepted, schema.athlete_fact
        chosen = connection.execute(select(a.c.scale_key, a.c.date, a.c.critical_power)).tuples().all()
        facts = connection.execute(select(f.c.name, f.c.date, f.c.value)).tuples().all()
    return {
        "accepted": [list(row) for row in chosen] if not kinds or "accepted" in kinds else [],
        "facts": [list(row) for row in facts] if not kinds else [],
        "entries": [
            {
                "id": e.id,
                "kind": e.kind,
                "run": e.run,
                "date": e.date,
                "payload": e.payload,
                "entered_at": e.entered_at,
                "undone_at": e.undone_at,
            }
            for e in told
        ],
        "runs": {str(run): sorted(of) for run, of in files.items()},
        "originals": sorted(originals),
    }


def _files_of_runs(connection: Connection) -> dict[int, set[str]]:
    """Hash and leg of every recording, by the run that it came as."""
    r, f = schema.recording, schema.file
    rows = connection.execute(select(r.c.run_id, f.c.sha256, r.c.leg).join(f, f.c.id == r.c.file_id))
    out: dict[int, set[str]] = {}
    for run, sha, leg in rows:
        if run is not None:
            out.setdefault(run, set()).add(f"{sha}:{leg}")
    return out


def unite(library: History, theirs: dict[str, Any], write: bool = False, take_theirs: bool = False) -> United:
    """Bring the other side's log here, or only say what that would come to.

    Parameters
    ----------
    library : Library
    theirs : dict
        As `packed` gives it.
    write : bool
        Whether it is done, all or nothing.
    take_theirs : bool
        Whether the other side's word counts where both said something else of one thing.

    Raises
    ------
    UsageError
        The log is another runner's: no file and no entry is in both; or it holds something else than a log.
    """
    try:
        told = [Entry(**row) for row in theirs["entries"]]
        if not all(isinstance(e.payload, dict) and isinstance(e.entered_at, float | int) for e in told):
            raise TypeError
        runs = {int(k): set(v) for k, v in theirs["runs"].items()}
        originals = set(theirs["originals"])
    except (KeyError, TypeError, ValueError, AttributeError):
        raise UsageError("what was handed over holds no log of ours") from None
    if strange := sorted({e.kind for e in told} - entries.KINDS):
        raise UsageError(f"it was made by a newer Footwork, which knows '{strange[0]}': update Footwork to receive it")
    out = United()
    facts = _read_facts(theirs)
    if not write:
        with library.reading() as connection:
            _united(library, connection, told, runs, originals, out, False, take_theirs)
            _facts_united(connection, facts, out, False, take_theirs)
        return out
    with library.writing() as connection:
        _united(library, connection, told, runs, originals, out, True, take_theirs)
        _facts_united(connection, facts, out, True, take_theirs)
    library.refresh()
    return out


def _united(
    library: History,
    connection: Connection,
    told: list[Entry],
    runs: dict[int, set[str]],
    originals: set[str],
    out: United,
    write: bool,
    take_theirs: bool,
) -> None:
    mine = parts.read_entries(connection, undone=True)
    here = {same_of(e): e for e in mine}
    known = set(connection.execute(select(schema.file.c.sha256)).scalars())
    shared = bool(originals & known) or any(same_of(e) in here for e in told)
    if (mine or known) and not shared:
        raise UsageError("this is another runner's: no recording and no entry of it is in this library")
    gone = forgotten(connection)
    words = _Words(library.diary_withheld)
    of_run = _runs_here(connection, told, runs, here)
    number = {e.id: here[same_of(e)].id for e in told if same_of(e) in here}  # theirs to ours
    there = {same_of(e) for e in told}
    single = {_key(e): e for e in mine if e.undone_at is None and e.kind in SINGLE and same_of(e) not in there}
    standing = [e for e in mine if e.undone_at is None]
    for entry in sorted(told, key=lambda e: (e.entered_at, e.id)):
        own = here.get(same_of(entry))
        if own is not None:
            _undone_there(connection, entry, own, standing, out, words, write)
            continue
        if entry.undone_at is not None or hashed(same_of(entry)) in gone:
            continue  # said and taken back over there, or forgotten here: nothing of it is needed
        made = _here(entry, of_run, number, connection if write else None)
        if made is None:
            out.without_run.append(words(entry))
            continue
        other = single.get(_key(made)) if made.kind in SINGLE else None
        if other is not None and _told(other) == _told(made):
            number[entry.id] = other.id
            continue
        both = next((of.contradiction for of in entries.fold([*standing, made]).values() if of.contradiction), "")
        if other is not None or both:
            said = f"here {words(other)}; " if other is not None else f"it would be {both} at once; "
            out.conflicts.append(f"{said}there {words(made)}")
            if not take_theirs or other is None:
                if other is not None:
                    number[entry.id] = other.id
                continue
            standing.remove(other)
            if write:
                entries.take_back(connection, other.id)
        out.new.append(words(made))
        number[entry.id] = _written(connection, made) if write else -entry.id
        standing.append(made)
        first = entry.payload.get("first")
        if entry.kind == "session" and isinstance(first, int):
            number.setdefault(first, number[entry.id])  # what was changed of it further goes with it


def _undone_there(
    connection: Connection, entry: Entry, own: Entry, standing: list[Entry], out: United, words: _Words, write: bool
) -> None:
    """Take back here what the other side took back, unless what was said since builds on it."""
    if entry.undone_at is None or own.undone_at is not None:
        return
    later = [e for e in standing if e.entered_at > own.entered_at and e.runs & own.runs and e.kind in parts.SHAPING]
    if own.kind in ("split", "merge", "pair", "trim") and later:
        out.conflicts.append(f"taken back there, but built on here: {words(own)}")
        return
    out.undone.append(words(own))
    standing.remove(own)
    if write:
        entries.take_back(connection, own.id)


@dataclass
class _Words:
    """Entries in words; of the diary only that there is something, where a coach looks who is not shown it."""

    withheld: bool

    def __call__(self, entry: Entry) -> str:
        return "an entry of the diary" if self.withheld and entry.kind == "diary" else entries.sentence_of(entry)


def hashed(same: object) -> str:
    """What is kept of an entry or an original that was removed for ever."""
    return hashlib.sha256(repr(same).encode()).hexdigest()[:24]


def forgotten(connection: Connection) -> set[str]:
    """Hashes of what was removed for ever."""
    told = connection.execute(select(schema.setting.c.value).where(schema.setting.c.name == FORGOTTEN)).scalar()
    return set(json.loads(told)) if told else set()


def remember_forgotten(connection: Connection, what: Collection[object]) -> None:
    """Keep hashes of entries (as `same_of` gives them) and originals that are removed, inside the caller's
    transaction."""
    every = sorted(forgotten(connection) | {hashed(w) for w in what})
    connection.execute(schema.setting.delete().where(schema.setting.c.name == FORGOTTEN))
    connection.execute(insert(schema.setting).values(name=FORGOTTEN, value=json.dumps(every)))


def _read_facts(theirs: dict[str, Any]) -> list[tuple[Any, ...]]:
    """Accepted critical powers and the runner's facts: table, its two keys and the value."""
    try:
        out = [("accepted", str(k), str(d), float(v)) for k, d, v in theirs.get("accepted", [])]
        return out + [("athlete_fact", str(k), str(d), float(v)) for k, d, v in theirs.get("facts", [])]
    except (TypeError, ValueError):
        raise UsageError("what was handed over holds no log of ours") from None


def _facts_united(
    connection: Connection, facts: list[tuple[Any, ...]], out: United, write: bool, take_theirs: bool
) -> None:
    columns = {
        "accepted": (schema.accepted, "scale_key", "critical_power", "accepted critical power", "W"),
        "athlete_fact": (schema.athlete_fact, "name", "value", "", ""),
    }
    for kind, key, date, value in facts:
        table, first, last, called, unit = columns[kind]
        where = (table.c[first] == key, table.c.date == date)
        own = connection.execute(select(table.c[last]).where(*where)).scalar()
        name = called or key.replace("_", " ")
        if own is not None and abs(float(own) - value) < 1e-9:
            continue
        if own is not None:
            out.conflicts.append(f"here {name} {own:g} {unit} from {date}; there {value:g} {unit}".replace("  ", " "))
            if not take_theirs:
                continue
            if write:
                connection.execute(table.delete().where(*where))
        out.new.append(f"{name} {value:g} {unit} from {date}".replace("  ", " "))
        if write:
            connection.execute(insert(table).values(**{first: key, "date": date, last: value}))


def same_of(entry: Entry) -> tuple[str, int, str]:
    """What an entry is the same by on both sides: its kind, when it was made [µs] and the day it is of."""
    return entry.kind, round(1e6 * entry.entered_at), entry.date or ""


def _key(entry: Entry) -> tuple[Any, ...]:
    """What an entry is about, where only one word counts."""
    if entry.kind == "session":  # one that was never changed is its own, whatever number it has over there
        return (entry.kind, entry.payload["first"]) if "first" in entry.payload else (entry.kind, same_of(entry))
    return entry.kind, entry.run, entry.date if entry.kind == "diary" else "", str(entry.payload.get("name", ""))


def _told(entry: Entry) -> tuple[Any, ...]:
    payload = {k: v for k, v in entry.payload.items() if k not in ENTRIES}
    return entry.date, json.dumps(payload, sort_keys=True)


def _runs_here(
    connection: Connection, told: list[Entry], runs: dict[int, set[str]], here: dict[Any, Entry]
) -> dict[int, int]:
    """Their numbers of runs to ours: by the files of their recordings, and of entered and split ones by the entry."""
    mine = {key: run for run, keys in _files_of_runs(connection).items() for key in keys}
    out = {}
    for run, keys in runs.items():
        found = {mine[key] for key in keys if key in mine}
        if found:
            out[run] = min(found)
    for entry in told:
        own = here.get(same_of(entry))
        if own is not None and entry.kind == "run" and entry.run is not None and own.run is not None:
            out[entry.run] = own.run
        if own is not None and entry.kind == "split":
            out[int(entry.payload["new_run"])] = int(own.payload["new_run"])
    return out


def _here(entry: Entry, of_run: dict[int, int], number: dict[int, int], connection: Connection | None) -> Entry | None:
    """An entry in our numbers; None where its run is not here. A run that it makes gets a number of its own."""
    if entry.kind == "run" and entry.run is not None and entry.run not in of_run:
        of_run[entry.run] = _new_run(connection)
    payload: dict[str, Any] = json.loads(json.dumps(entry.payload))
    if entry.kind == "split":
        of_run[int(payload["new_run"])] = _new_run(connection)
    wanted = [entry.run] if entry.run is not None else []
    wanted += [int(payload[k]) for k in RUNS if payload.get(k) is not None]
    about_run = entry.kind == "comment" and payload.get("about") == "run"
    if about_run:
        wanted.append(int(payload["of"]))
    if any(run not in of_run for run in wanted):
        return None
    for key in RUNS:
        if payload.get(key) is not None:
            payload[key] = of_run[int(payload[key])]
    if about_run:
        payload["of"] = str(of_run[int(payload["of"])])
    if entry.kind == "comment" and payload.get("about") == "session":
        if int(payload["of"]) not in number:
            return None
        payload["of"] = str(number[int(payload["of"])])
    if not _renumbered(payload, number):
        return None
    run = None if entry.run is None else of_run[entry.run]
    return Entry(entry.id, entry.kind, run, entry.date, payload, entry.entered_at)


def _renumbered(payload: dict[str, Any], number: dict[int, int]) -> bool:
    """Put our numbers of entries into a payload; False where it cannot stand without one that is not here."""
    for key in ("first", "was"):
        if isinstance(payload.get(key), int) and payload[key] not in number:
            del payload[key]  # what it was before was taken back over there: here it begins with this one
    plan = payload.get("of_plan") or {}
    if any(type(plan.get(key)) is int and plan[key] not in number for key in ENTRIES):
        del payload["of_plan"]  # of a plan that is not here
        plan = {}
    for told in (payload, plan):
        for key in ENTRIES:
            if type(told.get(key)) is int:
                if told[key] not in number:
                    return False
                told[key] = number[told[key]]
    return True


def _new_run(connection: Connection | None) -> int:
    return int(connection.execute(insert(schema.run)).lastrowid or 0) if connection is not None else 0


def _written(connection: Connection, entry: Entry) -> int:
    made = entries.keep(connection, entry.kind, entry.run, entry.payload)
    connection.execute(
        update(schema.entry).where(schema.entry.c.id == made).values(date=entry.date, entered_at=entry.entered_at)
    )
    return made
