"""One run with all that is known of it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import select

from footwork.analysis import screening
from footwork.analysis.cleaning import SLOWEST_MPS
from footwork.history import catalogue
from footwork.history.catalogue import RunRow
from footwork.history.log import entries
from footwork.history.log.entries import Told
from footwork.history.recordings import results, run_signals
from footwork.history.scales import scale_keys
from footwork.physiology import curve
from footwork.quantities import format_distance, format_duration, plain
from footwork.questions import capacity, load
from footwork.questions.runs.titles import run_titles
from footwork.store import blobs, schema

if TYPE_CHECKING:
    from footwork.history.book import History


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
    clipped: dict[str, Any] | None = None
    title: str | None = None

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
            for name in ("changes", "lost", "notes", "legs_before", "laps", "recordings", "diary", "clipped", "title")
        }
        out["heart_rate_screening"] = self.heart_rate_screening
        out["mean_maximal_power"] = self.best
        result: dict[str, Any] = plain(out)
        return result


def run_in_full(library: History, run_id: int) -> Run:
    """One run in full; see `Library.run`."""
    row = catalogue.find(library, run_id)
    told = entries.told(library).get(run_id, Told())
    if row.recording_id is None:
        return Run(row, [], [], [], [], [], [], [], {} if library.diary_withheld else told.diary)
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
            streams = results.read_streams(connection, r["recording_id"], r["part"])
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
                            "scale": scale_keys.shown(library, s.scale, day),
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
    laps = run_signals.laps_of(library, row)
    domains = load.domains_of(library, row, [lap["power_w"] for lap in laps]) if laps else []
    return Run(
        row=row,
        changes=json.loads(main["changes"]),
        lost=json.loads(main["lost"]),
        notes=[*json.loads(main["notes"]), *_impossible(row)],
        legs_before=json.loads(main["legs_before"]),
        laps=[{**lap, "domain": domain} for lap, domain in zip(laps, domains, strict=True)],
        recordings=recordings,
        best=_best_efforts(best) if best is not None else [],
        diary={} if library.diary_withheld else told.diary,
        clipped=_clipped(library, row),
        title=run_titles(library, [row])[run_id],
    )


def _impossible(row: RunRow) -> list[str]:
    """A distance that nobody needs so long for, and what to do."""
    if not row.distance_m or row.duration_s < 600 or row.distance_m / row.duration_s >= SLOWEST_MPS:
        return []
    way = f"{format_distance(row.distance_m)} in {format_duration(row.duration_s)}"
    return [f"{way} cannot be what was run: footwork edit distance {row.id} METRES corrects it"]


def _clipped(library: History, row: RunRow) -> dict[str, Any] | None:
    """What speed shows of a faulty device, by all runs up to the newest."""
    if row.scale_key is None:
        return None
    return capacity.clipped(library, row.scale_key, row.id, library.runs()[0].local.date())


def _best_efforts(packed: Any) -> list[dict[str, Any]]:
    power, start = blobs.unpack(packed.best, "float32"), blobs.unpack(packed.start, "int32")
    durations = curve.stored_durations(86400)[: len(power)]
    return [
        {"duration_s": int(d), "power_w": round(float(p), 2), "start_s": int(s)}
        for d, p, s in zip(durations, power, start, strict=True)
        if np.isfinite(p)
    ]
