"""Per-recording results: made from a file, stored as rows, compared with what overlaps, rebuilt when stale."""

from __future__ import annotations

import datetime as dt
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from footwork.errors import FootworkError, LibraryError
from footwork.history.dated import in_force
from footwork.history.log.parts import ALWAYS, Part, Piece, read_parts
from footwork.history.recordings import digesting, overlap
from footwork.history.recordings.local_time import local_date
from footwork.signals import PowerStream, Recording
from footwork.store import blobs, database, schema

if TYPE_CHECKING:
    from footwork.history.book import History


# Asked for each file of an import: made once, since making a statement takes longer than asking it.
_KNOWN_FILE = select(schema.file.c.id).where(schema.file.c.sha256 == bindparam("sha256"))
_KNOWN_SCALE = select(schema.scale.c.id).where(schema.scale.c.key == bindparam("key"))
_NEW_FILE, _NEW_RUN, _NEW_RECORDING, _NEW_RESULT, _NEW_STREAM = map(
    insert, (schema.file, schema.run, schema.recording, schema.result, schema.stream)
)


def store(library: History, connection: Connection, made: Any, report: Any, start: dt.datetime | None) -> None:
    """Write one file's recordings inside the caller's transaction and say what became of it."""
    entry = {"file": made.shown, "reason": made.reason}
    known = connection.execute(_KNOWN_FILE, {"sha256": made.sha256}).first()
    if made.outcome == "healed":
        blobs.place(made.original, blobs.original_path(library.folder, made.sha256))
        report.healed.append({"file": made.shown, "reason": "what was kept of it here was damaged or gone: put right"})
        return
    if made.outcome == "known" or (made.outcome == "read" and known):
        report.duplicates.append({"file": made.shown, "reason": "this very file is in the library"})
        return
    if made.outcome in ("skipped", "failed"):
        getattr(report, made.outcome).append(entry)
        return
    kept, twins = _new_ones(library, connection, made.recordings)
    if not kept:
        report.duplicates.append({"file": made.shown, "reason": "; ".join(dict.fromkeys(twins)) or "nothing new"})
        return
    if start is not None and any(a.placed_by_start for a, _, _ in kept):
        if report.start_used:
            reason = f"--start was used for {report.start_used}: add undated files one by one"
            report.failed.append({"file": made.shown, "reason": reason})
            return
        report.start_used = made.shown
    # Files go to their places before the rows that name them are committed; a kill in between leaves no row behind.
    blobs.place(made.original, blobs.original_path(library.folder, made.sha256))
    for analysed, _, _ in kept:
        if analysed.parquet is not None:
            blobs.place(analysed.parquet, blobs.signals_path(library.folder, made.sha256, analysed.leg))
    told = {"sha256": made.sha256, "name": made.name, "size": made.size, "added_at": time.time()}
    given = start.timestamp() if start else None
    file_id = connection.execute(_NEW_FILE, {**told, "start_given": given}).lastrowid
    runs: list[int] = []
    others: list[str] = []
    for analysed, run_id, twin in kept:
        report.replaced += _signals_of(library, connection, twin)
        run = _store_leg(connection, int(file_id), analysed, run_id, twin)
        if run is not None:
            runs.append(run)
        else:
            others.append(analysed.sport)
    named = " and ".join(dict.fromkeys(others))
    if not runs:
        report.skipped.append({"file": made.shown, "reason": f"{named}, not a run: kept as load only"})
        return
    if others:
        report.skipped.append({"file": made.shown, "reason": f"its {named} leg is not a run: kept as load only"})
    report.added.append({"file": made.shown, "reason": "run " + ", ".join(str(r) for r in runs), "runs": runs})
    lost = list(dict.fromkeys(text for analysed, _, _ in kept for text in analysed.lost))
    if lost:
        report.recovered.append({"file": made.shown, "reason": "lost: " + "; ".join(lost)})


Leg = tuple["digesting.Analysed", int | None, int | None]  # a leg, its run, and the recording it takes the place of


def _new_ones(
    library: History, connection: Connection, recordings: list[digesting.Analysed]
) -> tuple[list[Leg], list[str]]:
    """Legs of a file that are new or better than what is known, and in words what the others are twins of."""
    kept: list[Leg] = []
    twins: list[str] = []
    for analysed in recordings:
        if any(
            a.sport == analysed.sport and abs(a.start - analysed.start) + abs(a.end - analysed.end) <= 4
            for a, _, _ in kept
        ):
            twins.append("the same recording twice in one file")
            continue
        place = overlap.overlapping(library, connection, analysed)
        if place.twin is None or place.better:
            kept.append((analysed, place.run, place.twin))
        else:
            twins.append(
                f"the same recording as run {place.run}" if place.run else "the same activity is known already"
            )
    return kept, twins


def _signals_of(library: History, connection: Connection, recording_id: int | None) -> list[Path]:
    """Files of signals of a recording that is to be replaced, of all its parts; none for None."""
    row = connection.execute(
        select(schema.file.c.sha256, schema.recording.c.leg)
        .join(schema.file, schema.file.c.id == schema.recording.c.file_id)
        .where(schema.recording.c.id == recording_id)
    ).first()
    if row is None:
        return []
    whole = blobs.signals_path(library.folder, row.sha256, row.leg)
    return [whole, *whole.parent.glob(f"{whole.stem}-*.parquet")]


def _store_leg(
    connection: Connection, file_id: int, analysed: digesting.Analysed, run_id: int | None, twin: int | None
) -> int | None:
    """Write one leg's rows; returns its run, or None for other sports."""
    fresh = run_id is None and twin is None
    if analysed.is_run and run_id is None:
        run_id = connection.execute(_NEW_RUN).lastrowid
    values = {
        "file_id": file_id,
        "leg": analysed.leg,
        "run_id": run_id,
        "sport": analysed.sport,
        "start": analysed.start,
        "end": analysed.end,
        "serial": analysed.serial,
        "utc_offset_minutes": analysed.utc_offset_minutes,
    }
    if twin is not None:
        # The better copy takes the place of the poorer one, which leaves it its marks and the run's address.
        recording_id = twin
        old = connection.execute(select(schema.recording.c.file_id).where(schema.recording.c.id == twin)).scalar()
        connection.execute(update(schema.file).where(schema.file.c.id == old).values(replaced_by=file_id))
        connection.execute(update(schema.recording).where(schema.recording.c.id == recording_id).values(**values))
    else:
        recording_id = connection.execute(_NEW_RECORDING, values).lastrowid
    if fresh:
        _insert_result(connection, recording_id, run_id, analysed, 0)
    else:
        write_result(connection, recording_id, run_id, analysed)
    return run_id if analysed.is_run else None


def write_result(
    connection: Connection, recording_id: int, run_id: int | None, analysed: digesting.Analysed, part: int = 0
) -> None:
    """Replace the derived rows of one part of a recording; new scales get a neutral name."""
    _forget(connection, recording_id, part)
    overlap.own_scales(connection, recording_id, analysed)
    _insert_result(connection, recording_id, run_id, analysed, part)


def _insert_result(
    connection: Connection, recording_id: int, run_id: int | None, analysed: digesting.Analysed, part: int
) -> None:
    of = {"recording_id": recording_id, "part": part}
    connection.execute(_NEW_RESULT, {**of, "run_id": run_id, **analysed.row})
    for stream in analysed.streams:
        connection.execute(_NEW_STREAM, {**of, **stream})
        if stream["measured"]:
            _name_scale(connection, stream["scale_key"], stream["kind"])


def _forget(connection: Connection, recording_id: int, part: int) -> None:
    for table in (schema.stream, schema.result):
        connection.execute(delete(table).where(table.c.recording_id == recording_id, table.c.part == part))


def _name_scale(connection: Connection, key: str, kind: str) -> None:
    # Asked once a transaction, since each file has its few; the connection, and what is noted on it, ends with that.
    named = connection.info.setdefault("scales", set())
    if key in named:
        return
    named.add(key)
    if connection.execute(_KNOWN_SCALE, {"key": key}).first():
        return
    names = set(connection.execute(select(schema.scale.c.name)).scalars())
    letters = (chr(ord("A") + i % 26) * (1 + i // 26) for i in range(26 * 40))
    name = next(n for n in (f"{kind} {letter}" for letter in letters) if n not in names)
    connection.execute(insert(schema.scale).values(key=key, name=name))


def stale(connection: Connection, masses: list[tuple[str, float]], zone: dt.tzinfo | None) -> list[int]:
    """Recordings whose derived rows are missing, of another method version, modelled with another mass, or made with
    other corrections than the runner's now.

    Masses are dated [kg].
    """
    table, result, stream = schema.recording, schema.result, schema.stream
    rows = connection.execute(
        select(
            table.c.id,
            table.c.start,
            table.c.utc_offset_minutes,
            table.c.run_id,
            result.c.versions,
            result.c.mass,
            stream.c.measured,
            result.c.part,
            result.c.run_id.label("placed"),
            result.c.layout,
        )
        .outerjoin(result, result.c.recording_id == table.c.id)
        .outerjoin(
            stream,
            (stream.c.recording_id == table.c.id) & (stream.c.part == result.c.part) & (stream.c.column == "power"),
        )
    ).all()
    parts = read_parts(connection)
    out: list[int] = []
    there: dict[int, set[tuple[int, int, str]]] = {i: set() for i in parts}
    for row in rows:
        if row.id in parts and row.layout is not None:
            there[row.id].add((row.part, row.placed, row.layout))
        if row.versions is None and not parts.get(row.id, [True]):
            continue  # joined to another recording
        if row.versions != digesting.VERSIONS or (row.id not in parts and row.layout):
            out.append(row.id)
        elif row.run_id is not None and not row.measured and masses:
            wanted = in_force(masses, local_date(row.start, row.utc_offset_minutes, zone).date().isoformat())
            if wanted != row.mass:
                out.append(row.id)
        elif row.id not in parts and (row.part or row.placed != row.run_id):
            out.append(row.id)
    out += [i for i, wanted in parts.items() if there[i] != {(p.number, p.run, p.corrections) for p in wanted}]
    return list(dict.fromkeys(out))


def rebuild(library: History, recording_ids: list[int], progress: Any = None) -> list[str]:
    """Make the derived rows and signals of these recordings anew from the originals, a file at a time.

    Returns what could not be rebuilt, in sentences; the rest is.
    """
    with database.held(library.folder / "rebuild.lock"):  # two at once would write the same files
        return _rebuild(library, recording_ids, progress)


def _rebuild(library: History, recording_ids: list[int], progress: Any) -> list[str]:
    problems: list[str] = []
    masses = library.athlete.masses()
    with library.reading() as connection:
        found = (
            connection.execute(
                select(schema.recording.c.id, schema.recording.c.leg, schema.recording.c.run_id, schema.file)
                .join(schema.file)
                .order_by(schema.file.c.id)
            )
            .mappings()
            .all()
        )
        parts = read_parts(connection)
    rows = {row["id"]: row for row in found}
    wanted = [i for i in rows if i in set(recording_ids)]
    for done, recording_id in enumerate(wanted, start=1):
        try:
            _rebuild_one(library, rows, recording_id, parts.get(recording_id), masses)
        except FootworkError as error:
            problems.append(str(error))
        if progress is not None:
            progress(done, len(wanted), rows[recording_id]["name"])
    return problems


def _rebuild_one(
    library: History, rows: dict[int, Any], recording_id: int, parts: list[Part] | None, masses: list[tuple[str, float]]
) -> None:
    row = rows[recording_id]
    whole = [Part(row["run_id"], (Piece(recording_id, *ALWAYS),))]
    made = []
    for part in whole if parts is None else parts:
        sources = [_original(library, rows[p.recording]) for p in part.pieces]
        analysed = (
            digesting.corrected(part, sources, masses, library.zone)
            if part.corrections
            else digesting.analyse(sources[0], masses, library.zone)
        )
        if analysed.signals is not None:
            final = blobs.signals_path(library.folder, row["sha256"], row["leg"], part.number)
            temporary = final.with_suffix(".new")
            temporary.parent.mkdir(parents=True, exist_ok=True)
            blobs.write_signals(temporary, analysed.signals)
            blobs.place(temporary, final)
        made.append((part, analysed))
    numbers = {part.number for part, _ in made}
    with library.writing() as connection:
        old = connection.execute(
            select(schema.result.c.part).where(schema.result.c.recording_id == recording_id)
        ).scalars()
        for number in set(old) - numbers:
            _forget(connection, recording_id, number)
            blobs.signals_path(library.folder, row["sha256"], row["leg"], number).unlink(missing_ok=True)
        for part, analysed in made:
            write_result(connection, recording_id, part.run, analysed, part.number)
            table = schema.recording
            values = {"utc_offset_minutes": analysed.utc_offset_minutes}
            connection.execute(update(table).where(table.c.id == recording_id).values(**values))


def _original(library: History, row: Any) -> Recording:
    data = blobs.read_original(library.folder, row["sha256"])
    given = row["start_given"]
    start = dt.datetime.fromtimestamp(given, dt.UTC) if given else None
    recording = next((r for r in digesting.read_dated(data, row["name"], start) if r.leg == row["leg"]), None)
    if recording is None:
        raise LibraryError(f"the original {row['name']} no longer yields its recording: report this as a fault")
    return recording


def read_streams(connection: Connection, recording_id: int, part: int = 0) -> list[PowerStream]:
    """The power streams of a part of a recording in the order of its columns."""
    rows = connection.execute(
        select(schema.stream.c.column, schema.stream.c.scale_key, schema.stream.c.kind, schema.stream.c.measured)
        .where(schema.stream.c.recording_id == recording_id, schema.stream.c.part == part)
        .order_by(schema.stream.c.column)
    ).all()
    return [PowerStream(*row) for row in rows]
