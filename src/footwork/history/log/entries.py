"""What the runner says about runs and days, kept in order; each entry can be taken back.

`parts` turns the entries that shape a recording into parts, `told` folds the rest into what is known beside a run."""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, insert, select, update

from footwork.errors import LibraryError, NoSuchRun, UsageError
from footwork.history.log import parts
from footwork.history.log.parts import SHAPING, Entry
from footwork.quantities import describe_weather, format_duration
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History

MARKS = ("race", "test", "maximal", "easy", "long", "brick", "treadmill")


MAXIMAL_MARKS = {"race", "test", "maximal"}


ONE_OF = MAXIMAL_MARKS | {"easy"}  # a run is at most one of these


SURFACES = ("road", "track", "trail", "grass", "mixed")


@dataclass
class Told:
    """What is known of a run beside its recordings."""

    marks: set[str] = field(default_factory=set)
    incline: float | None = None
    surface: str = ""
    shoe: str = ""
    left_out: bool = False
    deleted: bool = False
    laps: list[tuple[float, float]] = field(default_factory=list)
    diary: dict[str, Any] = field(default_factory=dict)
    weather: dict[str, Any] | None = None
    entered: dict[str, Any] | None = None
    efforts: list[dict[str, Any]] = field(default_factory=list)

    @property
    def contradiction(self) -> str:
        """What a run cannot be at once, or nothing."""
        if len(self.marks & ONE_OF) > 1:
            return " and ".join(sorted(self.marks & ONE_OF))
        return f"treadmill and {self.surface}" if "treadmill" in self.marks and self.surface else ""


def told(library: History) -> dict[int, Told]:
    """What is known of each run beside its recordings; a run of which nothing was said is not in it."""

    def make() -> dict[int, Told]:
        with library.reading() as connection:
            return fold(parts.read_entries(connection))

    found: dict[int, Told] = library.cached("told", make)
    return found


def fold(entries: list[Entry]) -> dict[int, Told]:
    """Apply entries in their order; later ones win."""
    out: dict[int, Told] = {}
    for entry in entries:
        if entry.run is None:
            continue
        of, given = out.setdefault(entry.run, Told()), entry.payload
        if entry.kind == "split":
            out[given["new_run"]] = _parted(of, given["at"])
        elif entry.kind in ("merge", "pair"):
            _joined(of, out.pop(given["other"], Told()))
        elif entry.kind in _APPLY:
            _APPLY[entry.kind](of, given)
    return out


def _mark(of: Told, given: dict[str, Any]) -> None:
    of.marks.add(given["name"])
    if given["name"] == "treadmill":
        of.incline = given.get("incline")


def _unmark(of: Told, given: dict[str, Any]) -> None:
    of.marks.discard(given["name"])
    of.incline = None if given["name"] == "treadmill" else of.incline


def _left_out(of: Told, given: dict[str, Any]) -> None:
    of.left_out = of.left_out or "start" not in given


_APPLY: dict[str, Callable[[Told, dict[str, Any]], None]] = {
    "mark": _mark,
    "unmark": _unmark,
    "leave-out": _left_out,
    "surface": lambda of, given: setattr(of, "surface", given["value"]),
    "shoe": lambda of, given: setattr(of, "shoe", given["value"]),
    "delete": lambda of, given: setattr(of, "deleted", True),
    "lap": lambda of, given: of.laps.append((given["start"], given["end"])),
    "efforts": lambda of, given: setattr(of, "efforts", given["parts"]),
    "diary": lambda of, given: of.diary.update({given["name"]: given["value"]}),
    "weather": lambda of, given: setattr(of, "weather", given),
    "run": lambda of, given: setattr(of, "entered", given),
}


def _parted(of: Told, at: float) -> Told:
    """What is known of the second half of a run that was split; the first keeps the rest."""
    laps = [lap for lap in of.laps if lap[0] >= at]
    of.laps = [lap for lap in of.laps if lap[0] < at]
    marks = of.marks & {"treadmill"}
    return Told(marks, of.incline, of.surface, of.shoe, of.left_out, weather=of.weather, laps=laps)


def _joined(of: Told, other: Told) -> None:
    """What is known of two runs that became one; the first's word counts where both have one."""
    of.marks |= other.marks
    of.laps += other.laps
    of.diary = {**other.diary, **of.diary}
    of.weather, of.shoe = of.weather or other.weather, of.shoe or other.shoe
    of.surface = of.surface or other.surface


def write(library: History, kind: str, run: int | None, payload: dict[str, Any], date: dt.date | None = None) -> int:
    """Keep one entry; what depends on it is made anew. Returns its number."""
    with library.writing() as connection:
        made = keep(connection, kind, run, payload, date)
    if kind in SHAPING:
        library.refresh()
    return made


def write_all(library: History, kind: str, payloads: dict[int, dict[str, Any]]) -> None:
    """Keep an entry of a kind for each of several runs, all or none."""
    with library.writing() as connection:
        for run, payload in payloads.items():
            keep(connection, kind, run, payload)


def keep(
    connection: Connection, kind: str, run: int | None, payload: dict[str, Any], date: dt.date | None = None
) -> int:
    """Write one entry inside the caller's transaction; returns its number. It is later than every entry that is there,
    also where the clock was set back: what was said last counts."""
    last = connection.execute(select(func.max(schema.entry.c.entered_at))).scalar()
    now = time.time()
    return int(
        connection.execute(
            insert(schema.entry).values(
                kind=kind,
                run_id=run,
                date=date.isoformat() if date else None,
                payload=json.dumps(payload),
                entered_at=now if last is None or now > last else last + 0.001,
            )
        ).lastrowid
        or 0
    )


def mark(library: History, run_id: int, name: str, remove: bool = False, incline: float | None = None) -> list[str]:
    """Mark a run or take a mark off; returns its marks. A treadmill's ``incline`` is in percent.

    Raises
    ------
    UsageError
        An unknown mark, or one that contradicts another.
    """
    if name not in MARKS:
        raise UsageError(f"'{name}' is not a mark: use {', '.join(MARKS)}")
    library_row(library, run_id)
    of = told(library).get(run_id, Told())
    if incline is not None and (name != "treadmill" or not -10 <= incline <= 40):
        raise UsageError("an incline belongs to a treadmill and lies between -10 and 40 percent")
    if remove:
        if name in of.marks:
            write(library, "unmark", run_id, {"name": name})
    else:
        others = (of.marks & ONE_OF) - {name} if name in ONE_OF else set()
        if others:
            raise UsageError(
                f"run {run_id} is marked {others.pop()}: it cannot be {name} too; take that mark off first"
            )
        if name == "treadmill" and of.surface:
            raise UsageError(f"run {run_id} was run on {of.surface}: it cannot be on a treadmill too")
        if incline is not None:
            _check_originals(library, run_id)
        if name not in of.marks or incline is not None:
            share = None if incline is None else incline / 100
            write(library, "mark", run_id, {"name": name, **({} if share is None else {"incline": share})})
    return sorted(told(library).get(run_id, Told()).marks)


def describe(library: History, run_id: int, surface: str | None = None, shoe: str | None = None) -> None:
    """Say the surface (`SURFACES`) or the shoe of a run; an empty text takes it back."""
    check_description(library, run_id, surface, shoe)
    if surface is not None:
        write(library, "surface", run_id, {"value": surface})
    if shoe is not None:
        write(library, "shoe", run_id, {"value": _short(shoe, "a shoe's name")})


def check_description(library: History, run_id: int, surface: str | None, shoe: str | None, marked: str = "") -> None:
    """Whether a run can have that surface and shoe, also once it is ``marked`` so. Raises UsageError; nothing is
    written."""
    library_row(library, run_id)
    marks = told(library).get(run_id, Told()).marks | {marked}
    if surface and surface not in SURFACES:
        raise UsageError(f"'{surface}' is not a surface: use {', '.join(SURFACES)}")
    if surface and "treadmill" in marks:
        raise UsageError(f"run {run_id} is marked treadmill: it has no other surface; take that mark off first")
    if shoe is not None:
        _short(shoe, "a shoe's name")


def _short(text: str, what: str, most: int = 60) -> str:
    text = " ".join(text.split())
    if len(text) > most:
        raise UsageError(f"{what} has at most {most} characters")
    return text


def library_row(library: History, run_id: int) -> Any:
    """The row of a run. Raises NoSuchRun where there is none."""
    row = next((r for r in library.runs() if r.id == run_id), None)
    if row is None:
        raise NoSuchRun(f"there is no run {run_id}: the list of runs has their numbers")
    return row


def recorded_row(library: History, run_id: int) -> tuple[Any, float, float]:
    """Row, first and last second of a run that has a recording."""
    row = library_row(library, run_id)
    if row.recording_id is None:
        raise UsageError(
            f"run {run_id} was entered by hand: it has no recording to correct; delete it and enter it anew"
        )
    _check_originals(library, run_id)
    start = dt.datetime.fromisoformat(row.start).timestamp()
    return row, start, start + row.elapsed_s


def _check_originals(library: History, run_id: int) -> None:
    """Whether a correction could be carried out: a run is made anew from its originals. Raises LibraryError."""
    recording, result = schema.recording.c, schema.result.c
    with library.reading() as connection:
        found = connection.execute(
            select(schema.file.c.sha256)
            .join(schema.recording, recording.file_id == schema.file.c.id)
            .outerjoin(schema.result, result.recording_id == recording.id)
            .where((recording.run_id == run_id) | (result.run_id == run_id))
            .distinct()
        ).scalars()
        digests = list(found)
    for digest in digests:
        try:
            blobs.read_original(library.folder, digest)
        except LibraryError as error:
            raise LibraryError(f"run {run_id} cannot be corrected: {error}") from None


def _at(entry: Entry, key: str, starts: dict[int, float]) -> str:
    start = starts.get(entry.run or 0)
    if start is None:
        return f"{dt.datetime.fromtimestamp(entry.payload[key], dt.UTC):%H:%M:%S} UTC"
    return format_duration(max(entry.payload[key] - start, 0.0))


def _privacy_words(payload: dict[str, Any]) -> str:
    if "consent" not in payload:
        return f"diary {'shared' if payload['diary'] else 'not shared'} with the coach"
    return f"consent {'given' if payload['consent'] else 'withdrawn'}{': ' if payload['note'] else ''}{payload['note']}"


_SENTENCES: dict[str, Callable[[Entry, dict[int, float]], str]] = {
    "mark": lambda e, s: (
        f"marked {e.payload['name']}"
        + (f", {100 * e.payload['incline']:g} % incline" if e.payload.get("incline") is not None else "")
    ),
    "unmark": lambda e, s: f"no longer marked {e.payload['name']}",
    "surface": lambda e, s: f"surface {e.payload['value'] or 'taken back'}",
    "shoe": lambda e, s: f"shoe {e.payload['value'] or 'taken back'}",
    "heart-rate": lambda e, s: f"heart rate is {e.payload['value']}",
    "leave-out": lambda e, s: (
        f"left out from {_at(e, 'start', s)} to {_at(e, 'end', s)}"
        + (f", {e.payload['only'].replace('_', ' ')} only" if e.payload.get("only") else "")
        if "start" in e.payload
        else "left out of every analysis"
    ),
    "delete": lambda e, s: "deleted",
    "split": lambda e, s: f"split at {_at(e, 'at', s)}; the later part is run {e.payload['new_run']}",
    "merge": lambda e, s: f"merged with run {e.payload['other']}",
    "pair": lambda e, s: f"paired with run {e.payload['other']}, its clock set {e.payload['shift']:+.0f} s",
    "trim": lambda e, s: f"trimmed to {_at(e, 'start', s)} to {_at(e, 'end', s)}",
    "distance": lambda e, s: f"distance corrected to {e.payload['metres'] / 1000:.3f} km",
    "session": lambda e, s: f"session planned for {e.date}: {e.payload['name'] or e.payload['text']}",
    "season": lambda e, s: f"season for {e.payload['name']} on {e.payload['date']}",
    "season-weeks": lambda e, s: f"plan of {len(e.payload['weeks'])} weeks accepted",
    "trial": lambda e, s: f"trial designed: {', '.join(e.payload['conditions'])}",
    "trial-run": lambda e, s: f"run for trial {e.payload['trial']}",
    "efforts": lambda e, s: f"divided into {len(e.payload['parts'])} parts",
    "lap": lambda e, s: f"lap from {_at(e, 'start', s)} to {_at(e, 'end', s)}",
    "diary": lambda e, s: (
        f"diary: {e.payload['name'].replace('_', ' ')} "
        f"{'taken back' if e.payload['value'] is None else e.payload['value']}"
    ),
    "weather": lambda e, s: f"weather {describe_weather(e.payload)}",
    "scale-join": lambda e, s: f"scale {e.payload['name']} counts as {e.payload['into_name']}",
    "scale-break": lambda e, s: f"scale {e.payload['name']} counts as a new one from {e.payload['date']}",
    "comment": lambda e, s: (
        f"{e.payload['by']} on {e.payload['about']} {e.payload['of']}: {e.payload['text'][:60]}"
        + ("…" if len(e.payload["text"]) > 60 else "")
    ),
    "privacy": lambda e, s: _privacy_words(e.payload),
    "run": lambda e, s: f"entered by hand, {format_duration(e.payload['duration_s'])}",
}


KINDS = frozenset(_SENTENCES)


def sentence_of(entry: Entry) -> str:
    """An entry in words, without the clock of its run."""
    on = f"run {entry.run}: " if entry.run is not None else f"{entry.date}: " if entry.kind == "diary" else ""
    return on + _SENTENCES[entry.kind](entry, {})


def listed(library: History, run_id: int | None = None, undone: bool = False) -> list[dict[str, Any]]:
    """Entries, the newest first: number, kind, run, what was said, when, and whether it was taken back."""
    with library.reading() as connection:
        found = parts.read_entries(connection, undone=undone)
        starts = dict(
            connection.execute(
                select(schema.recording.c.run_id, schema.recording.c.start).order_by(schema.recording.c.start.desc())
            ).all()
        )
    return [
        {
            "id": e.id,
            "kind": e.kind,
            "run": e.run,
            "date": e.date,
            "sentence": _SENTENCES[e.kind](e, starts),
            "entered_at": dt.datetime.fromtimestamp(e.entered_at, dt.UTC)
            .isoformat(timespec="seconds")
            .replace("+00:00", "Z")
            if e.entered_at
            else None,
            "undone": e.undone_at is not None,
        }
        for e in reversed(found)
        if (run_id is None or run_id in e.runs) and not (e.kind == "diary" and library.diary_withheld)
    ]


def take_back(connection: Connection, entry_id: int) -> None:
    """Undo one entry that nothing builds on, inside the caller's transaction.

    Raises UsageError where another process has done it meanwhile.
    """
    standing = (schema.entry.c.id == entry_id) & schema.entry.c.undone_at.is_(None)
    done = connection.execute(update(schema.entry).where(standing).values(undone_at=time.time()))
    if not done.rowcount:
        raise UsageError(f"edit {entry_id} is undone already")


def _of_plan(found: list[Entry], plan: Entry) -> list[int]:
    """What stands and falls with a season, or with its acceptance: numbers of the sessions that came with it."""
    if plan.kind not in ("season", "season-weeks"):
        return []
    key = "season" if plan.kind == "season" else "plan"
    weeks = [e.id for e in found if e.kind == "season-weeks" and e.payload.get(key) == plan.id]
    return weeks + [e.id for e in found if e.kind == "session" and (e.payload.get("of_plan") or {}).get(key) == plan.id]


def undo(library: History, entry_id: int) -> str:
    """Take one entry back; returns what it was, in words.

    Raises
    ------
    UsageError
        No such entry, or later ones build on it.
    """
    with library.reading() as connection:
        told = parts.read_entries(connection, undone=True)
    found = [e for e in told if e.undone_at is None]
    entry = next((e for e in found if e.id == entry_id), None)
    if entry is None or (entry.kind == "diary" and library.diary_withheld):
        raise UsageError(f"there is no edit {entry_id} to undo: 'footwork edit list' lists them")
    if entry.kind == "privacy" and library.for_coach:
        raise UsageError("what is shared is the runner's to say, and to take back")
    if entry.kind in ("split", "merge", "pair", "trim"):
        later = [
            e
            for e in found
            if found.index(e) > found.index(entry)
            and entry.runs & e.runs
            and (entry.kind != "trim" or e.kind == "distance")
        ]
        if later:
            raise UsageError(f"edit {later[-1].id} builds on edit {entry_id}: undo that one first")
    for number, of in fold([e for e in found if e.id != entry_id]).items():
        if both := of.contradiction:
            raise UsageError(f"run {number} would be {both} at once: take the later mark off first")
    sentence = next(row["sentence"] for row in listed(library) if row["id"] == entry_id)
    with library.writing() as connection:
        for number in (entry_id, *_of_plan(found, entry)):
            take_back(connection, number)
        was = next((e for e in told if e.id == entry.payload.get("was")), None)
        if was is not None and was.date:  # a session that was changed stands again as it was, the same event
            again = {**was.payload, "first": entry.payload.get("first", was.id)}
            made = keep(connection, "session", None, again, dt.date.fromisoformat(was.date))
            sentence += f"; it stands for {was.date} again, as session {made}"
    if entry.kind in SHAPING:
        library.refresh()
    return f"run {entry.run}: {sentence}" if entry.run is not None else sentence
