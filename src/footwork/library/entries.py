"""What the runner says about runs and days: marks, corrections, hand-made laps, diary, weather, runs entered by hand.

Every entry is kept in order and can be taken back; `layout` turns those that shape a recording into parts, `told` folds
the rest into what is known beside a run.
"""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, insert, select, update

from footwork.analysis import editing, pairing
from footwork.errors import NoSuchRun, NotEnoughData, UsageError
from footwork.library.layout import SHAPING, Entry, read_entries
from footwork.quantities import describe_weather, format_distance, format_duration
from footwork.store import schema

MARKS = ("race", "test", "maximal", "easy", "long", "brick", "treadmill")
MAXIMAL_MARKS = {"race", "test", "maximal"}
ONE_OF = MAXIMAL_MARKS | {"easy"}  # a run is at most one of these
SURFACES = ("road", "track", "trail", "grass", "mixed")
SIGNALS = ("power", "heart_rate", "speed", "cadence")
LONGEST_BREAK_S = 12 * 3600  # runs further apart are not one run; our convention


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


def told(library: Any) -> dict[int, Told]:
    """What is known of each run beside its recordings; a run of which nothing was said is not in it."""

    def make() -> dict[int, Told]:
        with library.reading() as connection:
            return fold(read_entries(connection))

    found: dict[int, Told] = library.cached("told", make)
    return found


def fold(entries: list[Entry]) -> dict[int, Told]:
    """Apply entries in their order; later ones win."""
    out: dict[int, Told] = {}
    for entry in entries:
        if entry.run is None:
            continue
        of, given = out.setdefault(entry.run, Told()), entry.payload
        match entry.kind:
            case "mark":
                of.marks.add(given["name"])
                if given["name"] == "treadmill":
                    of.incline = given.get("incline")
            case "unmark":
                of.marks.discard(given["name"])
                of.incline = None if given["name"] == "treadmill" else of.incline
            case "surface":
                of.surface = given["value"]
            case "shoe":
                of.shoe = given["value"]
            case "leave-out" if "start" not in given:
                of.left_out = True
            case "delete":
                of.deleted = True
            case "lap":
                of.laps.append((given["start"], given["end"]))
            case "efforts":
                of.efforts = given["parts"]
            case "diary":
                of.diary[given["name"]] = given["value"]
            case "weather":
                of.weather = given
            case "run":
                of.entered = given
            case "split":
                out[given["new_run"]] = Told(
                    of.marks & {"treadmill"},
                    of.incline,
                    of.surface,
                    of.shoe,
                    of.left_out,
                    weather=of.weather,
                    laps=[lap for lap in of.laps if lap[0] >= given["at"]],
                )
                of.laps = [lap for lap in of.laps if lap[0] < given["at"]]
            case "merge" | "pair":
                other = out.pop(given["other"], Told())
                of.marks |= other.marks
                of.laps += other.laps
                of.diary = {**other.diary, **of.diary}
                of.weather, of.shoe = of.weather or other.weather, of.shoe or other.shoe
                of.surface = of.surface or other.surface
    return out


def write(library: Any, kind: str, run: int | None, payload: dict[str, Any], date: dt.date | None = None) -> int:
    """Keep one entry; what depends on it is made anew. Returns its number."""
    with library.writing() as connection:
        made = _insert(connection, kind, run, payload, date)
    if kind in SHAPING:
        library.refresh()
    return made


def write_all(library: Any, kind: str, payloads: dict[int, dict[str, Any]]) -> None:
    """Keep an entry of a kind for each of several runs, all or none."""
    with library.writing() as connection:
        for run, payload in payloads.items():
            _insert(connection, kind, run, payload)


def _insert(
    connection: Connection, kind: str, run: int | None, payload: dict[str, Any], date: dt.date | None = None
) -> int:
    return int(
        connection.execute(
            insert(schema.entry).values(
                kind=kind,
                run_id=run,
                date=date.isoformat() if date else None,
                payload=json.dumps(payload),
                entered_at=time.time(),
            )
        ).lastrowid
        or 0
    )


def mark(library: Any, run_id: int, name: str, remove: bool = False, incline: float | None = None) -> list[str]:
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
        if name not in of.marks or incline is not None:
            share = None if incline is None else incline / 100
            write(library, "mark", run_id, {"name": name, **({} if share is None else {"incline": share})})
    return sorted(told(library).get(run_id, Told()).marks)


def describe(library: Any, run_id: int, surface: str | None = None, shoe: str | None = None) -> None:
    """Say the surface (`SURFACES`) or the shoe of a run; an empty text takes it back."""
    check_description(library, run_id, surface, shoe)
    if surface is not None:
        write(library, "surface", run_id, {"value": surface})
    if shoe is not None:
        write(library, "shoe", run_id, {"value": _short(shoe, "a shoe's name")})


def check_description(library: Any, run_id: int, surface: str | None, shoe: str | None, marked: str = "") -> None:
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


def library_row(library: Any, run_id: int) -> Any:
    """The row of a run. Raises NoSuchRun where there is none."""
    row = next((r for r in library.runs() if r.id == run_id), None)
    if row is None:
        raise NoSuchRun(f"there is no run {run_id}: 'footwork runs' lists them")
    return row


def _recorded(library: Any, run_id: int) -> tuple[Any, float, float]:
    """Row, first and last second of a run that has a recording."""
    row = library_row(library, run_id)
    if row.recording_id is None:
        raise UsageError(
            f"run {run_id} was entered by hand: it has no recording to correct; delete it and enter it anew"
        )
    start = dt.datetime.fromisoformat(row.start).timestamp()
    return row, start, start + row.elapsed_s


def _span(library: Any, run_id: int, begin: float | None, end: float | None) -> tuple[float, float]:
    """A span given in elapsed seconds, as Unix seconds inside the run."""
    _, first, last = _recorded(library, run_id)
    low, high = first + (begin or 0.0), last if end is None else first + end
    if not first <= low < high or low >= last or high > last + 1:
        raise UsageError(
            f"{format_duration(low - first)} to {format_duration(high - first)} is no span of run {run_id}: it lasts "
            f"{format_duration(last - first)}, and a span ends after it begins"
        )
    return low, min(high, last)


def trim(library: Any, run_id: int, begin: float | None, end: float | None) -> int:
    """Keep only the seconds from ``begin`` to ``end`` (elapsed)."""
    low, high = _span(library, run_id, begin, end)
    if high - low < 10:
        raise UsageError("fewer than ten seconds would be left")
    _refuse_distance(library, run_id)
    return write(library, "trim", run_id, {"start": low, "end": high})


def leave_out(library: Any, run_id: int, begin: float | None, end: float | None, only: str | None = None) -> int:
    """Leave seconds (elapsed), or the whole run, out of every analysis; ``only`` names one signal."""
    if only is not None and only not in SIGNALS:
        raise UsageError(f"'{only}' is not a signal: use {', '.join(SIGNALS)}")
    if begin is None and end is None and only is None:
        library_row(library, run_id)
        return write(library, "leave-out", run_id, {})
    low, high = _span(library, run_id, begin, end)
    return write(library, "leave-out", run_id, {"start": low, "end": high, **({"only": only} if only else {})})


def distance(library: Any, run_id: int, metres: float) -> int:
    """Correct the distance of a run [m]; speed, step length and modelled power follow."""
    row, _, _ = _recorded(library, run_id)
    if not 50 <= metres <= 1e6 or metres / max(row.duration_s, 1.0) > 9.0:
        raise UsageError(f"{format_distance(metres)} in {format_duration(row.duration_s)} cannot be run")
    return write(library, "distance", run_id, {"metres": metres})


def split(library: Any, run_id: int, at: float) -> tuple[int, int]:
    """Make two runs of one, at an elapsed time [s]; returns the entry and the new run, which is the later part."""
    low, _ = _span(library, run_id, at, None)
    _, first, last = _recorded(library, run_id)
    if low - first < 10 or last - low < 10:
        raise UsageError("each part must last ten seconds or more")
    _refuse_distance(library, run_id)
    with library.writing() as connection:
        new = int(connection.execute(insert(schema.run)).lastrowid or 0)
        made = _insert(connection, "split", run_id, {"at": low, "new_run": new})
    library.refresh()
    return made, new


def merge(library: Any, run_id: int, other: int) -> int:
    """Make one run of two that follow each other; the time between counts as a pause.

    Raises
    ------
    UsageError
        The runs overlap, lie too far apart, or contradict each other.
    """
    if run_id == other:
        raise UsageError(f"run {run_id} cannot be merged with itself")
    (_, a, b), (_, c, d) = _recorded(library, run_id), _recorded(library, other)
    if a < d and c < b:  # ends are the second after the last
        raise UsageError(f"runs {run_id} and {other} overlap in time: only runs that follow each other can be merged")
    apart = max(c - b, a - d)
    if apart > LONGEST_BREAK_S:
        raise UsageError(f"runs {run_id} and {other} lie {format_duration(apart)} apart: they are not one run")
    for each in (run_id, other):
        _refuse_distance(library, each)
    one, two = (told(library).get(r, Told()) for r in (run_id, other))
    marks = (one.marks | two.marks) & ONE_OF
    if len(marks) > 1:
        raise UsageError(f"one is marked {' and the other '.join(sorted(marks))}: take one mark off first")
    if one.left_out != two.left_out:
        raise UsageError("one of them is left out of every analysis and the other is not: undo that first")
    if ("treadmill" in one.marks, one.incline) != ("treadmill" in two.marks, two.incline):
        raise UsageError("only one of them is marked treadmill, or their inclines differ: they are not one run")
    if one.surface and two.surface and one.surface != two.surface:
        raise UsageError(f"one was run on {one.surface}, the other on {two.surface}: say 'mixed' of both first")
    keep, gone = (run_id, other) if a < c else (other, run_id)
    return write(library, "merge", keep, {"other": gone})


def pair(library: Any, run_id: int, other: int) -> int:
    """Say that another run is the same one by a second device, whose clock may be hours off; it then counts as a
    recording of ``run_id``. Its clock is set so that both start together; the comparison finds the seconds that are
    left.

    Raises
    ------
    UsageError
        The same run, one without a recording, the same device twice, or nothing that rises and falls together.
    """
    from footwork.library import runs

    if run_id == other:
        raise UsageError(f"run {run_id} cannot be paired with itself")
    (one, a, b), (two, c, d) = _recorded(library, run_id), _recorded(library, other)
    if one.scale_key == two.scale_key and one.measured:
        raise UsageError(f"both runs were recorded by {one.power_scale}: a pair has two devices")
    overlap = min(b, d) - max(a, c)
    shift = 0.0 if overlap > 0.5 * min(b - a, d - c) else float(round(a - c))
    first, second = runs.signals_of(library, one), editing.shift(runs.signals_of(library, two), shift)
    try:
        pairing.clock_offset(*pairing.common(first, second))
    except NotEnoughData as error:
        raise UsageError(f"runs {run_id} and {other} cannot be paired: {error}") from None
    for each in (run_id, other):
        _refuse_distance(library, each)
    return write(library, "pair", run_id, {"other": other, "shift": shift})


def _refuse_distance(library: Any, run_id: int) -> None:
    with library.reading() as connection:
        found = [e for e in read_entries(connection, "distance") if e.run == run_id]
    if found:
        raise UsageError(
            f"the distance of run {run_id} was corrected as a whole: undo edit {found[-1].id} first, then "
            "correct what is left"
        )


def lap(library: Any, run_id: int, begin: float, end: float) -> int:
    """Add a lap by hand, between two elapsed times [s]."""
    low, high = _span(library, run_id, begin, end)
    return write(library, "lap", run_id, {"start": low, "end": high})


def hide(library: Any, run_id: int) -> int:
    """Delete a run so that it can be brought back: it is hidden everywhere, its files stay."""
    library_row(library, run_id)
    return write(library, "delete", run_id, {})


def enter_run(
    library: Any,
    start: dt.datetime,
    duration: float,
    metres: float | None = None,
    climb: float | None = None,
    heart_rate: float | None = None,
    name: str | None = None,
) -> int:
    """Enter a run that was not recorded, or a past race result; returns its number.

    Parameters
    ----------
    start : datetime
        Local where it has no zone.
    duration, metres, climb, heart_rate
        [s], [m], [m], [bpm].
    name : str, optional
        A mark; races and tests count as evidence of capacity.

    Raises
    ------
    UsageError
        What cannot have been run, or is recorded already.
    """
    if start.year < 1950:
        raise UsageError(f"a run of the year {start.year} cannot be")
    if climb is not None and not 0 <= climb <= 30_000:
        raise UsageError(f"a climb of {climb:g} m cannot be")
    begin = start if start.tzinfo else start.replace(tzinfo=library.zone) if library.zone else start.astimezone()
    if begin.timestamp() > time.time() + 86400:
        raise UsageError(f"{begin:%Y-%m-%d} lies in the future")
    if not 10 <= duration <= 7 * 86400:
        raise UsageError("a run lasts between ten seconds and seven days")
    if metres is not None and (metres < 50 or metres / duration > 10.5):
        raise UsageError(f"{format_distance(metres)} in {format_duration(duration)} cannot be run")
    if heart_rate is not None and not 40 <= heart_rate <= 230:
        raise UsageError(f"a mean heart rate of {heart_rate:g} bpm cannot be")
    if name is not None and name not in MARKS:
        raise UsageError(f"'{name}' is not a mark: use {', '.join(MARKS)}")
    for row in library.runs():
        same = metres and row.distance_m and abs(row.distance_m / metres - 1) < 0.05
        alike = max(abs(row.duration_s / duration - 1), abs(row.elapsed_s / duration - 1)) < 0.05 and not metres
        if row.local.date() == begin.date() and (same or alike):
            raise UsageError(f"run {row.id} of that day is as long: mark that one instead")
    offset = begin.utcoffset()
    payload = {
        "start": begin.timestamp(),
        "utc_offset_minutes": int(offset.total_seconds() // 60) if offset else 0,
        "duration_s": duration,
        "distance_m": metres,
        "climb_m": climb,
        "heart_rate_bpm": heart_rate,
    }
    with library.writing() as connection:
        run_id = int(connection.execute(insert(schema.run)).lastrowid or 0)
        _insert(connection, "run", run_id, payload)
        if name:
            _insert(connection, "mark", run_id, {"name": name})
    return run_id


def _at(entry: Entry, key: str, starts: dict[int, float]) -> str:
    start = starts.get(entry.run or 0)
    if start is None:
        return f"{dt.datetime.fromtimestamp(entry.payload[key], dt.UTC):%H:%M:%S} UTC"
    return format_duration(max(entry.payload[key] - start, 0.0))


_SENTENCES: dict[str, Callable[[Entry, dict[int, float]], str]] = {
    "mark": lambda e, s: (
        f"marked {e.payload['name']}"
        + (f", {100 * e.payload['incline']:g} % incline" if e.payload.get("incline") is not None else "")
    ),
    "unmark": lambda e, s: f"no longer marked {e.payload['name']}",
    "surface": lambda e, s: f"surface {e.payload['value'] or 'taken back'}",
    "shoe": lambda e, s: f"shoe {e.payload['value'] or 'taken back'}",
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
    "run": lambda e, s: f"entered by hand, {format_duration(e.payload['duration_s'])}",
}


def listed(library: Any, run_id: int | None = None, undone: bool = False) -> list[dict[str, Any]]:
    """Entries, the newest first: number, kind, run, what was said, when, and whether it was taken back."""
    with library.reading() as connection:
        found = read_entries(connection, undone=undone)
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
        if run_id is None or run_id in e.runs
    ]


def undo(library: Any, entry_id: int) -> str:
    """Take one entry back; returns what it was, in words.

    Raises
    ------
    UsageError
        No such entry, or later ones build on it.
    """
    with library.reading() as connection:
        found = read_entries(connection)
    entry = next((e for e in found if e.id == entry_id), None)
    if entry is None:
        raise UsageError(f"there is no edit {entry_id} to undo: 'footwork edit list' lists them")
    if entry.kind in ("split", "merge", "pair", "trim"):
        later = [
            e
            for e in found
            if e.id > entry_id and entry.runs & e.runs and (entry.kind != "trim" or e.kind == "distance")
        ]
        if later:
            raise UsageError(f"edit {later[-1].id} builds on edit {entry_id}: undo that one first")
    for number, of in fold([e for e in found if e.id != entry_id]).items():
        if both := of.contradiction:
            raise UsageError(f"run {number} would be {both} at once: take the later mark off first")
    sentence = next(row["sentence"] for row in listed(library) if row["id"] == entry_id)
    with library.writing() as connection:
        connection.execute(update(schema.entry).where(schema.entry.c.id == entry_id).values(undone_at=time.time()))
    if entry.kind in SHAPING:
        library.refresh()
    return f"run {entry.run}: {sentence}" if entry.run is not None else sentence
