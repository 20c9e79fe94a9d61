"""Runs: the list, one run, its signals, and the rows that questions across runs are asked of."""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from sqlalchemy import select

from footwork.analysis import screening
from footwork.analysis.summary import BLOCK_COLUMNS, mean_known
from footwork.analysis.usual import Sky
from footwork.errors import LibraryError, UsageError
from footwork.library import entries, placing
from footwork.library.results import local_date, read_streams
from footwork.physiology import curve
from footwork.quantities import Floats, plain
from footwork.signals import PowerStream, Signals
from footwork.store import blobs, schema

Source = tuple[str, str, Signals]
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
    heart_rate_sound_s: float | None
    recordings: int
    marks: tuple[str, ...]
    surface: str
    shoe: str
    left_out: bool
    entered_by_hand: bool
    note: str
    weather: dict[str, Any] | None
    recording_id: int | None = field(repr=False)
    part: int = field(repr=False)
    column: str = field(repr=False)
    scale_key: str | None = field(repr=False)
    elapsed_s: float = field(repr=False)

    def to_json(self) -> dict[str, Any]:
        """The documented form, keys in SI units."""
        names = (
            "id",
            "start",
            "date",
            "duration_s",
            "distance_m",
            "climb_m",
            "power_w",
            "power_scale",
            "measured",
            "heart_rate_bpm",
            "heart_rate_sound_s",
            "recordings",
            "marks",
            "surface",
            "shoe",
            "left_out",
            "entered_by_hand",
            "note",
            "weather",
        )
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
    diary: dict[str, Any]

    @property
    def heart_rate_screening(self) -> dict[str, Any] | None:
        """How much of the heart rate is sound, what that makes of it, and seconds by kind of fault; None without
        any."""
        sound = self.row.heart_rate_sound_s
        if sound is None or not self.row.duration_s:
            return None
        share = sound / self.row.duration_s
        faults = {c["what"].partition(":")[2]: c["count"] for c in self.changes if c["what"].startswith("heart rate:")}
        return {"sound_s": sound, "sound_share": share, "verdict": screening.verdict(share), "faults_s": faults}

    def to_json(self) -> dict[str, Any]:
        """The run as the web page's twin and ``show --json`` give it."""
        out = self.row.to_json()
        out |= {
            name: getattr(self, name)
            for name in ("changes", "lost", "notes", "legs_before", "laps", "recordings", "diary")
        }
        out["heart_rate_screening"] = self.heart_rate_screening
        out["mean_maximal_power"] = self.best
        result: dict[str, Any] = plain(out)
        return result


def rows(library: Any) -> list[RunRow]:
    """All runs, the newest first, each by its primary recording and that recording's first power stream."""
    names = library.scales()
    decided = placing.placing(library)
    recording, result, stream = schema.recording, schema.result, schema.stream
    query = (
        select(
            result.c.recording_id,
            result.c.part,
            result.c.run_id,
            result.c.start,
            recording.c.utc_offset_minutes,
            result.c.duration_s,
            result.c.elapsed_s,
            result.c.distance_m,
            result.c.climb_m,
            result.c.heart_rate_bpm,
            result.c.heart_rate_sound_s,
            stream.c.scale_key,
            stream.c.measured,
            stream.c.mean_power,
        )
        .join(recording, result.c.recording_id == recording.c.id)
        .where(result.c.run_id.is_not(None))
        .outerjoin(
            stream,
            (stream.c.recording_id == result.c.recording_id)
            & (stream.c.part == result.c.part)
            & (stream.c.column == "power"),
        )
        .order_by(result.c.recording_id, result.c.part)
    )
    with library.reading() as connection:
        found = connection.execute(query).all()
    said, zone = entries.told(library), library.zone
    scale_of = {
        (r.recording_id, r.part): decided.key(r.scale_key, local_date(r.start, r.utc_offset_minutes, zone).date())
        for r in found
        if r.scale_key
    }
    time_on: Counter[str | None] = Counter()
    for row in found:
        time_on[scale_of.get((row.recording_id, row.part))] += int(row.duration_s) if row.measured else 0
    by_run: dict[int, list[Any]] = {}
    for row in found:
        by_run.setdefault(row.run_id, []).append(row)
    out = []
    for run_id, group in by_run.items():
        # Of several devices the one that recorded most of this runner's measured time is shown, run after run.
        main = max(
            group,
            key=lambda r: (bool(r.measured), time_on[scale_of.get((r.recording_id, r.part))], -r.recording_id, -r.part),
        )
        scale = scale_of.get((main.recording_id, main.part))
        told = said.get(run_id, entries.Told())
        if not told.deleted:
            out.append(
                RunRow(
                    id=run_id,
                    duration_s=main.duration_s,
                    elapsed_s=main.elapsed_s,
                    distance_m=main.distance_m,
                    climb_m=main.climb_m,
                    power_w=main.mean_power,
                    measured=bool(main.measured),
                    power_scale=names.get(scale) if scale else None,
                    scale_key=scale,
                    heart_rate_bpm=main.heart_rate_bpm,
                    heart_rate_sound_s=main.heart_rate_sound_s,
                    recordings=len(group),
                    recording_id=main.recording_id,
                    part=main.part,
                    column="power",
                    entered_by_hand=False,
                    **_beside(told, main.start, main.utc_offset_minutes, zone),
                )
            )
    for run_id, told in said.items():
        if told.entered is not None and not told.deleted:
            given = told.entered
            out.append(
                RunRow(
                    id=run_id,
                    duration_s=given["duration_s"],
                    elapsed_s=given["duration_s"],
                    distance_m=given["distance_m"],
                    climb_m=given["climb_m"],
                    power_w=None,
                    measured=False,
                    power_scale=None,
                    scale_key=None,
                    heart_rate_bpm=given["heart_rate_bpm"],
                    heart_rate_sound_s=None,
                    recordings=0,
                    recording_id=None,
                    part=0,
                    column="power",
                    entered_by_hand=True,
                    **_beside(told, given["start"], given["utc_offset_minutes"], zone),
                )
            )
    out.sort(key=lambda r: (r.start, r.id), reverse=True)
    return out


def _beside(told: entries.Told, start: float, offset: int | None, zone: dt.tzinfo | None) -> dict[str, Any]:
    """Times and what the runner said, as every row has them."""
    return {
        "start": dt.datetime.fromtimestamp(start, dt.UTC).isoformat().replace("+00:00", "Z"),
        "date": local_date(start, offset, zone).isoformat(timespec="seconds"),
        "marks": tuple(sorted(told.marks)),
        "surface": told.surface,
        "shoe": told.shoe,
        "left_out": told.left_out,
        "note": told.diary.get("note") or "",
        "weather": told.weather,
    }


def choose_scale(library: Any, rows: list[RunRow], asked: dt.date, wanted: str | None) -> tuple[str, str]:
    """Key and name of the scale to answer on; empty where there is none."""
    names = library.scales()
    if wanted is not None:
        text = wanted.strip().lower()
        for key, name in names.items():
            if text in (key, name.lower()):
                return key, name
            if text in (key + placing.CONVERTED, name.lower() + placing.CONVERTED_NAME):
                return key + placing.CONVERTED, name + placing.CONVERTED_NAME
        raise UsageError(f"there is no scale '{wanted}': there are {', '.join(names.values())}")
    past = [r for r in rows if r.scale_key and r.local.date() <= asked]
    time: Counter[str] = Counter()
    for r in past:
        if (asked - r.local.date()).days <= RECENT_DAYS and r.measured:
            time[r.scale_key or ""] += int(r.duration_s)
    key = time.most_common(1)[0][0] if time else past[0].scale_key if past else ""
    return (key, names.get(key, key)) if key else ("", "")


def find(library: Any, run_id: int) -> RunRow:
    """The row of a run. Raises NoSuchRun where there is none."""
    row: RunRow = entries.library_row(library, run_id)
    return row


def one(library: Any, run_id: int) -> Run:
    """One run in full; see `Library.run`."""
    row = find(library, run_id)
    told = entries.told(library).get(run_id, entries.Told())
    if row.recording_id is None:
        return Run(row, [], [], [], [], [], [], [], told.diary)
    day = row.local.date()
    result, stream = schema.result, schema.stream
    with library.reading() as connection:
        found = (
            connection.execute(
                select(schema.file.c.name, result)
                .join(schema.recording, result.c.recording_id == schema.recording.c.id)
                .join(schema.file, schema.recording.c.file_id == schema.file.c.id)
                .where(result.c.run_id == run_id)
                .order_by(result.c.recording_id, result.c.part)
            )
            .mappings()
            .all()
        )
        main = next(r for r in found if (r["recording_id"], r["part"]) == (row.recording_id, row.part))
        recordings = []
        for r in found:
            mine = (stream.c.recording_id == r["recording_id"]) & (stream.c.part == r["part"])
            streams = read_streams(connection, r["recording_id"], r["part"])
            means = dict(connection.execute(select(stream.c.column, stream.c.mean_power).where(mine)).all())
            recordings.append(
                {
                    "file": r["name"],
                    "duration_s": r["duration_s"],
                    "distance_m": r["distance_m"],
                    "heart_rate_bpm": r["heart_rate_bpm"],
                    "primary": r is main,
                    "lost": json.loads(r["lost"]),
                    "power": [
                        {
                            "scale": placing.shown(library, s.scale, day),
                            "measured": s.measured,
                            "power_w": means.get(s.column),
                        }
                        for s in streams
                    ],
                }
            )
        best = connection.execute(
            select(stream.c.best, stream.c.start).where(
                stream.c.recording_id == row.recording_id, stream.c.part == row.part, stream.c.column == row.column
            )
        ).first()
    laps = [(*lap, "device") for lap in json.loads(main["laps"])]
    laps = (laps if len(laps) > 1 else []) + [(*lap, "hand") for lap in sorted(told.laps)]
    return Run(
        row=row,
        changes=json.loads(main["changes"]),
        lost=json.loads(main["lost"]),
        notes=json.loads(main["notes"]),
        legs_before=json.loads(main["legs_before"]),
        laps=_laps(library, row, laps) if laps else [],
        recordings=recordings,
        best=_best(best) if best is not None else [],
        diary=told.diary,
    )


def _best(packed: Any) -> list[dict[str, Any]]:
    power, start = blobs.unpack(packed.best, "float32"), blobs.unpack(packed.start, "int32")
    durations = curve.stored_durations(86400)[: len(power)]
    return [
        {"duration_s": int(d), "power_w": round(float(p), 2), "start_s": int(s)}
        for d, p, s in zip(durations, power, start, strict=True)
        if np.isfinite(p)
    ]


def _laps(library: Any, row: RunRow, laps: list[tuple[float, float, str]]) -> list[dict[str, Any]]:
    found = signals_of(library, row)
    time, way = found["time"], found.get("distance")
    known = np.isfinite(way)
    out: list[dict[str, Any]] = []
    for start, end, by in laps:
        inside = (time >= start) & (time < end)
        running = inside & found.timer
        ends = np.interp([start - 1, end - 1], time[known], way[known]) if known.any() else np.zeros(2)
        covered = float(ends[1] - ends[0]) if known.any() else None
        out.append(
            {
                "by": by,
                "start_s": start - float(time[0]),
                "duration_s": float(running.sum()),
                "distance_m": covered,
                "power_w": mean_known(found.get("power")[running]),
                "heart_rate_bpm": mean_known(found.sound_heart_rate[running]),
                "speed_mps": covered / float(running.sum()) if covered and running.any() else None,
            }
        )
    from footwork.library import load

    for lap, domain in zip(out, load.domains_of(library, row, [lap["power_w"] for lap in out]), strict=True):
        lap["domain"] = domain
    return out


def signals(library: Any, run_id: int) -> Signals:
    """1 Hz signals of the primary recording."""
    return signals_of(library, find(library, run_id))


def signals_of(library: Any, row: RunRow, recording_id: int | None = None, part: int = 0) -> Signals:
    """1 Hz signals of a run's primary recording, or of another of its recordings."""
    if row.recording_id is None:
        raise UsageError(f"run {row.id} was entered by hand: it has no recording")
    wanted, part = (row.recording_id, row.part) if recording_id is None else (recording_id, part)
    recording = schema.recording
    with library.reading() as connection:
        digest, leg = (
            connection.execute(
                select(schema.file.c.sha256, recording.c.leg).join(schema.file).where(recording.c.id == wanted)
            )
            .one()
            ._tuple()
        )
        streams = read_streams(connection, wanted, part)
    path = blobs.signals_path(library.folder, digest, leg, part)
    try:
        return blobs.read_signals(path, streams)
    except Exception:  # missing or damaged: the original still has it all
        if library.readonly:
            raise LibraryError(
                f"the signals of run {row.id} are damaged: open the library where it can be written"
            ) from None
        from footwork.library import results

        problems = results.rebuild(library, [wanted])
        if problems:
            raise LibraryError(problems[0]) from None
        return blobs.read_signals(path, streams)


def sources(library: Any, run_id: int) -> list[Source]:
    """Recordings of a run, the primary first, one that holds two power signals once for each: name of the scale (empty
    without measured power), of the file, and the signals with that power."""
    row = find(library, run_id)
    table = schema.result
    with library.reading() as connection:
        found = connection.execute(
            select(table.c.recording_id, table.c.part, schema.file.c.name)
            .join(schema.recording, schema.recording.c.id == table.c.recording_id)
            .join(schema.file, schema.file.c.id == schema.recording.c.file_id)
            .where(table.c.run_id == run_id)
            .order_by(table.c.recording_id, table.c.part)
        ).all()
    out = []
    for r in sorted(found, key=lambda r: (r.recording_id, r.part) != (row.recording_id, row.part)):
        signals = signals_of(library, row, r.recording_id, r.part)
        measured: list[PowerStream | None] = [s for s in signals.streams if s.measured]
        for stream in measured or [None]:
            columns = {n: v for n, v in signals.columns.items() if not n.startswith("power")}
            if stream is not None:
                columns["power"] = signals[stream.column]
            scale = placing.shown(library, stream.scale, row.local.date()) if stream else ""
            out.append((scale, str(r.name), Signals(columns, signals.timer)))
    return out


def activities(library: Any) -> list[dict[str, Any]]:
    """Other sports, the newest first."""
    recording, result = schema.recording, schema.result
    with library.reading() as connection:
        found = (
            connection.execute(
                select(
                    recording.c.start, recording.c.sport, result.c.duration_s, result.c.work_j, result.c.heart_rate_bpm
                )
                .join(result, result.c.recording_id == recording.c.id)
                .where(recording.c.run_id.is_(None))
                .order_by(recording.c.start.desc())
            )
            .mappings()
            .all()
        )
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
    mean_power: float | None
    best: Floats
    starts: np.ndarray[Any, np.dtype[np.int64]]
    histogram: Floats
    blocks: Floats
    weather: dict[str, Any] | None = None
    converted: float = 0.0  # where watts were converted: relative spread of this run about the conversion,
    scale_error: float = 0.0  # and the conversion's own relative error, which all its runs share

    @property
    def sky(self) -> Sky:
        """Weather as the models take it."""
        told = self.weather or {}
        return Sky(told.get("temperature_c"), told.get("wind_mps"), told.get("wind_from_deg"))


def bricks(library: Any) -> set[int]:
    """Runs after a ride: their file holds it before them, or they are marked as brick runs."""

    def make() -> set[int]:
        table = schema.result
        with library.reading() as connection:
            found = connection.execute(
                select(table.c.run_id, table.c.legs_before).where(table.c.run_id.is_not(None))
            ).all()
        told = {int(r.run_id) for r in found if "cycling" in json.loads(r.legs_before)}
        return told | {run for run, said in entries.told(library).items() if "brick" in said.marks}

    found: set[int] = library.cached("bricks", make)
    return found


def scale_rows(library: Any, scale_key: str) -> list[StreamRows]:
    """Stored rows of all runs on a scale, the oldest first; one a run. Runs left out of analysis are not among them; on
    a scale with converted watts the other scales' runs are."""
    from footwork.library import scales

    def make() -> list[StreamRows]:
        if scale_key.endswith(placing.CONVERTED):
            return scales.converted_rows(library, placing.plain_key(scale_key))
        return _scale_rows(library, scale_key, placing.placing(library))

    found: list[StreamRows] = library.cached(("scale", scale_key), make)
    return found


def _scale_rows(library: Any, scale_key: str, decided: placing.Placing) -> list[StreamRows]:
    run_of = {row.id: row for row in library.runs() if not row.left_out}
    zone = library.zone
    recording, result, stream = schema.recording, schema.result, schema.stream
    with library.reading() as connection:
        found = connection.execute(
            select(
                result.c.run_id,
                result.c.start.label("began"),
                recording.c.utc_offset_minutes,
                result.c.indoor,
                result.c.duration_s,
                stream,
            )
            .join(result, (stream.c.recording_id == result.c.recording_id) & (stream.c.part == result.c.part))
            .join(recording, result.c.recording_id == recording.c.id)
            .where(stream.c.scale_key.in_(decided.raws(scale_key)), result.c.run_id.is_not(None))
            .order_by(result.c.start, recording.c.id)
        ).all()
    out: dict[int, StreamRows] = {}
    for r in found:
        date = local_date(r.began, r.utc_offset_minutes, zone).date()
        if r.run_id in out or r.run_id not in run_of or decided.key(r.scale_key, date) != scale_key:
            continue
        out[r.run_id] = StreamRows(
            r.run_id,
            r.began,
            date,
            frozenset(run_of[r.run_id].marks),
            bool(r.measured),
            bool(r.indoor) or "treadmill" in run_of[r.run_id].marks,
            r.duration_s,
            r.mean_power,
            blobs.unpack(r.best, "float32").astype(float),
            blobs.unpack(r.start, "int32").astype(np.int64),
            blobs.unpack(r.histogram, "int32").astype(float),
            blobs.unpack(r.blocks, "float32", len(BLOCK_COLUMNS)).astype(float),
            run_of[r.run_id].weather,
        )
    return list(out.values())
