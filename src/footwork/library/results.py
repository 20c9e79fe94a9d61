"""Per-recording results: made from a file, stored as rows, compared with what overlaps, rebuilt when stale."""

from __future__ import annotations

import datetime as dt
import json
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, insert, select, update

from footwork import formats
from footwork.analysis import cleaning, summary
from footwork.errors import FootworkError, LibraryError, NotARecording, UnreadableFile
from footwork.physics import power as power_model
from footwork.physiology import curve, domains
from footwork.signals import Course, PowerStream, Recording, Signals
from footwork.store import blobs, schema

VERSIONS = "-".join(
    str(v)
    for v in (cleaning.METHOD_VERSION, summary.METHOD_VERSION, curve.METHOD_VERSION, domains.METHOD_VERSION, power_model.METHOD_VERSION)
)  # fmt: skip
SAME_SHARE = 0.95
OVERLAP_SHARE = 0.5
# Recorded signals and how far apart two copies may write one value (rounding of another format).
_IDENTITY = {"heart_rate": 0.51, "power": 0.51, "cadence": 1.01, "latitude": 2e-6, "longitude": 2e-6, "speed": 0.006}


@dataclass
class Analysed:
    """One leg of a file with everything that is kept of it."""

    leg: int
    sport: str
    start: float
    end: float
    utc_offset_minutes: int | None
    serial: str
    is_run: bool
    row: dict[str, Any]
    streams: list[dict[str, Any]]
    lost: list[str]
    placed_by_start: bool = False
    signals: Signals | None = None
    parquet: Path | None = None


def read_dated(data: bytes, name: str, start: dt.datetime | None) -> list[Recording]:
    """Recordings of a file, each placed in time.

    Raises
    ------
    NotARecording
        A course, or no recording at all.
    UnreadableFile
        Undated without ``start``, or dated in the future.
    """
    found = formats.read(data, name)
    if isinstance(found, Course):
        raise NotARecording("a course without times, not a run; use it with 'footwork race --course'")
    out = []
    for recording in found:
        if not recording.dated or recording.end < 631065600:
            if start is None:
                raise UnreadableFile("it has no date: add it with --start, for example --start 2026-04-14T18:05")
            recording = recording.dated_from(start)
        if recording.start > time.time() + 86400:
            day = dt.datetime.fromtimestamp(min(recording.start, 4e9), dt.UTC)
            raise UnreadableFile(f"it starts in the future ({day:%Y-%m-%d}): the device's clock was wrong")
        out.append(recording)
    return out


def mass_at(masses: list[tuple[str, float]], date: str) -> float | None:
    """The mass in force on a date [kg]; before the first entry, the first holds."""
    value = masses[0][1] if masses else None
    for day, mass in masses:
        if day <= date:
            value = mass
    return value


def local_date(start: float, utc_offset_minutes: int | None, zone: dt.tzinfo | None) -> dt.datetime:
    """Local time at a start; where the file states no offset, the runner's zone, else this machine's."""
    if utc_offset_minutes is None:
        return dt.datetime.fromtimestamp(start, zone) if zone else dt.datetime.fromtimestamp(start).astimezone()
    return dt.datetime.fromtimestamp(start, dt.timezone(dt.timedelta(minutes=utc_offset_minutes)))


def analyse(recording: Recording, masses: list[tuple[str, float]], zone: dt.tzinfo | None) -> Analysed:
    """Clean and summarise one recording. Raises UnreadableFile where too little of it is usable."""
    day = local_date(recording.start, recording.utc_offset_minutes, zone).date().isoformat()
    mass = mass_at(masses, day) or recording.mass
    signals, changes = cleaning.clean(recording, mass)
    totals = summary.summarise(signals)
    if recording.is_run and totals.duration_s < 5:
        raise UnreadableFile("the recording holds less than five seconds")
    work = next((s.mean_power * totals.duration_s for s in totals.streams if s.mean_power is not None), None)
    row = {
        "versions": VERSIONS, "mass": mass, "work_j": work, "indoor": recording.indoor,
        **{name: getattr(totals, name) for name in (
            "duration_s", "elapsed_s", "distance_m", "climb_m", "heart_rate_bpm", "cadence_spm", "temperature_c",
            "altitude_m")},
        "changes": json.dumps([asdict(c) for c in changes]), "lost": json.dumps(recording.lost),
        "notes": json.dumps(recording.notes), "legs_before": json.dumps(recording.legs_before),
        "laps": json.dumps([[lap.start, lap.end] for lap in recording.laps]),
    }  # fmt: skip
    streams = [
        {
            "column": s.stream.column, "scale_key": s.stream.scale, "kind": s.stream.kind,
            "measured": s.stream.measured, "mean_power": s.mean_power, "best": blobs.pack(s.best),
            "start": blobs.pack(s.start), "histogram": blobs.pack(s.histogram), "blocks": blobs.pack(s.blocks),
        }
        for s in totals.streams
    ]  # fmt: skip
    return Analysed(
        recording.leg, recording.sport, float(signals["time"][0]), float(signals["time"][-1]),
        recording.utc_offset_minutes, recording.serial, recording.is_run, row, streams, recording.lost,
        recording.placed_by_start, signals if recording.is_run else None,
    )  # fmt: skip


def store(library: Any, connection: Connection, made: Any, report: Any, start: dt.datetime | None) -> None:
    """Write one file's recordings inside the caller's transaction and say what became of it."""
    entry = {"file": made.shown, "reason": made.reason}
    known = connection.execute(select(schema.file.c.id).where(schema.file.c.sha256 == made.sha256)).first()
    if made.outcome == "known" or (made.outcome == "read" and known):
        report.duplicates.append({"file": made.shown, "reason": "this very file is in the library"})
        return
    if made.outcome in ("skipped", "failed"):
        getattr(report, made.outcome).append(entry)
        return
    kept: list[tuple[Analysed, int | None, int | None]] = []  # the leg, its run, the recording it takes the place of
    twins: list[str] = []
    for analysed in made.recordings:
        if any(
            a.sport == analysed.sport and abs(a.start - analysed.start) + abs(a.end - analysed.end) <= 4
            for a, _, _ in kept
        ):
            twins.append("the same recording twice in one file")
            continue
        place = _overlapping(library, connection, analysed)
        if place.twin is None or place.better:
            kept.append((analysed, place.run, place.twin))
        else:
            twins.append(
                f"the same recording as run {place.run}" if place.run else "the same activity is known already"
            )
    if not kept:
        report.duplicates.append({"file": made.shown, "reason": "; ".join(dict.fromkeys(twins)) or "nothing new"})
        return
    if start is not None and any(a.placed_by_start for a, _, _ in kept):
        if report.start_used:
            report.failed.append(
                {
                    "file": made.shown,
                    "reason": f"--start was used for {report.start_used}: add undated files one by one",
                }
            )
            return
        report.start_used = made.shown
    # Files go to their places before the rows that name them are committed; a kill in between leaves no row behind.
    blobs.place(made.original, blobs.original_path(library.folder, made.sha256))
    for analysed, _, _ in kept:
        if analysed.parquet is not None:
            blobs.place(analysed.parquet, blobs.signals_path(library.folder, made.sha256, analysed.leg))
    file_id = connection.execute(
        insert(schema.file).values(
            sha256=made.sha256, name=made.name, size=made.size, added_at=time.time(),
            start_given=start.timestamp() if start else None,
        )
    ).lastrowid  # fmt: skip
    runs: list[int] = []
    others: list[str] = []
    for analysed, run_id, twin in kept:
        if analysed.is_run and run_id is None:
            run_id = connection.execute(insert(schema.run)).lastrowid
        values = {"file_id": file_id, "leg": analysed.leg, "run_id": run_id, "sport": analysed.sport,
                  "start": analysed.start, "end": analysed.end, "serial": analysed.serial,
                  "utc_offset_minutes": analysed.utc_offset_minutes}  # fmt: skip
        if twin is None and run_id is not None:
            _own_scales(connection, run_id, analysed)
        if twin is not None:
            # The better copy takes the place of the poorer one, which leaves it its marks and the run's address.
            recording_id = twin
            connection.execute(update(schema.recording).where(schema.recording.c.id == recording_id).values(**values))
        else:
            recording_id = connection.execute(insert(schema.recording).values(**values)).lastrowid
        write_result(library, connection, recording_id, analysed)
        if analysed.is_run and run_id is not None:
            runs.append(run_id)
        else:
            others.append(analysed.sport)
    if not runs:
        report.skipped.append(
            {"file": made.shown, "reason": f"{' and '.join(dict.fromkeys(others))}, not a run: kept as load only"}
        )
        return
    reason = "run " + ", ".join(str(r) for r in runs)
    if others:
        report.skipped.append(
            {
                "file": made.shown,
                "reason": f"its {' and '.join(dict.fromkeys(others))} leg is not a run: kept as load only",
            }
        )
    report.added.append({"file": made.shown, "reason": reason, "runs": runs})
    lost = list(dict.fromkeys(text for analysed, _, _ in kept for text in analysed.lost))
    if lost:
        report.recovered.append({"file": made.shown, "reason": "lost: " + "; ".join(lost)})


def _own_scales(connection: Connection, run_id: int, analysed: Analysed) -> None:
    """A second device on a run is not the first one: where files name no device, its watts get a scale of their own."""
    taken = set(
        connection.execute(
            select(schema.stream.c.scale_key)
            .join(schema.recording, schema.recording.c.id == schema.stream.c.recording_id)
            .where(schema.recording.c.run_id == run_id)
        ).scalars()
    )
    for stream in analysed.streams:
        if stream["measured"] and stream["scale_key"] in taken:
            number = next(n for n in range(2, 100) if f"{stream['scale_key']}-{n}" not in taken)
            stream["scale_key"] = f"{stream['scale_key']}-{number}"


def write_result(library: Any, connection: Connection, recording_id: int, analysed: Analysed) -> None:
    """Replace the derived rows of one recording; new scales get a neutral name."""
    for table in (schema.stream, schema.result):
        connection.execute(delete(table).where(table.c.recording_id == recording_id))
    connection.execute(insert(schema.result).values(recording_id=recording_id, **analysed.row))
    for stream in analysed.streams:
        connection.execute(insert(schema.stream).values(recording_id=recording_id, **stream))
        if stream["measured"]:
            _name_scale(connection, stream["scale_key"], stream["kind"])


def _name_scale(connection: Connection, key: str, kind: str) -> None:
    if connection.execute(select(schema.scale.c.id).where(schema.scale.c.key == key)).first():
        return
    names = set(connection.execute(select(schema.scale.c.name)).scalars())
    letters = (chr(ord("A") + i % 26) * (1 + i // 26) for i in range(26 * 40))
    name = next(n for n in (f"{kind} {letter}" for letter in letters) if n not in names)
    connection.execute(insert(schema.scale).values(key=key, name=name))


@dataclass(frozen=True)
class Place:
    """Where a recording belongs: its run, the stored recording it repeats, and whether it is the better copy."""

    run: int | None = None
    twin: int | None = None
    better: bool = False


def _overlapping(library: Any, connection: Connection, new: Analysed) -> Place:
    table = schema.recording
    rows = connection.execute(
        select(table, schema.file.c.sha256)
        .join(schema.file)
        .where(table.c.start <= new.end, table.c.end >= new.start, table.c.run_id.is_not(None) if new.is_run else table.c.sport == new.sport)
        .order_by(table.c.id)
    ).mappings().all()  # fmt: skip
    run_id: int | None = None
    for row in rows:
        shared = min(row["end"], new.end) - max(row["start"], new.start) + 1
        shorter = min(row["end"] - row["start"], new.end - new.start) + 1
        if shared < OVERLAP_SHARE * shorter:
            continue
        run_id = run_id or row["run_id"]
        same_device = bool(row["serial"]) and row["serial"] == new.serial
        if not new.is_run:
            # Other sports keep no samples: the same span is the same activity.
            if same_device or abs(row["start"] - new.start) + abs(row["end"] - new.end) <= 4:
                return Place(None, row["id"])
            continue
        streams = [s for s in read_streams(connection, row["id"]) if s.measured]
        old_path = blobs.signals_path(library.folder, row["sha256"], row["leg"])
        if same_device or _identical_share(old_path, bool(streams), new) >= SAME_SHARE:
            gained = any(s["measured"] for s in new.streams) and not streams
            lost = bool(streams) and not any(s["measured"] for s in new.streams)
            length, known = new.end - new.start, row["end"] - row["start"]
            better = (gained and length > 0.9 * known) or (not lost and length > 1.02 * known + 10)
            return Place(row["run_id"], row["id"], better)
    return Place(run_id)


def _identical_share(old_path: Path, old_measured: bool, new: Analysed) -> float:
    """Share of common seconds whose recorded values are the same; what was derived or modelled does not count."""
    try:
        old = blobs.read_signals(old_path, [])
        fresh = new.signals if new.signals is not None else blobs.read_signals(new.parquet or Path(), [])
    except Exception:  # a damaged file of signals says nothing; it is rebuilt when it is asked for
        return 0.0
    first = max(old["time"][0], fresh["time"][0])
    last = min(old["time"][-1], fresh["time"][-1])
    a, b = (slice(int(first - s["time"][0]), int(last - s["time"][0]) + 1) for s in (old, fresh))
    measured = old_measured and any(s["measured"] for s in new.streams)
    equal = total = 0
    for name, slack in _IDENTITY.items():
        if name not in old or name not in fresh or (name == "power" and not measured):
            continue
        x, y = old[name][a], fresh[name][b]
        both = np.isfinite(x) & np.isfinite(y)
        total += int(both.sum())
        equal += int((np.abs(x - y)[both] <= slack).sum())
        if (
            name == "speed" and total > both.sum()
        ):  # speed is often derived: it decides only where nothing else is there
            total, equal = total - int(both.sum()), equal - int((np.abs(x - y)[both] <= slack).sum())
    return equal / total if total else 0.0


def stale(connection: Connection, masses: list[tuple[str, float]], zone: dt.tzinfo | None) -> list[int]:
    """Recordings whose derived rows are missing, of another method version, or modelled with another mass."""
    table, result, stream = schema.recording, schema.result, schema.stream
    rows = connection.execute(
        select(table.c.id, table.c.start, table.c.utc_offset_minutes, table.c.run_id, result.c.versions, result.c.mass,
               stream.c.measured)
        .outerjoin(result, result.c.recording_id == table.c.id)
        .outerjoin(stream, (stream.c.recording_id == table.c.id) & (stream.c.column == "power"))
    ).all()  # fmt: skip
    out = []
    for recording_id, start, offset, run_id, versions, mass, measured in rows:
        if versions != VERSIONS:
            out.append(recording_id)
        elif run_id is not None and not measured and masses:
            wanted = mass_at(masses, local_date(start, offset, zone).date().isoformat())
            if wanted != mass:
                out.append(recording_id)
    return out


def rebuild(library: Any, recording_ids: list[int], progress: Any = None) -> list[str]:
    """Make the derived rows and signals of these recordings anew from the originals, a file at a time.

    Returns what could not be rebuilt, in sentences; the rest is.
    """
    problems: list[str] = []
    masses = library.athlete.masses()
    with library.reading() as connection:
        rows = connection.execute(
            select(schema.recording.c.id, schema.recording.c.leg, schema.file)
            .join(schema.file)
            .where(schema.recording.c.id.in_(recording_ids))
            .order_by(schema.file.c.id)
        ).mappings().all()  # fmt: skip
    for done, row in enumerate(rows, start=1):
        try:
            _rebuild_one(library, row, masses)
        except FootworkError as error:
            problems.append(str(error))
        if progress is not None:
            progress(done, len(rows), row["name"])
    return problems


def _rebuild_one(library: Any, row: Any, masses: list[tuple[str, float]]) -> None:
    data = blobs.read_original(library.folder, row["sha256"])
    given = row["start_given"]
    start = dt.datetime.fromtimestamp(given, dt.UTC) if given else None
    recording = next((r for r in read_dated(data, row["name"], start) if r.leg == row["leg"]), None)
    if recording is None:
        raise LibraryError(f"the original {row['name']} no longer yields its recording: report this as a fault")
    analysed = analyse(recording, masses, library.zone)
    if analysed.signals is not None:
        final = blobs.signals_path(library.folder, row["sha256"], row["leg"])
        temporary = final.with_suffix(".new")
        blobs.write_signals(temporary, analysed.signals)
        blobs.place(temporary, final)
    with library.writing() as connection:
        write_result(library, connection, row["id"], analysed)


def read_streams(connection: Connection, recording_id: int) -> list[PowerStream]:
    """The power streams of a recording in the order of its columns."""
    rows = connection.execute(
        select(schema.stream.c.column, schema.stream.c.scale_key, schema.stream.c.kind, schema.stream.c.measured)
        .where(schema.stream.c.recording_id == recording_id)
        .order_by(schema.stream.c.column)
    ).all()  # fmt: skip
    return [PowerStream(*row) for row in rows]
