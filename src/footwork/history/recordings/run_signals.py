"""1 Hz signals of a run and of all its recordings, and its laps."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.analysis.summary import mean_known
from footwork.errors import LibraryError, UsageError
from footwork.history import catalogue
from footwork.history.catalogue import RunRow
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.history.recordings import results
from footwork.history.scales import scale_keys
from footwork.signals import PowerStream, Signals
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History

Source = tuple[str, str, Signals]


def laps_of(library: History, row: RunRow) -> list[dict[str, Any]]:
    """The recorder's laps of a run, then those told by hand, each with what was run in it; none where there are none.

    Returns dicts of ``by`` (device or hand), ``start_s`` and ``duration_s`` [s], ``distance_m``, ``power_w``,
    ``heart_rate_bpm`` and ``speed_mps``, None where unknown.
    """
    told = entries.told(library).get(row.id, Told())
    if row.recording_id is None:
        return []
    laps = [(*lap, "device") for lap in _stored_laps(library, row)]
    laps = (laps if len(laps) > 1 else []) + [(*lap, "hand") for lap in sorted(told.laps)]
    if not laps:
        return []
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
    return out


def _stored_laps(library: History, row: RunRow) -> list[tuple[float, float]]:
    result = schema.result
    with library.reading() as connection:
        stored = connection.execute(
            select(result.c.laps).where(result.c.recording_id == row.recording_id, result.c.part == row.part)
        ).scalar_one()
    return [(float(start), float(end)) for start, end in json.loads(stored)]


def lap_presses(library: History, row: RunRow) -> list[float]:
    """When the recorder began another lap within a recorded run [unix s]."""
    return [start for start, _ in _stored_laps(library, row)[1:]]


def signals(library: History, run_id: int) -> Signals:
    """1 Hz signals of the primary recording."""
    return signals_of(library, catalogue.find(library, run_id))


def signals_of(library: History, row: RunRow, recording_id: int | None = None, part: int = 0) -> Signals:
    """1 Hz signals of a run's primary recording, or of another of its recordings.

    Raises UsageError for a run without a recording, LibraryError for signals that cannot be made anew.
    """
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
        streams = results.read_streams(connection, wanted, part)
    path = blobs.signals_path(library.folder, digest, leg, part)
    try:
        return blobs.read_signals(path, streams)
    except LibraryError:  # missing or damaged: the original still has it all
        if library.readonly:
            raise LibraryError(
                f"the signals of run {row.id} are damaged: open the library where it can be written"
            ) from None
        problems = results.rebuild(library, [wanted])
        if problems:
            raise LibraryError(problems[0]) from None
        return blobs.read_signals(path, streams)


def sources(library: History, run_id: int) -> list[Source]:
    """Recordings of a run, the primary first, one that holds two power signals once for each: name of the scale (empty
    without measured power), of the file, and the signals with that power."""
    row = catalogue.find(library, run_id)
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
            scale = scale_keys.shown(library, stream.scale, row.local.date()) if stream else ""
            out.append((scale, str(r.name), Signals(columns, signals.timer)))
    return out
