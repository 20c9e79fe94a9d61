"""Which seconds of which recordings make up which run, after the runner's corrections. Pure: the same entries give the
same layout, so undoing one is leaving it out."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, select

from footwork.store import schema

# Kinds of entry that may change what is computed from a recording; the others are only told beside it.
SHAPING = ("split", "merge", "pair", "trim", "leave-out", "distance", "mark", "unmark", "heart-rate")


ALWAYS = (float("-inf"), float("inf"))


@dataclass(frozen=True)
class Entry:
    """One thing that the runner said; ``payload`` holds what its kind needs."""

    id: int
    kind: str
    run: int | None
    date: str | None
    payload: dict[str, Any]
    entered_at: float
    undone_at: float | None = None

    @property
    def runs(self) -> set[int]:
        """Every run that it is about."""
        return {r for r in (self.run, self.payload.get("other"), self.payload.get("new_run")) if r is not None}

    @property
    def shapes(self) -> bool:
        """Whether it changes what is computed from a recording: of marks only a treadmill's, for its incline."""
        return self.kind in SHAPING and (self.kind not in ("mark", "unmark") or self.payload["name"] == "treadmill")


@dataclass(frozen=True)
class Whole:
    """A stored recording as it came: its run, its span in Unix seconds, its device."""

    id: int
    run: int
    start: float
    end: float
    serial: str
    file: int


@dataclass(frozen=True)
class Piece:
    """Seconds of one recording, from ``start`` to ``end`` (not included)."""

    recording: int
    start: float
    end: float


@dataclass(frozen=True)
class Part:
    """What one row of results is made of: pieces in order of time and the corrections to them."""

    run: int
    pieces: tuple[Piece, ...]
    number: int = 0
    left_out: tuple[tuple[float, float, str | None], ...] = ()
    distance: float | None = None
    incline: float | None = None
    files: tuple[int, ...] = ()
    shift: float = 0.0  # seconds that its clock is set forward, where it was paired by hand
    heart: str | None = None  # the runner's word on its heart rate: sound or doubtful

    @property
    def recording(self) -> int:
        """The recording of the part's first piece."""
        return self.pieces[0].recording

    @property
    def corrections(self) -> str:
        """What makes this part differ from the recording as it came; empty where nothing does."""
        whole = len(self.pieces) == 1 and (self.pieces[0].start, self.pieces[0].end) == ALWAYS
        told = self.left_out or self.shift or self.heart
        if whole and not told and self.distance is None and self.incline is None:
            return ""
        shifted = (*((self.shift,) if self.shift else ()), *((self.heart,) if self.heart else ()))
        return repr((self.pieces, self.left_out, self.distance, self.incline, self.files, *shifted))


def read_entries(connection: Connection, *kinds: str, undone: bool = False) -> list[Entry]:
    """Entries of some kinds (all by default) in the order they were said, whatever copy of the library they came from;
    those taken back only where asked."""
    table = schema.entry
    query = select(table).order_by(table.c.entered_at, table.c.id)
    if kinds:
        query = query.where(table.c.kind.in_(kinds))
    if not undone:
        query = query.where(table.c.undone_at.is_(None))
    return [
        Entry(r.id, r.kind, r.run_id, r.date, json.loads(r.payload), r.entered_at, r.undone_at)
        for r in connection.execute(query)
    ]


def arrange(recordings: Iterable[Whole], entries: Iterable[Entry]) -> list[Part]:
    """Apply the entries that shape recordings, in their order, to recordings as they came."""
    wholes = {w.id: w for w in recordings}
    parts = [Part(w.run, (Piece(w.id, *ALWAYS),)) for w in wholes.values()]
    for entry in entries:
        mine = [p for p in parts if p.run == entry.run]
        rest = [p for p in parts if p.run != entry.run]
        if entry.kind == "merge":
            other = int(entry.payload["other"])
            parts = [p for p in rest if p.run != other] + _merged(mine, [p for p in rest if p.run == other], wholes)
        elif entry.kind == "pair":
            other, shift = int(entry.payload["other"]), float(entry.payload["shift"])
            parts = [replace(p, run=int(entry.run or 0), shift=p.shift + shift) if p.run == other else p for p in parts]
        elif entry.kind == "distance":
            spans = {p.pieces: sum(_length(piece, wholes) for piece in p.pieces) for p in mine}
            whole = 0.95 * max(spans.values(), default=0.0)  # a device that recorded only a part is left as it is
            parts = rest + [
                replace(p, distance=entry.payload["metres"]) if spans[p.pieces] >= whole else p for p in mine
            ]
        else:
            made = [new for part in mine for new in _corrected(part, entry, wholes)]
            parts = rest + (made or mine)  # what would leave nothing of a run leaves it as it is
    out: list[Part] = []
    numbers: dict[int, int] = {}
    for part in sorted(parts, key=lambda p: (p.recording, p.pieces[0].start)):
        numbers[part.recording] = numbers.get(part.recording, -1) + 1
        files = tuple(wholes[piece.recording].file for piece in part.pieces)
        out.append(replace(part, number=numbers[part.recording], files=files))
    return out


def _corrected(part: Part, entry: Entry, wholes: dict[int, Whole]) -> list[Part]:
    given = entry.payload
    if entry.kind == "split":
        before, after = _within(part, ALWAYS[0], given["at"], wholes), _within(part, given["at"], ALWAYS[1], wholes)
        return [p for p in (before, after and replace(after, run=int(given["new_run"]))) if p]
    if entry.kind == "trim":
        kept = _within(part, given["start"], given["end"], wholes)
        return [kept] if kept else []
    if entry.kind == "leave-out" and "start" in given:
        return [replace(part, left_out=(*part.left_out, (given["start"], given["end"], given.get("only"))))]
    if entry.kind == "heart-rate":
        return [replace(part, heart=given["value"])]
    if entry.kind in ("mark", "unmark"):
        return [replace(part, incline=given.get("incline"))]
    return [part]


def _length(piece: Piece, wholes: dict[int, Whole]) -> float:
    whole = wholes[piece.recording]
    return min(piece.end, whole.end + 1) - max(piece.start, whole.start)


def _within(part: Part, start: float, end: float, wholes: dict[int, Whole]) -> Part | None:
    """The part's seconds inside a span; None where fewer than two are."""
    pieces = []
    start, end = start - part.shift, end - part.shift
    for piece in part.pieces:
        whole = wholes[piece.recording]
        first, last = max(piece.start, start), min(piece.end, end)
        if min(last, whole.end + 1) - max(first, whole.start) >= 2:
            # A border outside the recording is none: the same seconds always read the same.
            first, last = first if first > whole.start else ALWAYS[0], last if last <= whole.end else ALWAYS[1]
            pieces.append(Piece(piece.recording, first, last))
    return replace(part, pieces=tuple(pieces)) if pieces else None


def _merged(ours: list[Part], theirs: list[Part], wholes: dict[int, Whole]) -> list[Part]:
    """Parts joined by device, then in order; a device that recorded only one of the runs stays on its own."""

    def serial(part: Part) -> str:
        return wholes[part.recording].serial

    if not ours:
        return theirs
    pairs, left, waiting = [], [], list(theirs)
    for part in ours:
        found = next((w for w in waiting if serial(part) and serial(w) == serial(part)), None)
        if found is None:
            left.append(part)
        else:
            waiting.remove(found)
            pairs.append((part, found))
    pairs += zip(left, waiting, strict=False)
    alone = left[len(waiting) :] + waiting[len(left) :]
    joined = [
        replace(
            a,
            pieces=tuple(sorted(a.pieces + b.pieces, key=lambda p: max(p.start, wholes[p.recording].start))),
            left_out=a.left_out + b.left_out,
            heart="doubtful" if "doubtful" in (a.heart, b.heart) else a.heart or b.heart,
        )
        for a, b in pairs
    ]
    return joined + [replace(p, run=ours[0].run) for p in alone]


def read_parts(connection: Connection) -> dict[int, list[Part]]:
    """Parts of every running recording that an entry shapes, by the recording they begin with; an empty list for one
    that was joined to another. A recording that is not here is one part, as it came."""
    entries = [e for e in read_entries(connection, *SHAPING) if e.shapes]
    touched = {r for e in entries for r in e.runs}
    if not touched:
        return {}
    table = schema.recording
    rows = connection.execute(
        select(table.c.id, table.c.run_id, table.c.start, table.c.end, table.c.serial, table.c.file_id).where(
            table.c.run_id.in_(touched)
        )
    ).all()
    wholes = [Whole(*row) for row in rows]
    out: dict[int, list[Part]] = {w.id: [] for w in wholes}
    for part in arrange(wholes, entries):
        out[part.recording].append(part)
    return out
