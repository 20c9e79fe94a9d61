"""Stored rows of one power stream of each run on a scale: what questions across runs are asked of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.analysis.summary import BLOCK_COLUMNS
from footwork.analysis.usual_watts import Sky
from footwork.history.recordings.local_time import local_date
from footwork.history.scales.scale_keys import Placing
from footwork.quantities import Floats
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History


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
    latitude: float | None = None

    @property
    def sky(self) -> Sky:
        """Weather as the models take it."""
        told = self.weather or {}
        return Sky(told.get("temperature_c"), told.get("wind_mps"), told.get("wind_from_deg"))


def rows_recorded_on(library: History, scale_key: str, decided: Placing) -> list[StreamRows]:
    """Stored rows of runs recorded on a scale, the oldest first; one a run."""
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
                result.c.latitude,
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
            latitude=r.latitude,
        )
    return list(out.values())
