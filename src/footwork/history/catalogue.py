"""The list of runs: one line a run, of its primary recording; other sports; which scale a question is answered on."""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select

from footwork.errors import UsageError
from footwork.history.dated import counts_as_today, old_on_arrival
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.history.recordings.local_time import local_date
from footwork.history.scales import scale_keys
from footwork.history.scales.scale_keys import CONVERTED, CONVERTED_NAME
from footwork.quantities import Floats, plain
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History

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

    @cached_property
    def local(self) -> dt.datetime:
        """Local time at the start."""
        return dt.datetime.fromisoformat(self.date)


def rows(library: History) -> list[RunRow]:
    """All runs, the newest first, each by its primary recording and that recording's first power stream."""
    names = library.scales()
    decided = scale_keys.placing(library)
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
        told = said.get(run_id, Told())
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
    return [replace(r, note="") for r in out] if library.diary_withheld else out


def _beside(told: Told, start: float, offset: int | None, zone: dt.tzinfo | None) -> dict[str, Any]:
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


def choose_scale(library: History, rows: list[RunRow], asked: dt.date, wanted: str | None) -> tuple[str, str]:
    """Key and name of the scale to answer on; empty where there is none.

    Raises UsageError for a scale that there is not.
    """
    names = library.scales()
    if wanted is not None:
        text = wanted.strip().lower()
        for key, name in names.items():
            if text in (key, name.lower()):
                return key, name
            if text in (key + CONVERTED, name.lower() + CONVERTED_NAME):
                return key + CONVERTED, name + CONVERTED_NAME
        raise UsageError(f"there is no scale '{wanted}': there are {', '.join(names.values())}")
    past = [r for r in rows if r.scale_key and r.local.date() <= asked]
    time: Counter[str] = Counter()
    for r in past:
        if (asked - r.local.date()).days <= RECENT_DAYS and r.measured:
            time[r.scale_key or ""] += int(r.duration_s)
    key = time.most_common(1)[0][0] if time else (past[0].scale_key or "") if past else ""
    return (key, names.get(key, key)) if key else ("", "")


def find(library: History, run_id: int) -> RunRow:
    """The row of a run. Raises NoSuchRun where there is none."""
    row: RunRow = entries.library_row(library, run_id)
    return row


def activities(library: History) -> list[dict[str, Any]]:
    """Other sports, the newest first."""
    recording, result = schema.recording, schema.result
    with library.reading() as connection:
        found = (
            connection.execute(
                select(
                    recording.c.id,
                    recording.c.start,
                    recording.c.utc_offset_minutes,
                    recording.c.sport,
                    result.c.duration_s,
                    result.c.distance_m,
                    result.c.climb_m,
                    result.c.work_j,
                    result.c.heart_rate_bpm,
                )
                .join(result, result.c.recording_id == recording.c.id)
                .where(recording.c.run_id.is_(None))
                .order_by(recording.c.start.desc())
            )
            .mappings()
            .all()
        )
    return [
        {
            **{name: value for name, value in row.items() if name != "utc_offset_minutes"},
            "start": dt.datetime.fromtimestamp(row["start"], dt.UTC).isoformat().replace("+00:00", "Z"),
            "date": local_date(row["start"], row["utc_offset_minutes"], library.zone).isoformat(),
        }
        for row in found
    ]


def ridden_watts(library: History) -> dict[int, Floats]:
    """Seconds by watt of other sports that were recorded with a power meter, by the number of the recording."""
    stream, recording = schema.stream, schema.recording
    with library.reading() as connection:
        found = connection.execute(
            select(stream.c.recording_id, stream.c.histogram)
            .join(recording, stream.c.recording_id == recording.c.id)
            .where(recording.c.run_id.is_(None), stream.c.measured)
        ).all()
    return {r.recording_id: blobs.unpack(r.histogram, "int32").astype(float) for r in found}


def bricks(library: History) -> set[int]:
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


def current_day(library: History) -> dt.date:
    """The day that is meant where none is told; see `dated.counts_as_today`."""
    today, rows = dt.date.today(), library.runs()
    if not rows:
        return today
    newest = rows[0].local.date()
    r, f = schema.recording.c, schema.file.c
    with library.reading() as connection:
        added = connection.execute(
            select(func.min(f.added_at)).join_from(schema.file, schema.recording).where(r.run_id == rows[0].id)
        ).scalar()
    archive = added is not None and old_on_arrival(newest, dt.date.fromtimestamp(added))
    return counts_as_today(newest, archive, today)
