"""Runs: the list, one run, marks, signals, export."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import delete, insert, select

from footwork.analysis.summary import BLOCK_COLUMNS, mean_known
from footwork.errors import LibraryError, NoSuchRun, UsageError
from footwork.library.results import local_date, read_streams
from footwork.physiology import curve
from footwork.quantities import Floats, plain
from footwork.signals import Signals
from footwork.store import blobs, schema

MARKS = ("race", "test", "maximal", "easy", "long", "treadmill")
MAXIMAL_MARKS = {"race", "test", "maximal"}
RECENT_DAYS = 42  # what is usual now: the scale, power at speed, heart rate


@dataclass(frozen=True)
class RunRow:
    """One line of the list of runs. Means are measured or modelled watts of one scale, never mixed."""

    id: int
    start: str
    date: str
    duration_s: float
    distance_m: float | None
    climb_m: float | None
    power_w: float | None
    power_scale: str | None
    measured: bool
    heart_rate_bpm: float | None
    recordings: int
    marks: tuple[str, ...]
    recording_id: int = field(repr=False)
    column: str = field(repr=False)
    scale_key: str | None = field(repr=False)

    def to_json(self) -> dict[str, Any]:
        """The documented form, keys in SI units."""
        names = ("id", "start", "date", "duration_s", "distance_m", "climb_m", "power_w", "power_scale", "measured",
                 "heart_rate_bpm", "recordings", "marks")  # fmt: skip
        out: dict[str, Any] = plain({name: getattr(self, name) for name in names})
        return out

    @property
    def local(self) -> dt.datetime:
        """Local time at the start."""
        return dt.datetime.fromisoformat(self.date)


@dataclass(frozen=True)
class Run:
    """A run with its recordings, cleaning, laps and stored best efforts."""

    row: RunRow
    changes: list[dict[str, Any]]
    lost: list[str]
    notes: list[str]
    legs_before: list[str]
    laps: list[dict[str, Any]]
    recordings: list[dict[str, Any]]
    best: list[dict[str, Any]]

    def to_json(self) -> dict[str, Any]:
        """The run as the web page's twin and ``show --json`` give it."""
        out = self.row.to_json()
        out |= {name: getattr(self, name) for name in ("changes", "lost", "notes", "legs_before", "laps", "recordings")}
        out["mean_maximal_power"] = self.best
        result: dict[str, Any] = plain(out)
        return result


def rows(library: Any) -> list[RunRow]:
    """All runs, the newest first, each by its primary recording and that recording's first power stream."""
    names = library.scales()
    recording, result, stream = schema.recording, schema.result, schema.stream
    query = (
        select(
            recording.c.id, recording.c.run_id, recording.c.start, recording.c.utc_offset_minutes,
            result.c.duration_s, result.c.distance_m, result.c.climb_m, result.c.heart_rate_bpm,
            stream.c.scale_key, stream.c.measured, stream.c.mean_power,
        )
        .join(result, result.c.recording_id == recording.c.id)
        .where(recording.c.run_id.is_not(None))
        .outerjoin(stream, (stream.c.recording_id == recording.c.id) & (stream.c.column == "power"))
        .order_by(recording.c.id)
    )  # fmt: skip
    with library.reading() as connection:
        found = connection.execute(query).all()
        marks: dict[int, list[str]] = {}
        for recording_id, name in connection.execute(select(schema.mark.c.recording_id, schema.mark.c.name)):
            marks.setdefault(recording_id, []).append(name)
    zone = library.zone
    time_on: Counter[str | None] = Counter()
    for row in found:
        time_on[row.scale_key] += int(row.duration_s) if row.measured else 0
    by_run: dict[int, list[Any]] = {}
    for row in found:
        by_run.setdefault(row.run_id, []).append(row)
    out = []
    for run_id, group in by_run.items():
        # Of several devices the one that recorded most of this runner's measured time is shown, run after run.
        main = max(group, key=lambda r: (bool(r.measured), time_on[r.scale_key], -r.id))
        local = local_date(main.start, main.utc_offset_minutes, zone)
        out.append(
            RunRow(
                id=run_id,
                start=dt.datetime.fromtimestamp(main.start, dt.UTC).isoformat().replace("+00:00", "Z"),
                date=local.isoformat(timespec="seconds"),
                duration_s=main.duration_s,
                distance_m=main.distance_m,
                climb_m=main.climb_m,
                power_w=main.mean_power,
                power_scale=names.get(main.scale_key) if main.scale_key else None,
                measured=bool(main.measured),
                heart_rate_bpm=main.heart_rate_bpm,
                recordings=len(group),
                marks=tuple(sorted({m for r in group for m in marks.get(r.id, [])})),
                recording_id=main.id,
                column="power",
                scale_key=main.scale_key,
            )
        )
    out.sort(key=lambda r: (r.start, r.id), reverse=True)
    return out


def choose_scale(library: Any, rows: list[RunRow], asked: dt.date, wanted: str | None) -> tuple[str, str]:
    """Key and name of the scale to answer on; empty where there is none."""
    names = library.scales()
    if wanted is not None:
        for key, name in names.items():
            if wanted == key or wanted.strip().lower() == name.lower():
                return key, name
        raise UsageError(f"there is no scale '{wanted}': there are {', '.join(names.values())}")
    past = [r for r in rows if r.scale_key and r.local.date() <= asked]
    time: Counter[str] = Counter()
    for r in past:
        if (asked - r.local.date()).days <= RECENT_DAYS and r.measured:
            time[r.scale_key or ""] += int(r.duration_s)
    key = time.most_common(1)[0][0] if time else past[0].scale_key if past else ""
    return (key, names.get(key, key)) if key else ("", "")


def find(library: Any, run_id: int) -> RunRow:
    """The row of a run. Raises UsageError where there is none."""
    row: RunRow | None = next((r for r in library.runs() if r.id == run_id), None)
    if row is None:
        raise NoSuchRun(f"there is no run {run_id}: 'footwork runs' lists them")
    return row


def one(library: Any, run_id: int) -> Run:
    """One run in full; see `Library.run`."""
    row = find(library, run_id)
    names = library.scales()
    recording, result = schema.recording, schema.result
    with library.reading() as connection:
        found = connection.execute(
            select(recording.c.id, recording.c.start, schema.file.c.name, result)
            .join(schema.file)
            .join(result, result.c.recording_id == recording.c.id)
            .where(recording.c.run_id == run_id)
            .order_by(recording.c.id)
        ).mappings().all()  # fmt: skip
        main = next(r for r in found if r["id"] == row.recording_id)
        recordings = []
        for r in found:
            streams = read_streams(connection, r["id"])
            means = dict(
                connection.execute(
                    select(schema.stream.c.column, schema.stream.c.mean_power).where(
                        schema.stream.c.recording_id == r["id"]
                    )
                ).all()
            )
            recordings.append({
                "file": r["name"], "duration_s": r["duration_s"], "distance_m": r["distance_m"],
                "heart_rate_bpm": r["heart_rate_bpm"], "primary": r["id"] == row.recording_id, "lost": json.loads(r["lost"]),
                "power": [
                    {"scale": names.get(s.scale, s.scale), "measured": s.measured, "power_w": means.get(s.column)}
                    for s in streams
                ],
            })  # fmt: skip
        best = connection.execute(
            select(schema.stream.c.best, schema.stream.c.start).where(
                schema.stream.c.recording_id == row.recording_id, schema.stream.c.column == row.column
            )
        ).first()
    laps = json.loads(main["laps"])
    return Run(
        row=row,
        changes=json.loads(main["changes"]),
        lost=json.loads(main["lost"]),
        notes=json.loads(main["notes"]),
        legs_before=json.loads(main["legs_before"]),
        laps=_laps(library, row, laps) if len(laps) > 1 else [],
        recordings=recordings,
        best=_best(best) if best is not None else [],
    )


def _best(packed: Any) -> list[dict[str, Any]]:
    power, start = blobs.unpack(packed.best, "float32"), blobs.unpack(packed.start, "int32")
    durations = curve.stored_durations(86400)[: len(power)]
    return [
        {"duration_s": int(d), "power_w": round(float(p), 2), "start_s": int(s)}
        for d, p, s in zip(durations, power, start, strict=True)
        if np.isfinite(p)
    ]


def _laps(library: Any, row: RunRow, laps: list[list[float]]) -> list[dict[str, Any]]:
    found = _signals_of(library, row)
    time, way = found["time"], found.get("distance")
    known = np.isfinite(way)
    out = []
    for start, end in laps:
        inside = (time >= start) & (time < end)
        running = inside & found.timer
        ends = np.interp([start - 1, end - 1], time[known], way[known]) if known.any() else np.zeros(2)
        covered = float(ends[1] - ends[0]) if known.any() else None
        out.append({
            "start_s": start - float(time[0]), "duration_s": float(running.sum()), "distance_m": covered,
            "power_w": mean_known(found.get("power")[running]), "heart_rate_bpm": mean_known(found.get("heart_rate")[running]),
            "speed_mps": covered / float(running.sum()) if covered and running.any() else None,
        })  # fmt: skip
    return out


def signals(library: Any, run_id: int) -> Signals:
    """1 Hz signals of the primary recording."""
    return _signals_of(library, find(library, run_id))


def _signals_of(library: Any, row: RunRow) -> Signals:
    recording = schema.recording
    with library.reading() as connection:
        digest, leg = connection.execute(
            select(schema.file.c.sha256, recording.c.leg).join(schema.file).where(recording.c.id == row.recording_id)
        ).one()._tuple()  # fmt: skip
        streams = read_streams(connection, row.recording_id)
    path = blobs.signals_path(library.folder, digest, leg)
    try:
        return blobs.read_signals(path, streams)
    except Exception:  # missing or damaged: the original still has it all
        if library.readonly:
            raise LibraryError(
                f"the signals of run {row.id} are damaged: open the library where it can be written"
            ) from None
        from footwork.library import results

        problems = results.rebuild(library, [row.recording_id])
        if problems:
            raise LibraryError(problems[0]) from None
        return blobs.read_signals(path, streams)


def mark(library: Any, run_id: int, name: str, remove: bool) -> list[str]:
    """Set or take off a mark; see `Library.mark`."""
    if name not in MARKS:
        raise UsageError(f"'{name}' is not a mark: use {', '.join(MARKS)}")
    row = find(library, run_id)
    table = schema.mark
    with library.writing() as connection:
        of_run = select(schema.recording.c.id).where(schema.recording.c.run_id == run_id)
        connection.execute(delete(table).where(table.c.recording_id.in_(of_run), table.c.name == name))
        if not remove:
            connection.execute(insert(table).values(recording_id=row.recording_id, name=name))
    return list(find(library, run_id).marks)


def activities(library: Any) -> list[dict[str, Any]]:
    """Other sports, the newest first."""
    recording, result = schema.recording, schema.result
    with library.reading() as connection:
        found = connection.execute(
            select(recording.c.start, recording.c.sport, result.c.duration_s, result.c.work_j, result.c.heart_rate_bpm)
            .join(result, result.c.recording_id == recording.c.id)
            .where(recording.c.run_id.is_(None))
            .order_by(recording.c.start.desc())
        ).mappings().all()  # fmt: skip
    return [
        {**row, "start": dt.datetime.fromtimestamp(row["start"], dt.UTC).isoformat().replace("+00:00", "Z")}
        for row in found
    ]


@dataclass(frozen=True)
class StreamRows:
    """Stored rows of one power stream of one run: what questions across runs are asked of."""

    run: int
    start: float
    date: dt.date
    marks: frozenset[str]
    measured: bool
    indoor: bool
    duration_s: float
    best: Floats
    starts: np.ndarray[Any, np.dtype[np.int64]]
    histogram: Floats
    blocks: Floats


def scale_rows(library: Any, scale_key: str) -> list[StreamRows]:
    """Stored rows of all runs on a scale, the oldest first; one a run."""
    found: list[StreamRows] = library.cached(("scale", scale_key), lambda: _scale_rows(library, scale_key))
    return found


def _scale_rows(library: Any, scale_key: str) -> list[StreamRows]:
    run_of = {row.id: row for row in library.runs()}
    zone = library.zone
    recording, result, stream = schema.recording, schema.result, schema.stream
    with library.reading() as connection:
        found = connection.execute(
            select(recording.c.id, recording.c.run_id, recording.c.start.label("began"), recording.c.utc_offset_minutes,
                   result.c.indoor, result.c.duration_s, stream)
            .join(stream, stream.c.recording_id == recording.c.id)
            .join(result, result.c.recording_id == recording.c.id)
            .where(stream.c.scale_key == scale_key, recording.c.run_id.is_not(None))
            .order_by(recording.c.start, recording.c.id)
        ).all()  # fmt: skip
    out: dict[int, StreamRows] = {}
    for r in found:
        if r.run_id in out or r.run_id not in run_of:
            continue
        out[r.run_id] = StreamRows(
            r.run_id, r.began, local_date(r.began, r.utc_offset_minutes, zone).date(), frozenset(run_of[r.run_id].marks),
            bool(r.measured), bool(r.indoor) or "treadmill" in run_of[r.run_id].marks, r.duration_s, blobs.unpack(r.best, "float32").astype(float),
            blobs.unpack(r.start, "int32").astype(np.int64), blobs.unpack(r.histogram, "int32").astype(float),
            blobs.unpack(r.blocks, "float32", len(BLOCK_COLUMNS)).astype(float),
        )  # fmt: skip
    return list(out.values())


def export(library: Any, run_id: int, out: Path) -> int:
    """Signals as CSV (time as ISO 8601 UTC) or Parquet, written beside and renamed."""
    import polars as pl

    ending = out.suffix.lower()
    if ending not in (".csv", ".parquet"):
        raise UsageError(f"{out.name}: export writes .csv or .parquet")
    if not out.parent.exists():
        raise UsageError(f"there is no folder {out.parent}: make it first")
    found = signals(library, run_id)
    frame = pl.DataFrame({n: pl.Series(n, v, nan_to_null=True) for n, v in found.columns.items()})
    stamp = (frame["time"] * 1000).cast(pl.Int64).cast(pl.Datetime("ms", "UTC"))
    temporary = out.with_name(f".{out.name}.part")
    try:
        if ending == ".csv":
            frame.with_columns(stamp.dt.strftime("%Y-%m-%dT%H:%M:%SZ").alias("time")).write_csv(
                temporary, float_precision=6
            )
        else:
            frame.with_columns(stamp.alias("time")).write_parquet(temporary)
        os.replace(temporary, out)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise LibraryError(f"cannot write {out}: {error.strerror or error}") from None
    return len(frame)
