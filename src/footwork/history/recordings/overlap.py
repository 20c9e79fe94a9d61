"""Whether a new recording is one that is stored already, the better copy of one, or a second device on a known run."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Connection, bindparam, select

from footwork.errors import LibraryError
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History

SAME_SHARE = 0.95


OVERLAP_SHARE = 0.5


# Recorded signals and how far apart two copies may write one value (rounding of another format).
_IDENTITY = {"heart_rate": 0.51, "power": 0.51, "cadence": 1.01, "latitude": 2e-6, "longitude": 2e-6, "speed": 0.006}


@dataclass(frozen=True)
class Place:
    """Where a recording belongs: its run, the stored recording it repeats, and whether it is the better copy."""

    run: int | None = None
    twin: int | None = None
    better: bool = False


# Made once for all files of an import.
_AT_THAT_TIME = (
    select(schema.recording, schema.file.c.sha256)
    .join(schema.file)
    .where(schema.recording.c.start <= bindparam("to_s"), schema.recording.c.end >= bindparam("from_s"))
    .order_by(schema.recording.c.id)
)
_RUNS = _AT_THAT_TIME.where(schema.recording.c.run_id.is_not(None))
_OTHERS = _AT_THAT_TIME.where(schema.recording.c.sport == bindparam("sport"))


def overlapping(library: History, connection: Connection, new: Any) -> Place:
    """Where a newly analysed recording belongs among those stored."""
    asked = {"from_s": new.start, "to_s": new.end, **({} if new.is_run else {"sport": new.sport})}
    rows = connection.execute(_RUNS if new.is_run else _OTHERS, asked).mappings().all()
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
        kept = (
            connection.execute(select(schema.result.c.part).where(schema.result.c.recording_id == row["id"]))
            .scalars()
            .all()
        )
        measured = bool(
            connection.execute(
                select(schema.stream.c.column).where(
                    schema.stream.c.recording_id == row["id"], schema.stream.c.measured
                )
            ).first()
        )
        paths = [blobs.signals_path(library.folder, row["sha256"], row["leg"], part) for part in kept]
        # A recording that was joined to another has no signals of its own: the same span is the same recording.
        joined = not kept and abs(row["start"] - new.start) + abs(row["end"] - new.end) <= 4
        if same_device or joined or any(_identical_share(p, measured, new) >= SAME_SHARE for p in paths):
            gained = any(s["measured"] for s in new.streams) and not measured
            lost = measured and not any(s["measured"] for s in new.streams)
            length, known = new.end - new.start, row["end"] - row["start"]
            better = (gained and length > 0.9 * known) or (not lost and length > 1.02 * known + 10)
            return Place(row["run_id"], row["id"], better)
    return Place(run_id)


def _identical_share(old_path: Path, old_measured: bool, new: Any) -> float:
    """Share of common seconds whose recorded values are the same; what was derived or modelled does not count."""
    try:
        old = blobs.read_signals(old_path, [])
        fresh = new.signals if new.signals is not None else blobs.read_signals(new.parquet or Path(), [])
    except LibraryError:  # a damaged file of signals says nothing; it is rebuilt when it is asked for
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


def own_scales(connection: Connection, recording_id: int, analysed: Any) -> None:
    """A second device on a run is not the first one: where files name no device, its watts get a scale of their own.
    Only recordings stored earlier count, so that results made anew get the scales that they had."""
    table = schema.recording
    run_id = connection.execute(select(table.c.run_id).where(table.c.id == recording_id)).scalar()
    taken = set(
        connection.execute(
            select(schema.stream.c.scale_key)
            .join(table, table.c.id == schema.stream.c.recording_id)
            .where(table.c.run_id == run_id, table.c.id < recording_id)
        ).scalars()
    )
    for stream in analysed.streams:
        if stream["measured"] and stream["scale_key"] in taken:
            number = next(n for n in range(2, 100) if f"{stream['scale_key']}-{n}" not in taken)
            stream["scale_key"] = f"{stream['scale_key']}-{number}"
