"""What one file or its correction becomes: read, cleaned, summarised. A worker imports this, and no database."""

from __future__ import annotations

import datetime as dt
import errno
import json
import time
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import numpy as np

from footwork import formats
from footwork.analysis import cleaning, editing, screening, summary
from footwork.errors import FootworkError, NotARecording, UnreadableFile
from footwork.formats import archive, fit, wellness
from footwork.formats.fit import EPOCH
from footwork.formats.wellness import Measured
from footwork.history.dated import in_force
from footwork.history.recordings.local_time import local_date, offset_of
from footwork.physics import power as power_model
from footwork.physiology import curve, domains
from footwork.signals import Course, Lap, Recording, Signals
from footwork.store import blobs

if TYPE_CHECKING:
    from footwork.history.log.parts import Part

VERSIONS = "-".join(
    str(v)
    for v in (
        cleaning.METHOD_VERSION,
        screening.METHOD_VERSION,
        editing.METHOD_VERSION,
        summary.METHOD_VERSION,
        curve.METHOD_VERSION,
        domains.METHOD_VERSION,
        power_model.METHOD_VERSION,
    )
)


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
    latest = time.time() + 86400
    if isinstance(found, Course):
        raise NotARecording("a course without times, not a run; use it with 'footwork race --course'")
    out = []
    for recording in found:
        recording = _placed(recording, latest)
        if not recording.dated or recording.end < EPOCH:
            if start is None:
                what = f"its date, {_day(recording.start)}, cannot be" if recording.dated else "it has no date"
                raise UnreadableFile(f"{what}: add it with --start, for example --start 2026-04-14T18:05")
            recording = recording.dated_from(start)
        if recording.start > latest and start is not None:
            recording = recording.dated_from(start)
        if recording.start > latest:
            raise UnreadableFile(
                f"it starts in the future ({_day(recording.start)}): the device's clock was wrong; add it with --start"
            )
        out.append(recording)
    return out


def _day(at: float) -> str:
    return f"{dt.datetime.fromtimestamp(min(max(at, 0.0), 4e9), dt.UTC):%Y-%m-%d}"


def _placed(recording: Recording, latest: float) -> Recording:
    """A dated recording without the samples before there were such devices, or after ``latest`` [Unix s], where most
    are between."""
    time = recording.columns["time"]
    known = np.isfinite(time)
    good = known & (time >= EPOCH) & (time <= latest)
    wrong = int((known & ~good).sum())
    if not recording.dated or not wrong or wrong >= good.sum():
        return recording
    lost = f"{wrong} samples with an impossible time"
    return replace(recording, columns={n: v[good] for n, v in recording.columns.items()}, lost=[*recording.lost, lost])


def analyse(recording: Recording, masses: list[tuple[str, float]], zone: dt.tzinfo | None) -> Analysed:
    """Clean and summarise one recording as it came. Raises UnreadableFile where too little of it is usable.

    Masses are dated [kg].
    """
    mass = _mass_of(recording, masses, zone)
    signals, changes = cleaning.clean(recording, mass)
    made = _summed(recording, signals, mass, [asdict(c) for c in changes])
    made = replace(made, utc_offset_minutes=offset_of(recording, zone))
    if recording.is_run and made.row["duration_s"] < 5:
        raise UnreadableFile("the recording holds less than five seconds")
    return made


def _mass_of(recording: Recording, masses: list[tuple[str, float]], zone: dt.tzinfo | None) -> float | None:
    day = local_date(recording.start, offset_of(recording, zone), zone).date().isoformat()
    return in_force(masses, day) or recording.mass


def _summed(recording: Recording, signals: Signals, mass: float | None, changes: list[dict[str, Any]]) -> Analysed:
    """Everything that is kept of clean signals; the recording gives what is not in them."""
    totals = summary.summarise(signals)
    work = next((s.mean_power * totals.duration_s for s in totals.streams if s.mean_power is not None), None)
    start, end = float(signals["time"][0]), float(signals["time"][-1])
    laps = [(max(lap.start, start), min(lap.end, end + 1)) for lap in recording.laps]
    row = {
        "versions": VERSIONS,
        "layout": "",
        "start": start,
        "end": end,
        "mass": mass,
        "work_j": work,
        "indoor": recording.indoor,
        **{
            name: getattr(totals, name)
            for name in (
                "duration_s",
                "elapsed_s",
                "distance_m",
                "climb_m",
                "heart_rate_bpm",
                "heart_rate_sound_s",
                "cadence_spm",
                "temperature_c",
                "altitude_m",
                "latitude",
                "longitude",
            )
        },
        "changes": json.dumps(changes),
        "lost": json.dumps(recording.lost),
        "notes": json.dumps(recording.notes),
        "legs_before": json.dumps(recording.legs_before),
        "laps": json.dumps([lap for lap in laps if lap[1] > lap[0]]),
    }
    streams = [
        {
            "column": s.stream.column,
            "scale_key": s.stream.scale,
            "kind": s.stream.kind,
            "measured": s.stream.measured,
            "mean_power": s.mean_power,
            "best": blobs.pack(s.best),
            "start": blobs.pack(s.start),
            "histogram": blobs.pack(s.histogram),
            "blocks": blobs.pack(s.blocks),
        }
        for s in totals.streams
    ]
    return Analysed(
        recording.leg,
        recording.sport,
        start,
        end,
        recording.utc_offset_minutes,
        recording.serial,
        recording.is_run,
        row,
        streams,
        recording.lost,
        recording.placed_by_start,
        signals if recording.is_run else None,
    )


@dataclass(frozen=True)
class Task:
    """One thing to unpack: a path, or one member of a zip; ``shown`` is how reports name it."""

    path: Path
    member: str | None
    shown: str


@dataclass
class Digest:
    """What a worker made of one file: its recordings with their results, or why there are none."""

    shown: str
    sha256: str = ""
    name: str = ""
    size: int = 0
    outcome: str = "read"  # read, told (of days), known, healed, skipped, failed or fatal
    reason: str = ""
    original: Path | None = None
    recordings: list[Analysed] = field(default_factory=list)
    measured: list[Measured] = field(default_factory=list)


def printable(name: str) -> str:
    """A file name as text that can be stored and printed, whatever bytes it was made of."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def corrected(
    part: Part, sources: list[Recording], masses: list[tuple[str, float]], zone: dt.tzinfo | None
) -> Analysed:
    """One part of a run from its recordings, with everything that the runner corrected."""
    mass = _mass_of(sources[0], masses, zone)
    cleaned = [cleaning.clean(source, mass) for source in sources]
    pieces = [editing.cut(s, p.start, p.end) for (s, _), p in zip(cleaned, part.pieces, strict=True)]
    signals = pieces[0] if len(pieces) == 1 else editing.join(pieces)
    if part.shift:
        signals = editing.shift(signals, part.shift)
    for start, end, only in part.left_out:
        signals = editing.leave_out(signals, start, end, only)
    if part.distance is not None:
        signals = editing.rescale(signals, part.distance)
    if part.incline is not None:
        signals = editing.tilt(signals, part.incline)
    if part.heart is not None:
        signals = editing.judge_heart_rate(signals, part.heart == "sound")
    signals = cleaning.with_model(signals, mass)
    together = replace(
        sources[0],
        laps=[Lap(lap.start + part.shift, lap.end + part.shift) for source in sources for lap in source.laps],
        lost=list(dict.fromkeys(text for source in sources for text in source.lost)),
        notes=list(dict.fromkeys(text for source in sources for text in source.notes)),
        indoor=sources[0].indoor or part.incline is not None,
    )
    changes: dict[str, dict[str, Any]] = {}
    for _, found in cleaned:
        for change in found:
            doubt = change.what.removeprefix("heart rate:")
            if part.heart != "sound" or not (doubt == screening.MINUTES or doubt.startswith(screening.WHOLE_RUN)):
                changes[change.sentence] = asdict(change)
    if part.heart is not None:
        word = f"heart rate is {part.heart} by your word"
        changes[word] = asdict(cleaning.Change("heart rate word", 0, word))
    made = _summed(together, signals, mass, list(changes.values()))
    made.row["layout"] = part.corrections
    return replace(made, utc_offset_minutes=offset_of(sources[0], zone))


@dataclass(frozen=True)
class Orders:
    """What a worker must know: where the library is and temporary files go, dated masses, what is known, a start for
    undated files, a zone."""

    library: Path
    incoming: Path
    masses: list[tuple[str, float]]
    known: frozenset[str] = frozenset()
    start: dt.datetime | None = None
    zone: dt.tzinfo | None = None


def digest(task: Task, orders: Orders) -> list[Digest]:
    """Read, clean and analyse the files behind a task; never raises for bad input."""
    out: list[Digest] = []
    try:
        for raw, data in archive.unpack(task.path, task.member):
            name = printable(raw)
            shown = task.shown if task.shown.removesuffix(".gz").endswith(name) else f"{task.shown}/{name}"
            out.append(_digest_file(shown, name, data, orders))
    except FootworkError as error:
        out.append(Digest(task.shown, outcome="failed", reason=str(error)))
    except MemoryError:
        out.append(Digest(task.shown, outcome="failed", reason="the file needs more memory than this machine has free"))
    except OSError as error:
        kind = "fatal" if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EROFS) else "failed"
        out.append(Digest(task.shown, outcome=kind, reason=f"cannot be read: {error.strerror or error}"))
    return out


def _digest_file(shown: str, name: str, data: bytes, orders: Orders) -> Digest:
    sha = blobs.sha256(data)
    made = Digest(shown, sha, name, len(data))
    if sha in orders.known:
        made.outcome = "known"
        if not blobs.is_whole(orders.library, sha):
            made.outcome = "healed"
            made.original = orders.incoming / f"{uuid4().hex}.gz"
            blobs.write_original(made.original, data)
        return made
    try:
        recordings = read_dated(data, name, orders.start)
        made.recordings = [analyse(r, orders.masses, orders.zone) for r in recordings]
    except NotARecording as error:
        made.outcome, made.reason = "skipped", str(error)
        if fit.is_format(data, name):
            made.measured = wellness.read(data, orders.zone)
            made.outcome = "told" if made.measured else "skipped"
        return made
    except FootworkError as error:
        made.outcome, made.reason = "failed", str(error)
        return made
    except (KeyboardInterrupt, SystemExit, MemoryError, OSError):
        raise
    except Exception as error:
        made.outcome, made.reason = "failed", f"it cannot be understood ({type(error).__name__}: {str(error)[:100]})"
        return made
    # Under names of their own: the same file may come twice, and a second writing must not cut what is being placed.
    own = uuid4().hex
    made.original = orders.incoming / f"{own}.gz"
    blobs.write_original(made.original, data)
    for analysed in made.recordings:
        if analysed.signals is not None:
            analysed.parquet = orders.incoming / f"{own}-{analysed.leg}.parquet"
            blobs.write_signals(analysed.parquet, analysed.signals)
            analysed.signals = None  # the parent reads the file where it needs the samples
    return made
